"""Fingers and pivots of a guide: their frames, their mirror image, their written form, and what is refused."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from armwright.core import guide_json
from armwright.core.errors import GuideError
from armwright.core.frames import arm_frames
from armwright.core.guide import UP, ArmGuide, FingerGuide, Guide, PivotGuide, mirrored
from armwright.core.guide_check import check_guide
from armwright.core.hand_frames import PivotPoints
from armwright.core.hand_proportions import with_fingers
from armwright.core.stature import guide_from_stature

BODY = guide_from_stature(1.7, "Wren")
LEFT = with_fingers(BODY.arms[0])
GUIDE = Guide("Wren", (LEFT, mirrored(LEFT)), BODY.torso)
MIRROR = np.diag([-1.0, 1.0, 1.0])
PIVOTS = PivotGuide(*(tuple(np.array(LEFT.wrist) + 0.01 * index) for index in range(6)))


def test_a_hand_by_proportion_ends_where_the_middle_finger_does() -> None:
    middle = next(finger for finger in LEFT.fingers if finger.name == "middle")
    along = (np.array(LEFT.hand_end) - np.array(LEFT.wrist)) / np.linalg.norm(
        np.array(LEFT.hand_end) - np.array(LEFT.wrist)
    )
    reach = float((np.array(middle.joints[-1]) - np.array(LEFT.wrist)) @ along)
    assert reach == pytest.approx(float(np.linalg.norm(np.array(LEFT.hand_end) - np.array(LEFT.wrist))), rel=1e-12)


def test_fingers_and_pivots_of_the_right_hand_are_the_exact_mirror_image() -> None:
    left, right = arm_frames(LEFT, UP), arm_frames(mirrored(LEFT), UP)
    for one, other in zip(left.fingers, right.fingers, strict=True):
        for a, b in zip(one.frames, other.frames, strict=True):
            assert np.abs(MIRROR @ a[:3, :3] @ MIRROR - b[:3, :3]).max() < 1e-12
            assert np.abs(MIRROR @ a[:3, 3] - b[:3, 3]).max() < 1e-12
    for item in fields(PivotPoints):
        assert np.abs(MIRROR @ getattr(left.pivots, item.name) - getattr(right.pivots, item.name)).max() < 1e-12


def test_a_positive_turn_about_its_hinge_closes_every_finger() -> None:
    frames = arm_frames(LEFT, UP)
    for finger, frame in zip(LEFT.fingers, frames.fingers, strict=True):
        curl = np.array(finger.curl or LEFT.palm)
        for bone in frame.frames:
            assert float(bone[:3, 2] @ curl) > 0.0


def test_pivots_by_proportion_lie_where_their_names_say() -> None:
    for arm in (LEFT, mirrored(LEFT), replace(LEFT, fingers=()), mirrored(replace(LEFT, fingers=()))):
        pivots = arm_frames(arm, UP).pivots
        assert pivots.heel[1] < pivots.palm[1] < pivots.knuckles[1] < pivots.fingertips[1]
        thumb = -1.0 if arm.side == "L" else 1.0
        assert thumb * pivots.thumb_edge[0] > 0.0 > thumb * pivots.outer_edge[0]
        assert min(pivots.heel[2], pivots.palm[2], pivots.thumb_edge[2], pivots.outer_edge[2]) > 0.0


def test_pivots_of_the_guide_are_taken_as_they_are() -> None:
    frames = arm_frames(replace(LEFT, pivots=PIVOTS), UP)
    heel = frames.hand @ np.array([*frames.pivots.heel, 1.0])
    assert np.abs(heel[:3] - np.array(PIVOTS.heel)).max() < 1e-12


def test_fingers_pivots_and_pairs_survive_writing_and_mirroring_twice() -> None:
    lower = replace(LEFT, pair="lower", pivots=PIVOTS)
    full = replace(GUIDE, arms=(lower, mirrored(lower), *GUIDE.arms))
    assert guide_json.from_text(guide_json.to_text(full)) == full
    assert mirrored(mirrored(full.arms[0])) == full.arms[0]
    assert [arm.id for arm in full.arms] == ["lower.L", "lower.R", "L", "R"]
    assert check_guide(full) == ()


def _fingers(*fingers: FingerGuide) -> ArmGuide:
    return replace(LEFT, fingers=fingers)


def _index(**changes: Any) -> ArmGuide:
    return _fingers(replace(LEFT.fingers[1], **changes))


INDEX = LEFT.fingers[1].joints
REFUSED: list[tuple[ArmGuide, str]] = [
    (_fingers(*(replace(LEFT.fingers[1], name=f"n{index}") for index in range(21))), "21 fingers, the most is 20"),
    (_fingers(LEFT.fingers[1], LEFT.fingers[1]), "2 fingers named 'index'"),
    (_index(name="Index"), "finger named 'Index'"),
    (_index(name="a.b"), "finger named 'a.b'"),
    (_index(name="hand"), "finger named 'hand'"),
    (_index(joints=INDEX[:1]), "index has 1 joints"),
    (_index(joints=INDEX * 3), "index has 12 joints"),
    (_index(joints=(INDEX[0], INDEX[0], INDEX[1])), "index's joints 1 and 2 are 0 m apart"),
    (_index(joints=(INDEX[0], (9.0, 0.0, 0.0))), "index's joint 2 is .* m from the wrist"),
    (_index(curl=(0.0, 0.0, 0.0)), "index curls towards"),
    (_index(curl=tuple(np.array(INDEX[1]) - np.array(INDEX[0]))), "bone 1 points where it curls to"),
    (replace(LEFT, pivots=replace(PIVOTS, heel=(9.0, 0.0, 0.0))), "pivot heel is .* m from the wrist"),
    (replace(LEFT, pivots=replace(PIVOTS, thumb_edge=PIVOTS.outer_edge)), "both edges are at the same place"),
    (replace(LEFT, pair="Lower"), "of the pair 'Lower'"),
]


@pytest.mark.parametrize(("arm", "words"), REFUSED, ids=range(len(REFUSED)))
def test_a_hand_that_can_not_be_planned_is_refused_with_what_to_do(arm: ArmGuide, words: str) -> None:
    with pytest.raises(GuideError, match=words):
        check_guide(replace(GUIDE, arms=(arm,)))
