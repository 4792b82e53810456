"""The proof of a planted hand passes a sound arm and fails each defect of a wrong one, by the right figure."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from armwright.core.hand_frames import PivotPoints
from armwright.core.proof import plant, verdicts
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.results import FAIL, OUT_OF_REACH, PASS, Check
from armwright.core.proof.run_plan import RunSpec, planned_runs, standard_motions
from armwright.core.proof.run_settings import settings_for
from armwright.core.proof.samples import ArmRun
from armwright.core.proof.synthetic import guide_geometry, solved_samples, torso_poses
from armwright.core.rotations import axis_matrix
from armwright.core.solve.settings import ArmGeometry
from armwright.core.stature import guide_from_stature

WREN = guide_from_stature(1.7, "Wren")
RUNS = [spec for spec in planned_runs(standard_motions()) if plant.ID in spec.requirements]
SIZE = 0.332 * 1.7  # Winter, fig. 4.1: upper arm and forearm over stature


def spec_of(motion: str, mode: str) -> RunSpec:
    return next(spec for spec in RUNS if (spec.motion, spec.case.mode) == (motion, mode))


def run_of(spec: RunSpec, arm: str, shown: ArmGeometry | None = None) -> ArmRun:
    """The solver's arm, or with `shown` that of another hand, as a wrong rig would show it."""
    geometry = guide_geometry(WREN, arm)
    torso = torso_poses(WREN, spec.clip, geometry.upper_length + geometry.forearm_length)
    settings = settings_for(spec, arm, geometry, torso, np.broadcast_to(np.eye(4), torso.shape))
    samples = solved_samples(geometry if shown is None else shown, settings)
    return ArmRun(arm, spec.motion, spec.case, geometry, settings, samples)


def judged(spec: RunSpec, run: ArmRun) -> dict[str, Check]:
    return {check.measure: check for check in verdicts.checks(spec, run)[0]}


def with_pivots(arm: str, **points: np.ndarray) -> ArmGeometry:
    geometry = guide_geometry(WREN, arm)
    return replace(geometry, pivots=replace(geometry.pivots, **points))


@pytest.mark.parametrize("arm", ["L", "R"])
def test_the_reference_solvers_hand_passes_every_run_in_reach(arm: str) -> None:
    for spec in RUNS[::3]:
        for check in judged(spec, run_of(spec, arm)).values():
            assert check.verdict == PASS, check
            assert check.note == ""


def test_every_corner_rolls_and_every_kind_of_run_is_made_in_both_modes() -> None:
    ran = Counter((spec.motion, spec.case.mode) for spec in RUNS)
    for mode in plant.MODES:
        assert ran["plant-roll", mode] == 8
        assert ran["plant-roll-aside", mode] >= 2
        assert ran["plant-side", mode] >= 2
        assert ran["plant-spin", mode] >= 2
    assert {spec.case for spec in RUNS if spec.motion == "plant-roll"} == {
        case for case in CORNERS if case.mode in plant.MODES
    }


def test_dials_run_through_their_whole_ranges_and_stop_at_every_hand_over() -> None:
    dials = {spec.motion: dict(spec.dials) for spec in RUNS}
    half = np.pi / 2.0
    for name, low, high in (("plant-roll", -half, np.pi), ("plant-roll-aside", -half, np.pi)):
        roll, bend = dials[name]["hand_roll"], dials[name]["finger_bend"][0]
        assert (roll[0], roll[-1]) == (low, high)
        assert np.abs(roll).min() < 1e-12
        assert np.abs(roll - bend).min() < 1e-12
    assert dials["plant-side"]["hand_side"][0] == -half
    assert dials["plant-side"]["hand_side"][-1] == half
    assert np.ptp(dials["plant-spin"]["hand_spin"]) == 2.0 * np.pi
    sides = {np.sign(dict(spec.dials)["hand_side"][0]) for spec in RUNS if spec.motion == "plant-roll-aside"}
    assert sides == {-1.0, 1.0}


def test_the_surface_keeps_still_while_the_torso_moves() -> None:
    for spec in RUNS[::5]:
        run = run_of(spec, "L")
        assert np.ptp(run.settings.hand_hold, axis=0).max() == 0.0
        assert np.ptp(run.settings.torso[:, :3, 3], axis=0).max() > 0.05


