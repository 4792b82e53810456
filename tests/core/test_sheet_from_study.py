"""What a study asks of arms: each need with frames that show it, and nothing of somebody who stands still."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
import pytest
from made_motions import arm_to, held_hand, planted_elbow, planted_hand, rolling_hand, shoulder_of, torso_motion
from numpy.typing import NDArray

from armwright.core.errors import MotionError
from armwright.core.motion.bvh import read_bvh
from armwright.core.motion.clip import compose, make_clip
from armwright.core.motion.recorded import recorded_clip
from armwright.core.rotations import angle_between, axis_matrix
from armwright.core.sheet import sheet_toml
from armwright.core.sheet.from_study import MOST_SPANS, draw_up, sentence
from armwright.core.sheet.model import HAND, THING, Sheet
from armwright.core.sheet.torso_file import ARM, LONGEST, TORSO, clip_of, part_to_play, range_of, torso_text
from armwright.core.study.motion import StudyMotion
from armwright.core.study.study import study

Array = NDArray[np.float64]
RATE = 60.0


def sheet_of(motion: StudyMotion) -> Sheet:
    """The sheet, as it is read back."""
    drawn = draw_up(study(motion), "keeper.csv", b"x")
    assert drawn.sheet.recording is not None
    assert drawn.sheet.recording.torso_sha256 == hashlib.sha256(drawn.torso.encode()).hexdigest()
    return sheet_toml.from_text(sheet_toml.to_text(drawn.sheet))[0]


def names(sheet: Sheet, arm: int = 0) -> set[str]:
    return {need.requirement for need in sheet.arms[arm].needs}


def test_hand_over_hand_on_a_ladder_asks_to_hold_the_hand_where_it_rests() -> None:
    made = planted_hand(RATE, 4)
    sheet = sheet_of(made.motion)
    assert {"swing", "hold-hand", "switch"} <= names(sheet)
    assert not {"hold-elbow", "hold-both"} & names(sheet)
    need = sheet.arms[0].need("hold-hand")
    assert need is not None
    assert 0 < len(need.frames) <= MOST_SPANS
    rests = np.mean([made.truth[first : last + 1].mean() for first, last in need.frames])
    assert rests > 0.9, rests


def test_an_elbow_on_the_rail_asks_to_plant_the_elbow() -> None:
    sheet = sheet_of(planted_elbow(RATE, 4).motion)
    assert "hold-elbow" in names(sheet)
    assert "hold-both" not in names(sheet)


def test_elbow_and_hand_on_the_rail_at_once_ask_for_both() -> None:
    made = planted_elbow(RATE, 4, 0.0)
    arm = made.motion.arms[0]
    still = replace(arm, wrist=arm.elbow + np.array([0.0, -0.264, 0.0]), tip=None)
    assert {"hold-both"} <= names(sheet_of(replace(made.motion, arms=(still,))))


def test_a_hand_that_rolls_on_the_sill_asks_for_plant_and_says_over_what() -> None:
    sheet = sheet_of(rolling_hand(RATE, 4, 1.0)[0].motion)
    need = sheet.arms[0].need("plant")
    assert need is not None
    assert "fingertips" in need.why


@pytest.mark.parametrize("thing", [False, True])
def test_a_hand_on_what_moves_asks_for_its_space(thing: bool) -> None:
    sheet = sheet_of(held_hand(RATE, 4, thing).motion)
    assert [(space.kind, space.on) for space in sheet.arms[0].spaces] == [(THING, "wheel") if thing else (HAND, "R")]
    assert "hold-hand" in names(sheet)


def still_motion() -> StudyMotion:
    torso = torso_motion(np.random.default_rng(1), 240, RATE, 0.0)
    shoulder = shoulder_of(torso, 1.0)
    return StudyMotion("still", RATE, (arm_to("L", shoulder, shoulder + np.array([0.05, -0.1, -0.5])),), torso)


def test_somebody_who_stands_still_asks_for_nothing() -> None:
    sheet = sheet_of(still_motion())
    assert sheet.empty
    assert sentence(sheet) == "the sheet asks for nothing: no arm has to do anything"


def test_an_arm_is_to_stretch_as_far_as_it_did_and_not_for_slips_of_markers() -> None:
    motion = still_motion()
    shoulder = motion.arms[0].shoulder
    for part, expected in ((1.15, 1.15), (1.01, None)):
        reach = 0.6 * (0.8 + (part - 0.8) * np.sin(np.linspace(0.0, np.pi, 240)) ** 2)
        arm = arm_to("L", shoulder, shoulder + np.array([0.0, -1.0, 0.0]) * reach[:, None])
        size = arm.length / 0.6
        need = sheet_of(replace(motion, arms=(arm,))).arms[0].need("stretch")
        if expected is None:
            assert need is None
        else:
            assert need is not None
            assert need.most == pytest.approx(expected / size, abs=0.01)
            assert all(60 < first <= last < 180 for first, last in need.frames)


def test_a_raised_arm_asks_for_lift_and_a_shoulder_that_rises_alone_for_its_control() -> None:
    motion = still_motion()
    shoulder = motion.arms[0].shoulder
    share = np.linspace(0.0, 1.0, 240)
    raised = shoulder + 0.58 * np.stack([np.sin(2.0 * share), 0.0 * share - 0.05, -np.cos(2.0 * share)], axis=1)
    assert "lift" in names(sheet_of(replace(motion, arms=(arm_to("L", shoulder, raised),))))
    shrug = np.array([0.0, 0.0, 0.04]) * np.sin(np.pi * share)[:, None] ** 2
    shrugging = arm_to("L", shoulder + shrug, shoulder + shrug + [0.05, -0.1, -0.5])
    found = sheet_of(replace(motion, arms=(shrugging,)))
    assert "shoulder" in names(found)
    assert "lift" not in names(found)


def test_frames_are_those_of_the_recording_also_where_a_pose_in_front_was_left_out() -> None:
    motion = planted_hand(RATE, 4).motion
    plain, cut = (sheet_of(replace(motion, left_out=left_out)) for left_out in (0, 30))
    first, later = (sheet.arms[0].need("hold-hand") for sheet in (plain, cut))
    assert first is not None and later is not None
    assert later.frames == tuple((a + 30, b + 30) for a, b in first.frames)
    assert cut.recording is not None
    assert (cut.recording.frames, cut.recording.torso_first) == (motion.frames + 30, 30)


def test_the_torsos_file_turns_and_travels_as_the_recording_does() -> None:
    motion = planted_hand(24.0, 4, 0.0).motion
    bvh = read_bvh(torso_text(motion, 0, motion.frames - 1))
    clip = recorded_clip(bvh, (TORSO,), None, 24.0, arm_joints=ARM, clavicle_joint=None, follow=None)
    turns = motion.torso[:, :3, :3]
    heading = np.arctan2(turns[0, 1, 0] - turns[0, 0, 1], turns[0, 0, 0] + turns[0, 1, 1])
    front = axis_matrix("Z", np.array(-heading))
    assert clip.frames == motion.frames
    # The file has six digits.
    assert np.degrees(angle_between(compose(clip), front @ turns)).max() < 1e-4
    size = motion.arms[0].length
    travel = (motion.torso[:, :3, 3] - motion.torso[0, :3, 3]) @ front.T / size
    assert np.abs(clip.travel - travel).max() < 1e-5


def test_the_range_of_a_clip_is_what_it_turns_and_travels() -> None:
    share = np.linspace(0.0, 2.0 * np.pi, 240)
    tilt, side = np.radians(30.0) * np.sin(share), np.radians(12.0) * np.sin(2.0 * share)
    travel = np.zeros((240, 3))
    travel[:, 2] = -0.11 * np.sin(share)
    turns = axis_matrix("Y", side) @ axis_matrix("X", tilt)
    found = range_of(make_clip("lean", 240, torso=turns[:, None], travel=travel))
    assert found.tilt == pytest.approx((-30.0, 30.0), abs=0.5)
    assert found.side == pytest.approx((-12.0, 12.0), abs=0.5)
    assert found.travel == pytest.approx(0.11, abs=1e-3)


def test_of_a_long_recording_the_part_is_played_in_which_arms_hold_most() -> None:
    made = planted_hand(24.0, 4, 0.0).motion
    arm = made.arms[0]
    rest = 100 * 24
    turn = np.linspace(0.0, 60.0, rest)
    swing = np.stack([0.2 * np.sin(turn) + 0.3, -0.3 + 0.1 * np.cos(turn), 1.2 + 0.2 * np.sin(0.7 * turn)], axis=1)
    torso = np.concatenate([np.tile(made.torso[:1], (rest, 1, 1)), made.torso])
    shoulder = np.concatenate([np.tile(arm.shoulder[:1], (rest, 1)), arm.shoulder])
    long = arm_to("L", shoulder, np.concatenate([swing, arm.wrist]))
    motion = replace(made, arms=(long,), torso=torso)
    found = study(motion)
    first, last = part_to_play(motion, found.phases)
    assert last - first + 1 == int(LONGEST * 24.0)
    assert last > motion.frames - 3 * 24
    sheet = draw_up(found, "long.csv", b"x").sheet
    assert sheet.recording is not None
    assert sheet.recording.torso_first == first
    assert part_to_play(made, study(made).phases) == (0, made.frames - 1)


def test_another_bvh_is_not_taken_for_a_torsos_file() -> None:
    text = torso_text(still_motion(), 0, 9).replace("ROOT Torso", "ROOT Hips")
    with pytest.raises(MotionError, match="no joint 'Torso'"):
        clip_of(text)
