"""How thick an arm is, read from points around it; and what is drawn from it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from armwright.core.arm.build import plan_arms
from armwright.core.errors import GuideError
from armwright.core.fit.girth import girth_of, with_girth
from armwright.core.frames import arm_frames, girth_by_proportion
from armwright.core.guide import UP, ArmGuide, GirthGuide, Guide, mirrored
from armwright.core.guide_check import check_guide
from armwright.core.options import ArmOptions
from armwright.core.stature import guide_from_stature

BODY = guide_from_stature(1.7, "Wren")
LEFT = BODY.arms[0]


def tube(head: Any, tail: Any, axes: np.ndarray, width: float, depth: float) -> np.ndarray:
    """Points on an elliptical tube from `head` to `tail`; `axes` (3, 3) has its two radii along its first and third."""
    angles = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    rim = width * np.cos(angles)[:, None] * axes[:, 0] + depth * np.sin(angles)[:, None] * axes[:, 2]
    steps = np.linspace(0.0, 1.0, 30)[:, None]
    line = np.array(head) + steps * (np.array(tail) - np.array(head))
    return (line[:, None] + rim).reshape(-1, 3)


def dressed(arm: ArmGuide, upper: float, fore: float, hand: tuple[float, float]) -> np.ndarray:
    """An arm under a loose sleeve a third thicker than it, with a torso of 0.14 m radius beside it."""
    frames = arm_frames(arm, UP)
    rng = np.random.default_rng(4)
    parts = []
    for layer in (1.0 / 1.33, 1.0):
        parts.append(tube(arm.shoulder, arm.elbow, frames.upper_arm[:3, :3], upper * layer, upper * layer))
        parts.append(tube(arm.elbow, arm.wrist, frames.forearm[:3, :3], fore * layer, fore * layer))
    parts.append(tube(arm.wrist, arm.hand_end, frames.hand[:3, :3], *hand))
    parts.append(tube((0.0, 0.0, 0.8), (0.0, 0.0, 1.42), np.array([[1, 0, 0], [0, 0, 1], [0, 1, 0]]), 0.14, 0.12))
    points = np.concatenate(parts)
    return points + rng.normal(0.0, 5e-4, points.shape)


@pytest.mark.parametrize("lowered", [0.0, 45.0, 75.0])
@pytest.mark.parametrize("side", [0, 1])
def test_girth_is_the_sleeves_and_not_the_bodys_beside_it(lowered: float, side: int) -> None:
    arm = guide_from_stature(1.7, "Wren", np.radians(lowered)).arms[side]
    found = girth_of(arm, dressed(arm, 0.055, 0.045, (0.044, 0.019)))
    assert found is not None
    print(found)
    assert found.upper_arm == pytest.approx(0.055, rel=0.1)
    assert found.forearm == pytest.approx(0.045, rel=0.1)
    assert found.hand_width == pytest.approx(0.044, rel=0.1)
    assert found.hand_depth == pytest.approx(0.019, rel=0.15)


def test_points_that_are_not_around_the_arm_tell_no_girth() -> None:
    points = dressed(LEFT, 0.055, 0.045, (0.044, 0.019)) + np.array([0.0, 0.0, 3.0])
    assert girth_of(LEFT, points) is None
    assert with_girth(BODY, points) == BODY


def test_a_girth_that_the_guide_has_is_kept() -> None:
    own = GirthGuide(0.1, 0.1, 0.1, 0.1)
    guide = replace(BODY, arms=(replace(LEFT, girth=own), BODY.arms[1]))
    read = with_girth(guide, dressed(LEFT, 0.055, 0.045, (0.044, 0.019)))
    assert read.arms[0].girth == own
    assert mirrored(read.arms[0]).girth == own


def test_controls_are_drawn_around_the_limb_with_room_to_spare() -> None:
    girth = GirthGuide(0.061, 0.047, 0.05, 0.02)
    arm = replace(LEFT, girth=girth)
    plan = plan_arms(Guide("Wren", (arm,), BODY.torso), ArmOptions())
    shown = {bone.name: bone.display for bone in plan.bones}
    for name, width, depth in (
        ("fk.upper_arm.L", girth.upper_arm, girth.upper_arm),
        ("fk.forearm.L", girth.forearm, girth.forearm),
        ("fk.hand.L", girth.hand_width, girth.hand_depth),
    ):
        assert width < shown[name].size[0] < 1.6 * width, name
        assert depth < shown[name].size[2] < 2.2 * depth, name
    # The hold's box is around the hand's band.
    assert shown["hold.hand.L"].size[0] > 2.0 * shown["fk.hand.L"].size[0]
    assert shown["hold.hand.L"].size[2] > 2.0 * shown["fk.hand.L"].size[2]


def test_without_a_mesh_girths_are_a_persons() -> None:
    frames = arm_frames(LEFT, UP)
    assert frames.girth == girth_by_proportion(frames.length)


@pytest.mark.parametrize("size", [0.0, -0.1, 3.0])
def test_a_girth_that_is_none_is_refused(size: float) -> None:
    girth = replace(girth_by_proportion(0.56), forearm=size)
    with pytest.raises(GuideError, match="left arm: its girth forearm is"):
        check_guide(replace(BODY, arms=(replace(LEFT, girth=girth),)))
