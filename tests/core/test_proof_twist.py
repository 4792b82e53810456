"""`twist` passes the reference solver's arm and fails each defect planted in it, by the right figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_proof_measures import RUNS, judged, run_of, spec_of

from armwright.core.options import ArmOptions
from armwright.core.proof import twist
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, PASS
from armwright.core.proof.run_plan import ROLL, evaluated_frames
from armwright.core.proof.samples import ArmRun
from armwright.core.proof.synthetic import solved_samples
from armwright.core.rotations import axis_matrix

FRAME = 12


def segment_of(run: ArmRun, field: str, bones: np.ndarray) -> ArmRun:
    return replace(run, samples=replace(run.samples, **{field: bones}))


def rolled_run(mode: str, count: int = 3, arm: str = "L") -> ArmRun:
    run = run_of(spec_of(ROLL, mode, lift=1.0), arm)
    geometry = replace(run.geometry, options=ArmOptions(twist_bones=count))
    return replace(run, geometry=geometry, samples=solved_samples(geometry, run.settings))


def found(run: ArmRun) -> dict[str, tuple[str, float]]:
    checks = judged(spec_of(ROLL, run.case.mode, lift=1.0), run)
    return {measure: (check.verdict, check.value) for (_, measure), check in checks.items()}


@pytest.mark.parametrize("case", CORNERS, ids=lambda case: f"{case.mode},{case.label}")
@pytest.mark.parametrize("arm", ["L", "R"])
def test_both_segments_roll_through_170_degrees_either_way_in_every_corner(case: Case, arm: str) -> None:
    run = run_of(next(spec for spec in RUNS if (spec.motion, spec.case) == (ROLL, case)), arm)
    for segment in twist._segments(run):
        roll = np.degrees(twist._roll(segment.start, segment.end))
        # The hand's own channels add a little to the forearm's.
        assert roll.max() > 150.0
        assert roll.min() < -150.0
        asked = (np.abs(roll) > 10.0) & (np.abs(roll) < 179.0)
        assert asked.mean() > 0.85
    assert all(np.abs(item.values).max() < 1e-10 for item in twist.measure(run))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_the_solvers_arm_passes_with_any_number_of_bones(mode: str, count: int) -> None:
    verdicts = found(rolled_run(mode, count))
    assert set(verdicts) == set(twist.LIMITS)
    assert {verdict for verdict, _ in verdicts.values()} == {PASS}


@pytest.mark.parametrize("field", ["upper_skin", "forearm_skin"])
@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_a_bone_whose_share_stands_still_fails_by_its_share(field: str, mode: str) -> None:
    run = rolled_run(mode)
    bones = getattr(run.samples, field).copy()
    bones[:, 1, :3, :3] = bones[:, 0, :3, :3]
    verdicts = found(segment_of(run, field, bones))
    assert verdicts["twist-share"][0] == FAIL
    assert verdicts["twist-share"][1] == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize("field", ["upper_skin", "forearm_skin"])
def test_exchanged_shares_fail_and_run_backwards(field: str) -> None:
    run = rolled_run("none", 4)
    bones = getattr(run.samples, field).copy()
    bones[:, [1, 2], :3, :3] = bones[:, [2, 1], :3, :3]
    verdicts = found(segment_of(run, field, bones))
    for measure in ("twist-share", "twist-backwards"):
        assert verdicts[measure] == (FAIL, pytest.approx(1.0 / 3.0, abs=1e-9))


@pytest.mark.parametrize("field", ["upper_skin", "forearm_skin"])
@pytest.mark.parametrize("bone", [0, -1])
def test_an_end_that_turns_by_a_hundredth_of_a_degree_fails_by_that(field: str, bone: int) -> None:
    run = rolled_run("hand")
    bones = getattr(run.samples, field).copy()
    bones[FRAME, bone, :3, :3] = axis_matrix("X", np.radians(0.01)) @ bones[FRAME, bone, :3, :3]
    assert found(segment_of(run, field, bones))["twist-end"] == (FAIL, pytest.approx(0.01, rel=1e-3))


def test_a_share_that_is_off_by_two_ten_thousandths_fails() -> None:
    run = rolled_run("none")
    bones = run.samples.upper_skin.copy()
    whole = np.linspace(-170.0, 170.0, len(bones))
    bones[:, 1, :3, :3] = bones[:, 1, :3, :3] @ axis_matrix("Y", np.radians(whole) * 2e-4)
    verdicts = found(segment_of(run, "upper_skin", bones))
    assert verdicts["twist-share"] == (FAIL, pytest.approx(2e-4, rel=1e-3))
    assert verdicts["twist-end"][0] == PASS


def test_a_bone_off_its_place_or_of_another_width_fails() -> None:
    run = rolled_run("both")
    size = run.geometry.upper_length + run.geometry.forearm_length
    bones = run.samples.forearm_skin.copy()
    bones[FRAME, 2, 1, 3] += 1e-5 * size
    assert found(segment_of(run, "forearm_skin", bones))["twist-gap"] == (FAIL, pytest.approx(1e-5, rel=1e-6))
    bones = run.samples.forearm_skin.copy()
    bones[FRAME, 2, :3, 0] *= 1.0001
    assert found(segment_of(run, "forearm_skin", bones))["twist-width"] == (FAIL, pytest.approx(1e-4, rel=1e-3))


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_skin_bone_without_numbers_fails_every_measure(bad: float) -> None:
    run = rolled_run("none")
    bones = run.samples.upper_skin.copy()
    bones[FRAME, :, :3, :] = bad
    with np.errstate(invalid="ignore"):
        verdicts = found(segment_of(run, "upper_skin", bones))
    assert {verdict for verdict, _ in verdicts.values()} == {FAIL}


def test_a_rig_without_such_bones_is_not_judged() -> None:
    run = rolled_run("none")
    bare = replace(run.samples, upper_skin=run.samples.upper_skin[:, :0])
    verdicts = found(replace(run, samples=bare))
    assert {verdict for verdict, _ in verdicts.values()} == {NOT_APPLICABLE}


def test_the_rolls_add_less_than_6_percent_to_a_proofs_frames() -> None:
    rolls = [spec for spec in RUNS if spec.motion == ROLL]
    assert evaluated_frames(rolls) < 0.06 * evaluated_frames([spec for spec in RUNS if spec.motion != ROLL])
