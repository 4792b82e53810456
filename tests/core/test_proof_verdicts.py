"""From values to verdicts, ids, coverage and the traces that are kept."""

from __future__ import annotations

import math

import numpy as np
import pytest
from proof_runs import RUNS, run_of

from armwright.core.errors import ProofError
from armwright.core.proof import hold_elbow, lift, switch, verdicts
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.changes import dial_walk
from armwright.core.proof.measures import Measured
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check, Trace

SPEC = next(item for item in RUNS if item.motion == "torso-wiggle" and item.case == Case("elbow", 0.0, 1.0, 0.0))


RUN = run_of(SPEC)


def judged(values: list[float], limit: float = 1.0, **more: object) -> Check:
    arrays = {name: np.array(value) for name, value in more.items()}
    return verdicts.judge(hold_elbow, RUN, Measured("elbow-slide", "L", np.array(values), limit, **arrays))


# values, missing, misplaced, verdict, value, worst frame.
TABLE = [
    ([0.0, 0.5, 0.2], None, None, PASS, 0.5, 1),
    ([0.0, -1.0, 0.2], None, None, PASS, 1.0, 1),
    ([0.0, 0.5, -1.1], None, None, FAIL, 1.1, 2),
    ([0.0, 9.0, math.nan], None, None, FAIL, math.nan, 2),
    ([math.inf, 0.0, 0.0], None, None, FAIL, math.inf, 0),
    ([0.0, 0.5, 0.2], [0.0, 0.9, 0.0], [0.0, 0.0, 0.0], PASS, 0.5, 1),
    ([0.0, 5.0, 0.2], [0.0, 5.0, 0.0], [0.0, 0.5, 0.2], OUT_OF_REACH, 5.0, 1),
    # Short by more than is missing; beside the line; in another frame that is in reach; no number for the excuse.
    ([0.0, 7.0, 0.2], [0.0, 5.0, 0.0], [0.0, 0.5, 0.2], FAIL, 7.0, 1),
    ([0.0, 5.0, 0.2], [0.0, 5.0, 0.0], [0.0, 1.5, 0.2], FAIL, 5.0, 1),
    ([3.0, 5.0, 0.2], [0.0, 5.0, 0.0], [3.0, 0.0, 0.2], FAIL, 5.0, 1),
    ([0.0, 5.0, 0.2], [0.0, 5.0, 0.0], [0.0, math.nan, 0.2], FAIL, 5.0, 1),
    ([0.0, 5.0, 0.2], [math.nan, 5.0, 0.0], [0.0, 0.0, 0.2], FAIL, 5.0, 1),
    ([0.0, 5.0, 0.2], [0.0, math.nan, 0.0], [0.0, 0.0, 0.2], FAIL, 5.0, 1),
]


@pytest.mark.parametrize(("values", "missing", "misplaced", "verdict", "value", "worst"), TABLE)
def test_a_verdict_follows_from_values_limit_and_reach(
    values: list[float],
    missing: list[float] | None,
    misplaced: list[float] | None,
    verdict: str,
    value: float,
    worst: int,
) -> None:
    more = {} if missing is None else {"missing": missing, "misplaced": misplaced}
    check = judged(values, **more)
    assert check.verdict == verdict
    assert check.worst_frame == worst
    assert check.samples == 3
    assert check.value == pytest.approx(value, nan_ok=True)
    if verdict == OUT_OF_REACH:
        assert check.note == "out of reach by up to 5 L, at frame 1"
    assert (check.note == "") == (verdict == PASS or (missing is None and math.isfinite(value)))


def test_what_a_rig_does_not_have_is_not_applicable_and_says_why() -> None:
    check = verdicts.judge(
        lift, RUN, Measured("rise-band", "1", np.array([5.0]), 2.0, note="no shoulder", not_applicable=True)
    )
    assert (check.verdict, check.note, check.value) == (NOT_APPLICABLE, "no shoulder", 0.0)


def test_ids_are_those_of_the_design_and_name_the_mode_where_a_requirement_has_several() -> None:
    ids = [check.id for check in verdicts.checks(SPEC, RUN)[0]]
    assert "hold-elbow/torso-wiggle/isolate=0,lift=1,stretch=0/L/wrist-slide" in ids
    assert "lift/torso-wiggle/mode=elbow,isolate=0,lift=1,stretch=0/L/lift-error" in ids


def test_checks_say_what_was_looked_at() -> None:
    for check in verdicts.checks(SPEC, RUN)[0]:
        assert check.id.split("/")[0] == check.requirement
        assert (check.motion, check.case, check.arm) == ("torso-wiggle", SPEC.case, "L")
        assert check.samples == 240
        assert 0 <= check.worst_frame < 240
        assert check.unit in ("L", "deg", "1")


def test_coverage_is_complete_with_every_run_and_names_what_a_missing_run_leaves_open() -> None:
    found = list(verdicts.not_applicable("L"))
    for spec in RUNS:
        for requirement in verdicts.REQUIREMENTS:
            if requirement.applies(spec):
                found.append(_check(requirement, spec.motion, spec.case))
    found += [_check(switch, switch.REST, change.before) for change in dial_walk()]
    assert verdicts.uncovered(found, ["L"]) == ()
    without = [check for check in found if (check.requirement, check.case) != ("hold-elbow", SPEC.case)]
    assert verdicts.uncovered(without, ["L"]) == ("hold-elbow, mode=elbow,isolate=0,lift=1,stretch=0, L",)
    assert len(verdicts.uncovered(found, ["L", "R"])) == len(verdicts.EVERY) * len(CORNERS)


