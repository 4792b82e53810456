"""The `switch` measures find pops and turns of known size, and excuse only what a mode can not make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armwright.core.proof import switch, verdicts
from armwright.core.proof.cases import CORNERS, Case
from armwright.core.proof.results import FAIL, OUT_OF_REACH, PASS
from armwright.core.proof.switch import SwitchRun
from armwright.core.rotations import axis_matrix

LENGTH = 0.5
CASE = Case("none", 0.0, 1.0, 0.0)


def run_of(poses: int = 3) -> SwitchRun:
    rng = np.random.default_rng(3)
    bones = np.tile(np.eye(4), (poses, 4, 1, 1))
    bones[..., :3, 3] = rng.uniform(-1.0, 1.0, (poses, 4, 3))
    bones[..., :3, :3] = axis_matrix("Z", rng.uniform(-3.0, 3.0, (poses, 4)))
    nothing = np.zeros(poses)
    return SwitchRun("L", "rest+to-hand", CASE, "mode", LENGTH, bones, bones.copy(), nothing, nothing)


def moved(run: SwitchRun, pose: int, bone: int, by: float) -> SwitchRun:
    after = run.after.copy()
    after[pose, bone, 2, 3] += by * LENGTH
    return replace(run, after=after)


def turned(run: SwitchRun, pose: int, bone: int, degrees: float) -> SwitchRun:
    after = run.after.copy()
    after[pose, bone, :3, :3] = axis_matrix("X", np.radians(degrees)) @ after[pose, bone, :3, :3]
    return replace(run, after=after)


def checks_of(run: SwitchRun) -> dict[str, verdicts.Check]:
    return {check.measure: check for check in verdicts.switch_checks(run)[0]}


def test_a_change_that_moves_nothing_passes_with_zero() -> None:
    found = checks_of(run_of())
    assert {check.verdict for check in found.values()} == {PASS}
    assert [check.value for check in found.values()] == [0.0, 0.0]
    assert found["mode-pop"].id == "switch/rest+to-hand/mode=none,isolate=0,lift=1,stretch=0/L/mode-pop"
    assert (found["mode-pop"].limit, found["mode-turn"].limit) == (1e-5, 1e-2)
    assert (found["mode-pop"].unit, found["mode-turn"].unit) == ("L", "deg")
    assert found["mode-pop"].samples == 3


@pytest.mark.parametrize("bone", [1, 2, 3])
def test_a_pop_of_any_joint_is_found_with_its_size_and_pose(bone: int) -> None:
    found = checks_of(moved(run_of(), 2, bone, 2e-5))
    assert found["mode-pop"].value == pytest.approx(2e-5, rel=1e-9)
    assert (found["mode-pop"].verdict, found["mode-pop"].worst_frame) == (FAIL, 2)
    assert found["mode-turn"].verdict == PASS
    assert checks_of(moved(run_of(), 2, bone, 0.9e-5))["mode-pop"].verdict == PASS


@pytest.mark.parametrize("bone", [0, 1, 2, 3])
def test_a_turn_of_any_segment_is_found_with_its_size_and_pose(bone: int) -> None:
    found = checks_of(turned(run_of(), 1, bone, 0.02))
    assert found["mode-turn"].value == pytest.approx(0.02, rel=1e-6)
    assert (found["mode-turn"].verdict, found["mode-turn"].worst_frame) == (FAIL, 1)
    assert checks_of(turned(run_of(), 1, bone, 0.009))["mode-turn"].verdict == PASS


def test_only_what_the_new_mode_can_not_make_is_excused() -> None:
    short = replace(moved(run_of(), 0, 3, 0.1), lost=np.array([0.1, 0.0, 0.0]))
    assert checks_of(short)["mode-pop"].verdict == OUT_OF_REACH
    assert "0.1 L" in checks_of(short)["mode-pop"].note
    # Further away than the nearest pose, and in another pose than the one that is excused.
    assert checks_of(moved(short, 0, 3, 0.1))["mode-pop"].verdict == FAIL
    assert checks_of(moved(short, 1, 3, 0.1))["mode-pop"].verdict == FAIL


def test_a_change_that_was_refused_fails_with_the_reason() -> None:
    run = run_of()
    after = run.after.copy()
    after[1] = np.nan
    check = checks_of(replace(run, after=after, refused="the dial is driven"))["mode-pop"]
    assert (check.verdict, check.note, check.worst_frame) == (FAIL, "the dial is driven", 1)


def test_the_trace_of_a_pop_shows_the_joint_that_moved() -> None:
    run = moved(run_of(), 2, 2, 0.3)
    _, traces = verdicts.switch_checks(run)
    assert [trace.check.rsplit("/", 1)[-1] for trace in traces] == ["mode-pop"]
    assert np.array_equal(traces[0].wanted[0], run.before[2, 2, :3, 3])
    assert np.array_equal(traces[0].found[0], run.after[2, 2, :3, 3])
    assert np.array_equal(traces[0].chain, run.before[2, :, :3, 3])


def test_changes_count_for_coverage_and_apply_in_every_mode() -> None:
    missing = [place for place in verdicts.uncovered([], ("L",)) if place.startswith("switch,")]
    assert len(missing) == len(CORNERS)
    assert not [check for check in verdicts.not_applicable("L") if check.requirement == switch.ID]
