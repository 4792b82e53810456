"""A recording in the character's space, at the scene's rate; its holds as places of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm as arm_of
from made_motions import arm_to, planted_hand, rolling_hand, shoulder_of, torso_motion
from numpy.typing import NDArray

from armwright.core.errors import MotionError
from armwright.core.rotations import euler_to_matrix
from armwright.core.study.motion import StudyMotion
from armwright.core.study.phases import HAND, HELD, ROLL, WORLD, Phase
from armwright.core.study.study import study
from armwright.core.transfer.holds import hand_holds, held_phases, pivot_of
from armwright.core.transfer.mapped import mapped, size_of
from armwright.core.transfer.resample import at_rate

Array = NDArray[np.float64]
SEED = 5
GEOMETRIES = {"L": arm_of(), "R": arm_of(side="R")}
FACING = np.eye(3)


def two_arms(frames: int = 40) -> StudyMotion:
    """Both hands wander in front of a torso that sways."""
    rng = np.random.default_rng(SEED)
    torso = torso_motion(rng, frames, 30.0)
    time = np.arange(frames) / 30.0
    arms = []
    for arm, side in (("L", 1.0), ("R", -1.0)):
        wrist = np.stack([0.25 * side + 0.1 * np.sin(time), -0.35 + 0.05 * np.cos(time), 1.3 + 0.1 * time], axis=1)
        arms.append(arm_to(arm, shoulder_of(torso, side), wrist))
    return StudyMotion("two", 30.0, tuple(arms), torso)


def phase(arm: str, kind: str, on: str, first: int, last: int) -> Phase:
    return Phase(arm, kind, on, first, last, 0.2, 0.0, 0.0)


def test_a_recording_of_any_size_and_heading_comes_to_the_same_place() -> None:
    motion = two_arms()
    plain = mapped(motion, GEOMETRIES, FACING)
    turn, size, away = euler_to_matrix(np.array([0.0, 0.0, 2.2]), "XYZ"), 1.7, np.array([3.0, -2.0, 0.4])

    def moved(points: Array) -> Array:
        return size * points @ turn.T + away

    arms = tuple(
        replace(arm, **{name: moved(getattr(arm, name)) for name in ("shoulder", "elbow", "wrist", "tip")})
        for arm in motion.arms
    )
    torso = motion.torso.copy()
    torso[:, :3, :3], torso[:, :3, 3] = turn @ torso[:, :3, :3], moved(torso[:, :3, 3])
    # The character faces where the recorded body does after the turn.
    other = mapped(replace(motion, arms=arms, torso=torso), GEOMETRIES, turn.T)
    assert other.scale == pytest.approx(plain.scale / size)
    for ours, theirs in zip(plain.arms, other.arms, strict=True):
        np.testing.assert_allclose(theirs.wrist, ours.wrist, atol=1e-12)
        np.testing.assert_allclose(theirs.forearm, ours.forearm, atol=1e-12)


def test_holds_are_as_far_in_arm_lengths_as_they_were() -> None:
    motion = two_arms()
    goal = mapped(motion, GEOMETRIES, FACING)
    for arm, theirs in zip(motion.arms, goal.arms, strict=True):
        recorded = np.linalg.norm(arm.wrist - arm.shoulder, axis=1) / arm.length
        ours = np.linalg.norm(theirs.wrist - theirs.shoulder, axis=1) / size_of(GEOMETRIES[arm.arm])
        np.testing.assert_allclose(ours, recorded, rtol=1e-6)
    with pytest.raises(MotionError, match="none is in both"):
        mapped(motion, {"third": GEOMETRIES["L"]}, FACING)
    with pytest.raises(MotionError, match="above 0"):
        mapped(motion, GEOMETRIES, FACING, 0.0)


def test_the_point_that_a_hand_rolls_over_is_found() -> None:
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    pivot, place = np.array([0.01, 0.17, -0.02]), rng.uniform(-1.0, 1.0, 3)
    turns = euler_to_matrix(np.linspace(0.0, 1.0, 30)[:, None] * rng.uniform(0.5, 1.0, 3), "XYZ")
    wrist = place - turns @ pivot
    found = pivot_of(wrist, turns)
    # Where the turn has one axis every point along it stands as well; the ridge draws the choice to the
    # wrist, by up to 2 %.
    stands = wrist + turns @ found
    assert np.linalg.norm(stands - stands[0], axis=1).max() < 2e-2 * np.linalg.norm(pivot)
    assert np.linalg.norm(wrist - wrist[0], axis=1).max() > 0.3 * np.linalg.norm(pivot)
    # A hand that does not turn tells no point: the wrist is taken.
    still = np.tile(turns[:1], (30, 1, 1))
    np.testing.assert_allclose(pivot_of(wrist[:1] + np.zeros((30, 3)), still + 0.0), 0.0, atol=1e-9)


def test_what_a_rolling_hand_stands_on_stands_through_plant_roll_and_plant() -> None:
    made, _ = rolling_hand(30.0, SEED, 1.0, 0.0)
    found = study(made.motion)
    goal = mapped(made.motion, {"L": GEOMETRIES["L"]}, FACING)
    arm = goal.arms[0]
    assert arm.hand is not None
    notes: list[str] = []
    holds = hand_holds(arm, found.phases, arm.hand, size_of(GEOMETRIES["L"]), 6, notes)
    rolled = [hold for hold in holds if hold.rolls.any()]
    assert len(rolled) >= 3, (holds, notes)
    for hold in rolled:
        points = hold.poses[:, :3, 3] + np.einsum("fij,fj->fi", hold.poses[:, :3, :3], hold.pivot)
        np.testing.assert_allclose(points, hold.place, atol=1e-12)
        # From one frame to the next the pose goes on: no frame jumps although the point that stands changes.
        steps = np.linalg.norm(np.diff(hold.poses[:, :3, 3], axis=0), axis=1)
        assert steps.max() < 0.05 * size_of(GEOMETRIES["L"])
        assert np.ptp(hold.poses[:, :3, 3], axis=0).max() > 0.05 * size_of(GEOMETRIES["L"])


def test_two_hands_that_hold_each_other_make_no_circle() -> None:
    notes: list[str] = []
    both = (phase("L", HELD, "R", 5, 30), phase("R", HELD, "L", 5, 30))
    assert [(item.arm, item.on) for item in held_phases(both, ("L", "R"), notes)] == [("R", "L")]
    longer = (phase("L", HELD, "R", 5, 60), phase("R", HELD, "L", 5, 30))
    assert [(item.arm, item.on) for item in held_phases(longer, ("L", "R"), notes)] == [("L", "R")]
    assert held_phases((phase("L", HELD, "rope", 5, 30),), ("L", "R"), notes) == []
    assert any("'rope' is no hand" in note for note in notes)


def test_at_another_rate_a_phase_covers_the_frames_within_it() -> None:
    made = planted_hand(60.0, SEED, 0.0)
    found = study(made.motion)
    other = at_rate(found, 24.0)
    assert other.motion.rate == 24.0
    # The last frame is within the recording.
    assert other.motion.frames == int((made.motion.frames - 1) * 24.0 / 60.0 + 1e-6) + 1
    arm, theirs = made.motion.arms[0], other.motion.arms[0]
    # Every second of a frame of 24 is a frame of 60: 5 frames are 2.
    np.testing.assert_allclose(theirs.wrist[::2], arm.wrist[::5][: len(theirs.wrist[::2])], atol=1e-12)
    held = [item for item in found.phases if item.kind in (HAND, ROLL) and item.on == WORLD]
    for before, after in zip(
        held, [item for item in other.phases if item.kind in (HAND, ROLL) and item.on == WORLD], strict=True
    ):
        assert before.first <= after.first * 2.5 < before.first + 2.5
        assert before.last - 2.5 < after.last * 2.5 <= before.last
    assert at_rate(found, 60.0) is found
