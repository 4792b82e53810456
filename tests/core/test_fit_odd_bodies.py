"""Bodies with one arm, lying or turned ones, short thick arms, other units: read with a word, or refused with help."""

from __future__ import annotations

import numpy as np
import pytest
from fit_bodies import Made, Shape, moved, skin
from test_fit_family import JOINTS, LARGEST_LIMIT, errors_of, fit_of, worst_of

from armwright.core.errors import FitError
from armwright.core.fit.mesh import fit_mesh
from armwright.core.fit.unit import unit_of
from armwright.core.guide_check import check_guide
from armwright.core.guide_space import in_space

Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


@pytest.mark.parametrize("side", ["L", "R"])
def test_a_body_with_one_arm_gets_that_arm_and_a_warning(side: str) -> None:
    made = skin(Shape(flexion=30.0), 9000, arms=side)
    fit = fit_of(made)
    assert [arm.side for arm in fit.guide.arms] == [side]
    assert errors_of(made, fit.guide.arms[0]).max() < LARGEST_LIMIT
    word = {"L": "left", "R": "right"}[side]
    assert any(f"a {word} arm alone" in warning for warning in fit.warnings)
    assert any("only the" in warning for warning in check_guide(fit.guide))


def test_a_character_with_y_up_is_refused_and_told_so() -> None:
    for shape in (Shape(lowered=0.0), Shape(lowered=60.0, flexion=20.0)):
        made = moved(skin(shape, 9000), rotation=Y_UP)
        with pytest.raises(FitError, match=r"as if Y is up: use --up 0 1 0 --front 0 0 1"):
            fit_mesh(made.vertices, made.faces, "Wren")
        assert worst_of(made) < LARGEST_LIMIT


def test_a_character_that_hangs_head_down_along_y_is_told_minus_y() -> None:
    made = moved(skin(Shape(lowered=45.0), 9000), rotation=np.diag([1.0, -1.0, -1.0]) @ Y_UP)
    with pytest.raises(FitError, match=r"as if -?Y is up"):
        fit_mesh(made.vertices, made.faces, "Wren")


def test_a_character_on_its_head_is_told_so() -> None:
    made = moved(skin(Shape(lowered=45.0), 9000), rotation=np.diag([1.0, -1.0, -1.0]))
    with pytest.raises(FitError, match="stands on its head: use --up 0 0 -1 --front 0 1 0"):
        fit_mesh(made.vertices, made.faces, "Wren")


def test_a_character_that_looks_to_a_side_is_told_where_it_may_look() -> None:
    made = skin(Shape(), 9000)
    with pytest.raises(FitError, match=r"use --front 0 -1 0|use --front 0 1 0"):
        fit_mesh(made.vertices, made.faces, "Wren", front=(1.0, 0.0, 0.0))


def test_short_thick_arms_are_found() -> None:
    shape = Shape(upper_arm=0.13, forearm=0.105, hand=0.09, stout=1.3, flexion=30.0, lowered=35.0)
    made = skin(shape, 12000)
    errors = np.array([errors_of(made, arm) for arm in fit_of(made).guide.arms])
    print((100 * errors).round(1))
    # The handbook's proportions, which place a guessed joint, are a longer arm's.
    assert np.median(errors) < 0.05
    assert errors.max() < 0.2


def test_arms_too_thick_to_tell_their_elbows_are_refused_with_what_to_do() -> None:
    shape = Shape(upper_arm=0.13, forearm=0.105, hand=0.09, stout=1.6, flexion=30.0, lowered=35.0)
    with pytest.raises(FitError, match=r"not its shoulder and elbow.*place the joints by markers"):
        fit_of(skin(shape, 12000))


@pytest.mark.parametrize(
    ("height", "unit", "word"),
    [(1.7, 1.0, ""), (0.5, 1.0, ""), (10.7, 1.0, ""), (172.0, 0.01, "centimetres"), (1720.0, 0.01, "centimetres"),
     (5000.0, 0.001, "millimetres"), (0.017, 100.0, "hundreds"), (1e9, 1.0, ""), (0.0, 1.0, "")],
)  # fmt: skip
def test_the_unit_is_told_by_the_characters_height(height: float, unit: float, word: str) -> None:
    found, sentence = unit_of(height)
    assert found == unit
    assert (word in sentence) if word else sentence == ""


def test_a_guide_in_another_space_is_what_the_moved_mesh_gives() -> None:
    made: Made = skin(Shape(flexion=30.0), 6000)
    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = 3.0 * turn, [1.0, 2.0, 3.0]
    there = fit_of(moved(made, 3.0, turn, np.array([1.0, 2.0, 3.0]))).guide
    here = in_space(fit_of(made).guide, matrix)
    for a, b in zip(here.arms, there.arms, strict=True):
        for joint in JOINTS:
            assert np.allclose(getattr(a, joint), getattr(b, joint), atol=0.05), joint
        assert np.allclose(a.palm, b.palm, atol=0.05)
    assert np.allclose(here.up, there.up) and np.allclose(here.front, there.front)
    assert here.torso is not None and there.torso is not None
    assert np.allclose(here.torso.chain, there.torso.chain, atol=0.05)
