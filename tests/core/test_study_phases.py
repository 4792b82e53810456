"""Phases of arms against hand-made motions whose phases are known frame by frame.

Every motion has noise of 2 mm along each axis. Precision and recall are of frames, over all seeds of a case together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_motions import (
    NOISE,
    RATES,
    Made,
    arm_to,
    cosine,
    held_hand,
    late,
    planted_elbow,
    planted_hand,
    rolling_hand,
    shoulder_of,
    smooth,
    steady,
    torso_motion,
    turning_round,
)
from numpy.typing import NDArray

from armwright.core.rotations import axis_matrix
from armwright.core.study.motion import StudyMotion
from armwright.core.study.phases import ELBOW, HAND, HELD, ROLL, SWING, Phase, phases_of, planted_frames
from armwright.core.study.still import runs

SEEDS = (0, 1, 2)
ENOUGH = 0.95
# Rolls have more seeds: of their frames alone few are left of a clip.
ROLL_SEEDS = (0, 1, 2, 3, 4, 5)
# Moves of other shapes than minimum jerk, for which the ends of a roll are less sure where noise hides them: precision
# and recall of the rolling frames, with orientations and with positions alone, at 24 and 30 Hz and at 60 and 120.
OTHERWISE = {
    cosine: (0.95, 0.85, 0.89),
    late: (0.95, 0.90, 0.94),
    steady: (0.93, 0.90, 0.94),
}


def scores(cases: list[Made], kinds: tuple[str, ...]) -> tuple[float, float]:
    return scores_of([(phases_of(case.motion), case.truth) for case in cases], kinds)


def scores_of(found: list[tuple[tuple[Phase, ...], NDArray[np.bool_]]], kinds: tuple[str, ...]) -> tuple[float, float]:
    """Precision and recall of frames, of phases beside what is true."""
    planted = np.concatenate([planted_frames(phases, "L", len(truth), kinds) for phases, truth in found])
    truth = np.concatenate([truth for _, truth in found])
    both = float((planted & truth).sum())
    return both / max(float(planted.sum()), 1.0), both / float(truth.sum())


@pytest.mark.parametrize("rate", RATES)
def test_a_planted_hand_is_found_whatever_the_rate(rate: float) -> None:
    precision, recall = scores([planted_hand(rate, seed) for seed in SEEDS], (HAND, ROLL))
    assert precision >= ENOUGH and recall >= ENOUGH, f"seeds {SEEDS}: {precision:.3f}, {recall:.3f}"


@pytest.mark.parametrize("rate", RATES)
def test_a_planted_elbow_is_found_while_the_hand_swings(rate: float) -> None:
    precision, recall = scores([planted_elbow(rate, seed) for seed in SEEDS], (ELBOW,))
    assert precision >= ENOUGH and recall >= ENOUGH, f"seeds {SEEDS}: {precision:.3f}, {recall:.3f}"


@pytest.mark.parametrize("thing", [False, True], ids=["the other hand", "a moving thing"])
@pytest.mark.parametrize("rate", RATES)
def test_a_hand_that_keeps_its_distance_from_what_moves_is_held_on_it(rate: float, thing: bool) -> None:
    precision, recall = scores([held_hand(rate, seed, thing) for seed in SEEDS], (HELD,))
    assert precision >= ENOUGH and recall >= ENOUGH, f"seeds {SEEDS}: {precision:.3f}, {recall:.3f}"


@pytest.mark.parametrize("turns", [True, False], ids=["orientations", "positions alone"])
@pytest.mark.parametrize(("share", "over"), [(0.0, "heel"), (0.25, "palm"), (0.5, "knuckles"), (1.0, "fingertips")])
@pytest.mark.parametrize("rate", RATES)
def test_a_hand_that_rolls_over_any_part_of_it_stays_planted(rate: float, share: float, over: str, turns: bool) -> None:
    made = [rolling_hand(rate, seed, share, NOISE, turns) for seed in ROLL_SEEDS]
    phases = [phases_of(case.motion) for case, _ in made]
    precision, recall = scores_of(
        [(one, case.truth) for one, (case, _) in zip(phases, made, strict=True)], (HAND, ROLL)
    )
    assert precision >= ENOUGH and recall >= ENOUGH, f"seeds {ROLL_SEEDS}: {precision:.3f}, {recall:.3f}"
    precision, recall = scores_of([(one, rolls) for one, (_, rolls) in zip(phases, made, strict=True)], (ROLL,))
    assert precision >= ENOUGH and recall >= ENOUGH, f"seeds {ROLL_SEEDS}: {precision:.3f}, {recall:.3f}"
    found = [phase for one in phases for phase in one if phase.kind == ROLL]
    named = sum(phase.last - phase.first for phase in found if phase.over == over)
    assert named >= 0.8 * sum(phase.last - phase.first for phase in found)


@pytest.mark.parametrize("turns", [True, False], ids=["orientations", "positions alone"])
@pytest.mark.parametrize("ease", OTHERWISE, ids=lambda ease: ease.__name__)
@pytest.mark.parametrize("rate", RATES)
def test_a_roll_of_another_shape_than_minimum_jerk_is_found_nearly_as_well(rate: float, ease, turns: bool) -> None:
    made = [rolling_hand(rate, seed, 0.5, NOISE, turns, ease) for seed in ROLL_SEEDS]
    precision, recall = scores([Made(case.motion, rolls) for case, rolls in made], (ROLL,))
    enough = OTHERWISE[ease][0 if turns else 1 if rate < 60.0 else 2]
    assert precision >= enough and recall >= enough, f"seeds {ROLL_SEEDS}: {precision:.3f}, {recall:.3f}"


@pytest.mark.parametrize("rate", RATES)
def test_a_roll_between_two_rests_begins_and_ends_to_the_frame_where_orientations_are_known(rate: float) -> None:
    for seed in ROLL_SEEDS:
        case, rolls = rolling_hand(rate, seed, 0.0)
        found = [(phase.first, phase.last) for phase in phases_of(case.motion) if phase.kind == ROLL]
        expected = [(span.first, span.last) for span in runs(rolls)]
        assert len(found) == len(expected), f"seed {seed}"
        assert np.abs(np.array(found) - expected).max() <= 1, f"seed {seed}: {found}, {expected}"


@pytest.mark.parametrize("rate", RATES)
def test_a_hand_that_turns_round_in_its_swing_rests_on_nothing_and_one_that_stays_does(rate: float) -> None:
    for seed in range(4):
        for pause in (0.0, 0.05, 0.1, 0.15):
            motion = turning_round(rate, seed, pause)
            found = planted_frames(phases_of(motion), "L", motion.frames)[round(1.2 * rate) : round(2.8 * rate)]
            assert not found.any(), f"seed {seed}, {pause} s: {found.sum()} frames"
        motion = turning_round(rate, seed, 0.6)
        found = planted_frames(phases_of(motion), "L", motion.frames)
        assert found[round(1.75 * rate) : round(2.25 * rate)].all(), f"seed {seed}"


def test_positions_alone_do_not_take_the_elbow_s_way_for_a_turn_of_the_hand() -> None:
    # A hand that lies flat while the body sways: its line does not turn, the plane of its elbow does.
    case, _ = rolling_hand(60.0, 4, 0.0, 0.0, False)
    arm = case.motion.arms[0]
    still = replace(arm, wrist=np.tile(arm.wrist[:1], (len(arm.wrist), 1)), tip=np.tile(arm.tip[:1], (len(arm.tip), 1)))
    torso = torso_motion(np.random.default_rng(4), len(arm.wrist), 60.0)
    swaying = arm_to("L", shoulder_of(torso, 1.0), still.wrist)
    motion = replace(case.motion, arms=(replace(swaying, tip=still.tip),), torso=torso)
    found = [phase for phase in phases_of(motion) if phase.kind != ELBOW]
    assert [(phase.kind, phase.first, phase.last) for phase in found] == [(HAND, 0, motion.frames - 1)]
    assert found[0].turned == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("degrees", "kinds"), [(5.0, [HAND]), (12.0, [HAND, ROLL, HAND])])
def test_a_planted_hand_that_turns_by_a_little_does_not_roll(degrees: float, kinds: list[str]) -> None:
    frames, rate = 240, 60.0
    torso = torso_motion(np.random.default_rng(2), frames, rate)
    lean = np.radians(degrees) * smooth((np.arange(frames) / rate - 1.5) / 1.0)
    hand = axis_matrix("X", lean) @ np.diag([-1.0, -1.0, 1.0])
    arm = arm_to("L", shoulder_of(torso, 1.0), np.tile([0.2, -0.4, 1.1], (frames, 1)), hand)
    found = [phase for phase in phases_of(StudyMotion("sill", rate, (arm,), torso)) if phase.kind != ELBOW]
    assert [phase.kind for phase in found] == kinds
    assert max(phase.turned for phase in found) == pytest.approx(degrees, abs=0.5)


def test_what_a_phase_proves_is_how_far_the_shoulder_moved_meanwhile() -> None:
    case = planted_hand(60.0, 5, 0.0)
    for phase in phases_of(case.motion):
        arm = case.motion.arms[0]
        inside = arm.shoulder[phase.first : phase.last + 1]
        far = np.linalg.norm(inside - inside[0], axis=1).max() / arm.length
        assert phase.shoulder_moved == pytest.approx(far)


def test_hands_that_hang_by_a_body_that_walks_off_hold_nothing() -> None:
    rate, frames = 60.0, 300
    torso = torso_motion(np.random.default_rng(1), frames, rate, 0.3)
    torso[:, 1, 3] -= np.arange(frames) / rate * 1.2
    arms = tuple(
        arm_to(name, shoulder_of(torso, side), shoulder_of(torso, side) + torso[:, :3, :3] @ [0.06 * side, -0.1, -0.52])
        for name, side in (("L", 1.0), ("R", -1.0))
    )
    assert {phase.kind for phase in phases_of(StudyMotion("walk", rate, arms, torso))} == {SWING}
    near = tuple(
        arm_to(name, shoulder_of(torso, side), torso[:, :3, 3] + torso[:, :3, :3] @ [0.1 * side, -0.4, 0.1])
        for name, side in (("L", 1.0), ("R", -1.0))
    )
    carried = phases_of(StudyMotion("box", rate, near, torso))
    assert [(phase.arm, phase.kind, phase.on) for phase in carried] == [("L", HELD, "R"), ("R", HELD, "L")]


def test_every_frame_of_the_hand_is_in_exactly_one_phase() -> None:
    made, _ = rolling_hand(30.0, 8, 0.5)
    count = np.zeros(made.motion.frames, int)
    for phase in phases_of(made.motion):
        if phase.kind != ELBOW:
            count[phase.first : phase.last + 1] += 1
    assert (count == 1).all()