def test_ids_of_a_whole_proof_are_unique() -> None:
    ids = [
        verdicts.check_id(requirement, spec.motion, spec.case, arm, "m")
        for spec in RUNS
        for requirement in verdicts.REQUIREMENTS
        for arm in "LR"
        if requirement.applies(spec)
    ] + [check.id for arm in "LR" for check in verdicts.not_applicable(arm)]
    assert len(set(ids)) == len(ids)


def test_a_failing_check_and_the_worst_of_each_requirement_leave_a_trace_of_the_worst_frame() -> None:
    run = run_of(SPEC)
    run.samples.elbow[100, 0, 3] += 0.01
    found, traces = verdicts.checks(SPEC, run)
    failing = {check.id for check in found if check.verdict == FAIL}
    kept = {trace.check: trace for trace in traces}
    assert failing and failing <= set(kept)
    assert {check.requirement for check in found} == {name.split("/")[0] for name in kept}
    trace = kept["hold-elbow/torso-wiggle/isolate=0,lift=1,stretch=0/L/elbow-slide"]
    assert np.argmax(trace.values) == 100
    assert trace.chain[2] == pytest.approx(run.samples.elbow[100, :3, 3])
    assert np.linalg.norm(trace.found - trace.wanted) == pytest.approx(0.01, rel=1e-9)


def test_kept_traces_stay_bounded_and_hold_the_worst() -> None:
    found, traces = [], []
    kept: tuple[Trace, ...] = ()
    for number, case in enumerate(CORNERS):
        for requirement in verdicts.REQUIREMENTS:
            verdict = FAIL if requirement.ID == "swing" else PASS
            check = _check(requirement, f"lean-{number}", case, float(number), verdict, 100.0)
            found.append(check)
            traces.append(Trace(check.id, np.zeros(1), np.zeros((4, 3)), np.zeros((0, 3)), np.zeros((0, 3))))
            kept = verdicts.keep([*kept, traces[-1]], found, most_failing=5)
    assert kept == verdicts.keep(kept, found, most_failing=5)
    by_id = {check.id: check for check in found}
    values = [by_id[trace.check].value for trace in kept if by_id[trace.check].requirement == "swing"]
    assert sorted(values) == [27.0, 28.0, 29.0, 30.0, 31.0]
    for requirement in verdicts.REQUIREMENTS[1:]:
        assert [by_id[t.check].value for t in kept if by_id[t.check].requirement == requirement.ID] == [31.0]


def _kept(values: list[float], **bounds: int) -> list[float]:
    """Values of the checks of hold-elbow, limit 1, whose traces are kept when each is a run's."""
    found: list[Check] = []
    kept: tuple[Trace, ...] = ()
    for number, value in enumerate(values):
        check = _check(hold_elbow, f"lean-{number}", CORNERS[0], value, PASS if value <= 1.0 else FAIL)
        found.append(check)
        new = Trace(check.id, np.zeros(1), np.zeros((4, 3)), np.zeros((0, 3)), np.zeros((0, 3)))
        kept = verdicts.keep([*kept, new], found, **bounds)
    by_id = {check.id: check for check in found}
    return [by_id[trace.check].value for trace in kept]


def test_the_checks_nearest_to_their_limit_leave_traces_up_to_a_bound() -> None:
    assert _kept([0.1, 0.2]) == [0.2]
    assert _kept([0.5, 0.51]) == [0.51]
    assert _kept([0.6, 0.9, 0.7, 0.1, 0.8, 1.0]) == [1.0, 0.9, 0.8]
    assert _kept([0.6, 3.0, 0.7, 2.0, 0.8, 0.9], most_failing=1, most_near=2) == [3.0, 0.9, 0.8]


def test_a_run_leaves_traces_of_all_that_came_near() -> None:
    run = run_of(SPEC)
    for bones in (run.samples.elbow, run.samples.wrist):
        bones[100, 0, 3] += 0.8 * 2e-6 * (run.geometry.upper_length + run.geometry.forearm_length)
    found, traces = verdicts.checks(SPEC, run)
    near = {check.id for check in found if verdicts.is_near(check) and check.requirement == "hold-elbow"}
    assert len(near) >= 2 and near <= {trace.check for trace in traces}


def test_samples_of_another_run_are_refused() -> None:
    other = next(item for item in RUNS if item.motion == "shrug" and item.case == SPEC.case)
    with pytest.raises(ProofError, match="shrug"):
        verdicts.checks(other, RUN)


def _check(
    requirement: verdicts.Requirement,
    motion: str,
    case: Case,
    value: float = 0.0,
    verdict: str = PASS,
    limit: float = 1.0,
) -> Check:
    name = verdicts.check_id(requirement, motion, case, "L", "m")
    return Check(name, requirement.ID, motion, case, "L", "m", "1", value, limit, verdict, 0, 1)