def test_a_hand_that_is_off_by_a_hundred_thousandth_of_the_arm_fails_by_that_much() -> None:
    spec = spec_of("plant-roll", "both")
    run = run_of(spec, "R")
    hand = run.samples.hand.copy()
    hand[12, 2, 3] += 1e-5 * SIZE
    check = judged(spec, replace(run, samples=replace(run.samples, hand=hand)))["pivot-slide"]
    assert (check.verdict, check.worst_frame) == (FAIL, 12)
    assert check.value == pytest.approx(1e-5, rel=1e-3)


def test_fingers_that_slide_or_turn_fail() -> None:
    spec = spec_of("plant-roll", "hand")
    run = run_of(spec, "L")
    slid, turned = run.samples.fingers.copy(), run.samples.fingers.copy()
    frame = int(np.argmax(run.settings.hand_roll > 0.4))
    slid[frame, 0, 3] += 1e-5 * SIZE
    turned[frame, :3, :3] = axis_matrix("X", np.radians(0.01)) @ turned[frame, :3, :3]
    slide = judged(spec, replace(run, samples=replace(run.samples, fingers=slid)))["pivot-slide"]
    turn = judged(spec, replace(run, samples=replace(run.samples, fingers=turned)))["plant-turn"]
    assert (slide.verdict, slide.worst_frame, turn.verdict, turn.worst_frame) == (FAIL, frame, FAIL, frame)
    assert slide.value == pytest.approx(1e-5, rel=1e-3)
    assert turn.value == pytest.approx(0.01, rel=1e-3)


@pytest.mark.parametrize(
    ("motion", "one", "other"),
    [
        ("plant-roll", "heel", "palm"),
        ("plant-roll", "knuckles", "fingertips"),
        ("plant-side", "outer_edge", "thumb_edge"),
        ("plant-spin", "palm", "heel"),
        ("plant-roll-aside", "outer_edge", "palm"),
    ],
)
@pytest.mark.parametrize("mode", plant.MODES)
def test_a_rig_whose_points_are_exchanged_fails(mode: str, motion: str, one: str, other: str) -> None:
    points: PivotPoints = guide_geometry(WREN, "L").pivots
    spec = spec_of(motion, mode)
    wrong = with_pivots("L", **{one: getattr(points, other), other: getattr(points, one)})
    assert judged(spec, run_of(spec, "L"))["pivot-slide"].verdict == PASS
    check = judged(spec, run_of(spec, "L", wrong))["pivot-slide"]
    assert check.verdict == FAIL
    assert check.value > 1e-3


def test_a_hand_that_goes_over_its_tips_at_once_jumps() -> None:
    """The dials say 45 degrees of bend; the rig hands over where they are reached, and drops the bend."""
    spec = spec_of("plant-roll", "hand")
    run = run_of(spec, "L")
    dropped = np.where(run.settings.hand_roll > run.settings.finger_bend, 0.0, run.settings.finger_bend)
    shown = solved_samples(run.geometry, replace(run.settings, finger_bend=dropped))
    check = judged(spec, replace(run, samples=shown))["plant-jump"]
    assert check.verdict == FAIL
    assert check.value > 2.0
    assert check.worst_frame == int(np.argmax(run.settings.hand_roll > run.settings.finger_bend))


def test_a_hand_without_a_number_fails() -> None:
    spec = spec_of("plant-spin", "both")
    run = run_of(spec, "L")
    hand = run.samples.hand.copy()
    hand[7] = np.nan
    found = judged(spec, replace(run, samples=replace(run.samples, hand=hand)))
    assert {check.verdict for check in found.values()} == {FAIL}


def test_a_hand_that_is_too_long_for_its_arm_is_out_of_reach_and_no_failure() -> None:
    """A paddle of a hand, twice as long as its arm: rolled over its tips, the wrist goes where no arm follows."""
    spec = replace(spec_of("plant-roll", "hand"), case=Case("hand", 0.0, 0.0, 0.0))
    geometry = with_pivots("L", fingertips=np.array([0.0, 2.0 * SIZE, 0.02]))
    torso = torso_poses(WREN, spec.clip, SIZE)
    settings = settings_for(spec, "L", geometry, torso, np.broadcast_to(np.eye(4), torso.shape))
    run = ArmRun("L", spec.motion, spec.case, geometry, settings, solved_samples(geometry, settings))
    assert judged(spec, run)["pivot-slide"].verdict == OUT_OF_REACH
    assert judged(spec, run)["plant-turn"].verdict == PASS
