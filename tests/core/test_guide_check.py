"""The joint guide: what it must fulfil, what its maker is told, and its mirror image."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core.errors import GuideError
from armwright.core.frames import arm_frames
from armwright.core.guide import SIDES, ArmGuide, Guide, TorsoGuide, mirrored
from armwright.core.guide_check import FARTHEST, check_guide

LEFT = ArmGuide(
    side="L",
    clavicle=(0.03, -0.02, 1.4),
    shoulder=(0.2, 0.0, 1.4),
    elbow=(0.45, 0.03, 1.4),
    wrist=(0.7, 0.0, 1.4),
    hand_end=(0.88, 0.0, 1.4),
    palm=(0.0, 0.0, -1.0),
)
STRAIGHT = replace(LEFT, elbow=(0.45, 0.0, 1.4), bend=(0.0, 1.0, 0.0))
TORSO = TorsoGuide((0.0, 0.0, 0.0), ((0.0, 0.0, 0.9), (0.0, 0.0, 1.1), (0.0, 0.0, 1.45)), (0.0, 0.0, 1.7))
GUIDE = Guide("Wren", (LEFT, mirrored(LEFT)), TORSO)


def _arm(**changes: Any) -> Guide:
    """The guide with its left arm changed."""
    return replace(GUIDE, arms=(replace(LEFT, **changes), GUIDE.arms[1]))


def _straight(**changes: Any) -> Guide:
    return replace(GUIDE, arms=(replace(STRAIGHT, **changes), GUIDE.arms[1]))


def _torso(**changes: Any) -> Guide:
    return replace(GUIDE, torso=replace(TORSO, **changes))


REFUSED: list[tuple[Guide, str]] = [
    (replace(GUIDE, name=" "), "name ' ' is empty"),
    (replace(GUIDE, name="a\nb"), "control character"),
    (replace(GUIDE, name="../wren"), "can not name a file"),
    (replace(GUIDE, name="w" * 64), "63 bytes"),
    (replace(GUIDE, arms=()), "no arm: describe one or both"),
    (replace(GUIDE, arms=(LEFT, LEFT)), "left arm is described 2 times"),
    (_arm(side="left"), "side 'left': it has to be one of L, R"),
    (_arm(side=""), "side ''"),
    (_arm(elbow=(math.nan, 0.0, 1.4)), r'arms\[0\] \("L"\)\.elbow\[0\]: expected a finite number, found nan'),
    (_arm(wrist=(0.7, math.inf, 1.4)), r"wrist\[1\]: expected a finite number, found inf"),
    (_arm(palm=(0.0, 0.0, math.nan)), r"palm\[2\]: expected a finite number"),
    (_straight(bend=(0.0, math.nan, 0.0)), r"bend\[1\]: expected .*finite number"),
    (_arm(elbow=(0.45, 0.0)), "elbow: expected 3 items, found 2"),
    (_arm(elbow=None), "elbow: expected a tuple, found null"),
    (_arm(hand_end=(1e300, 0.0, 1.4)), "left arm: the hand's end.*check the units"),
    (_arm(clavicle=(2.0 * FARTHEST, 0.0, 1.4)), "clavicle's inner end.*check the units"),
    (_arm(shoulder=LEFT.clavicle), "clavicle's inner end and the shoulder are at the same place.*clavicle no length"),
    (_arm(elbow=LEFT.shoulder), "shoulder and the elbow are at the same place.*upper arm no length: move them apart"),
    (_arm(wrist=LEFT.elbow), "elbow and the wrist are at the same place"),
    (_arm(hand_end=LEFT.wrist), "wrist and the hand's end are at the same place"),
    (_arm(hand_end=(0.709, 0.0, 1.4)), "only 0.009 m apart"),
    (_arm(shoulder=(0.2, 0.0, 1.4), elbow=(0.2, 0.0, 1.4), wrist=(0.2, 0.0, 1.4)), "from shoulder to wrist, the least"),
    (_arm(clavicle=(0.2, 0.0, 1.3)), "clavicle points straight up or down"),
    (_straight(bend=None), r"left arm is straight.*say where the elbow points \(bend\)"),
    (_straight(bend=None, elbow=(0.45, 0.001, 1.4)), "left arm is straight"),
    (_straight(bend=(0.0, 0.0, 0.0)), r"bend's direction is \(0, 0, 0\)"),
    (_straight(bend=(1.0, 0.0, 0.0)), "bend's direction is parallel to the arm"),
    (_straight(bend=(-3.0, 0.01, 0.0)), "bend's direction is parallel to the arm"),
    (_arm(wrist=(0.21, 0.0014, 1.4)), "folded flat"),
    (_arm(shoulder=(0.2, 0.0, 1.4), elbow=(0.5, 0.0, 1.4), wrist=(0.25, 0.01, 1.4)), "folded flat"),
    (_arm(palm=(0.0, 0.0, 0.0)), r"palm's direction is \(0, 0, 0\)"),
    (_arm(palm=(1.0, 0.0, 0.0)), "palm's direction is parallel to the hand"),
    (_arm(palm=(-2.0, 0.0, 0.01)), "palm's direction is parallel to the hand"),
    (replace(GUIDE, up=(0.0, 0.0, 2.0)), r"direction up is \(0, 0, 2\): it has to have the length 1"),
    (replace(GUIDE, up=(0.0, 0.0, 0.0)), "direction up"),
    (replace(GUIDE, front=(0.0, -0.9, 0.0)), "direction front"),
    (replace(GUIDE, front=(0.0, 0.0, -1.0)), "parallel: turn one"),
    (replace(GUIDE, up=(1e300, 0.0, 0.0)), "direction up"),
    (_torso(chain=()), "chain has 0 joints"),
    (_torso(chain=((0.0, 0.0, 1.0),)), "chain has 1 joints"),
    (_torso(chain=tuple((0.0, 0.0, 1.0 + i) for i in range(101))), "chain has 101 joints"),
    (_torso(chain=((0.0, 0.0, 1.0), (0.0, 0.0, 1.0), (0.0, 0.0, 1.4))), "joints 1 and 2 of the chain are at the same"),
    (_torso(chain=((0.0, 0.0, 1.0), (0.0, 0.0, 1.0))), "torso's chain is 0 m long"),
    (_torso(head=(0.0, 0.0, 1.45)), "joint 3 and the head"),
    (_torso(root=(0.0, 0.0, 1e9)), "torso has a joint at .*check the units"),
    (_torso(head=(0.0, 0.0, math.nan)), r"torso\.head\[2\]|head"),
]


@pytest.mark.parametrize(("guide", "words"), REFUSED, ids=range(len(REFUSED)))
def test_joints_that_make_no_arm_are_refused_with_what_to_do(guide: Guide, words: str) -> None:
    with pytest.raises(GuideError, match=words):
        check_guide(guide)


@pytest.mark.parametrize(
    "guide", [GUIDE, _straight(), replace(GUIDE, torso=None), replace(GUIDE, arms=GUIDE.arms[::-1])]
)
def test_a_good_guide_has_no_warnings(guide: Guide) -> None:
    assert check_guide(guide) == ()


WARNED: list[tuple[Guide, str]] = [
    (replace(GUIDE, arms=(LEFT,)), "only the left arm is described; the right one will not be built: mirror it with"),
    (replace(GUIDE, arms=(mirrored(LEFT),)), "only the right arm is described; the left one will not be built"),
    (_arm(bend=(0.0, -1.0, 0.0)), "left arm: the joints bend the elbow to another side"),
    (_arm(wrist=(0.25, -0.05, 1.4)), "degrees at rest, more than an elbow usually bends"),
    (replace(GUIDE, arms=(LEFT, replace(LEFT, side="R"))), "right arm starts towards .* are the two sides swapped"),
]


@pytest.mark.parametrize(("guide", "words"), WARNED, ids=range(len(WARNED)))
def test_a_doubtful_guide_passes_with_a_warning(guide: Guide, words: str) -> None:
    (warning,) = check_guide(guide)
    assert re.search(words, warning)


def test_a_side_is_judged_by_the_character_s_own_directions() -> None:
    turned = replace(GUIDE, arms=(mirrored(LEFT), LEFT), front=(0.0, 1.0, 0.0))
    assert all("swapped" in warning for warning in check_guide(turned)) and len(check_guide(turned)) == 2


_coordinates = st.floats(-2.0, 2.0) | st.sampled_from([0.0, 1.0, -1.0])
_points = st.tuples(_coordinates, _coordinates, _coordinates)
_arms = st.builds(
    ArmGuide, st.sampled_from(SIDES), _points, _points, _points, _points, _points, _points, st.none() | _points
)


@settings(max_examples=300, deadline=None)
@given(_arms, st.sampled_from([1.0, 0.01, 1e5]))
def test_a_guide_that_passes_has_right_handed_frames_of_units(arm: ArmGuide, scale: float) -> None:
    def scaled(point: tuple[float, float, float]) -> tuple[float, float, float]:
        return (point[0] * scale, point[1] * scale, point[2] * scale)

    names = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")
    arm = replace(arm, **{name: scaled(getattr(arm, name)) for name in names})
    try:
        check_guide(Guide("Wren", (arm,)))
    except GuideError:
        return
    frames = arm_frames(arm, (0.0, 0.0, 1.0))
    for frame in (frames.clavicle, frames.upper_arm, frames.forearm, frames.hand):
        assert np.abs(frame[:3, :3].T @ frame[:3, :3] - np.eye(3)).max() < 1e-9
        assert np.linalg.det(frame[:3, :3]) > 0.0


@given(_arms)
def test_mirroring_twice_changes_nothing_and_once_changes_the_side(arm: ArmGuide) -> None:
    other = mirrored(arm)
    assert other.side != arm.side
    assert mirrored(other) == arm
    for name in ("clavicle", "shoulder", "elbow", "wrist", "hand_end", "palm"):
        x, y, z = getattr(arm, name)
        assert getattr(other, name) == (-x, y, z)


def test_the_frames_of_a_mirrored_arm_are_the_mirror_image() -> None:
    mirror = np.diag([-1.0, 1.0, 1.0])
    left, right = (arm_frames(arm, (0.0, 0.0, 1.0)) for arm in (LEFT, mirrored(LEFT)))
    for name in ("clavicle", "upper_arm", "forearm", "hand"):
        expected = mirror @ getattr(left, name)[:3, :3] @ mirror
        assert getattr(right, name)[:3, :3] == pytest.approx(expected, abs=1e-15)


def test_an_unknown_side_can_not_be_mirrored() -> None:
    with pytest.raises(GuideError, match="one of L, R"):
        mirrored(replace(LEFT, side="M"))
