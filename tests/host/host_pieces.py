"""A proof and a shown check in pieces: the same figures as in one go, little work in each, everything back at any."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from counting import count_calls
from deep_snapshot import deep_snapshot, differences

SEED = 20260
# A turn that is over as soon as it begins: a piece is the least that there is.
LEAST = 0.0
# One of so many runs of the whole proof.
ONE_OF = 61
CHANGES = 6


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture
def posed(registered: Any) -> Any:
    """Wren as an animator leaves it: an action, poses over its keys, a dial, away from the world's origin."""
    import bpy
    from characters import wren_on_own_armature
    from keepers import activate

    armature = wren_on_own_armature()
    activate(armature, "POSE")
    torso = armature.pose.bones["torso.2"]
    for frame, turn in ((1, 0.0), (20, 0.4)):
        torso.rotation_euler = (turn, 0.0, 0.1)
        torso.keyframe_insert("rotation_euler", frame=frame)
    bpy.context.scene.frame_set(7, subframe=0.25)
    torso.rotation_euler = (0.33, 0.1, 0.2)
    armature.pose.bones["fk.clavicle.L"]["ik"] = 0.37
    armature.pose.bones["fk.upper_arm.R"].rotation_euler = (0.2, 0.3, -0.4)
    armature.location, armature.rotation_euler = (3.0, -4.0, 0.5), (0.1, 0.2, 1.3)
    bpy.context.view_layer.update()
    return armature


@pytest.fixture
def few_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every so many of the runs, and the first of the changes."""
    from armwright.addon import prove, prove_switch
    from armwright.core.proof import changes

    every, walk = prove.planning_runs, changes.dial_walk()[:CHANGES]
    monkeypatch.setattr(prove, "planning_runs", lambda motions: list(every(motions))[::ONE_OF])
    monkeypatch.setattr(changes, "dial_walk", lambda: walk)
    monkeypatch.setattr(prove_switch, "_space_cases", lambda: [])


def _results(armature: Any, seconds: float | None, between: Any = None) -> str:
    """The results of a proof without its rate, with turns of so many seconds; None for one go."""
    from armwright.addon import prove, subjects
    from armwright.core.pace import UNBROKEN, Pace
    from armwright.core.proof import results_json

    pace = UNBROKEN if seconds is None else Pace(seconds)
    for step in prove.prove(subjects.subject_of(armature), seed=3, pace=pace):
        if between is not None and isinstance(step, prove.Progress):
            between(step)
    return results_json.to_text(replace(step, frames_per_second=0.0))


def test_pieces_of_one_frame_give_the_same_results_while_the_users_scene_is_evaluated_in_between(
    posed: Any, few_runs: None
) -> None:
    import bpy

    before = deep_snapshot()
    in_one_go = _results(posed, None)
    assert differences(before, deep_snapshot()) == []
    pieces = []

    def window(step: Any) -> None:
        # What the host does before it draws; and a playing window is at another frame each time.
        bpy.context.scene.frame_set(7 + len(pieces) % 5, subframe=0.25)
        pieces.append(step)

    assert _results(posed, LEAST, window) == in_one_go
    print(f"{len(pieces)} pieces")
    assert len(pieces) > pieces[-1].total


def test_a_piece_is_at_most_a_frame_a_measure_or_the_settings_of_an_arm(
    posed: Any, few_runs: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    from armwright.addon import host, prove, prove_runs, prove_switch, subjects
    from armwright.core.pace import Pace
    from armwright.core.proof import verdicts
    from armwright.core.proof.results import Results

    work: dict[str, int] = {}

    counted = partial(count_calls, monkeypatch, work)
    counted(prove_runs, "settings_for", "settings")
    counted(host.PoseReader, "read", "frames")
    counted(verdicts, "judged", "measures")
    counted(prove_switch, "_take", "changes")
    counted(prove, "order_margins", "margins")
    most: dict[str, int] = {}
    kinds, changed = 0, 0
    total: dict[str, int] = {}
    steps: list[Any] = []
    for step in prove.prove(subjects.subject_of(posed), pace=Pace(LEAST)):
        steps[:] = [step]
        is_change = work.pop("changes", 0)
        if is_change:
            # A change reads the bones before and after it and tries more than one way; its measures are pieces again.
            changed = max(changed, is_change)
            assert "measures" not in work
        else:
            kinds = max(kinds, len(work))
            for what, count in work.items():
                most[what] = max(most.get(what, 0), count)
                total[what] = total.get(what, 0) + count
        work.clear()
    assert isinstance(steps[0], Results)
    print(most, total)
    assert most == {"settings": 1, "frames": 1, "measures": 1, "margins": 1}
    assert (kinds, changed) == (1, 1)
    assert total["frames"] > 500
    assert total["measures"] > 50


def test_the_runs_are_planned_one_a_piece(posed: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from armwright.addon import prove, subjects
    from armwright.core.pace import Pace, whole
    from armwright.core.proof import run_plan

    made, plain, counts = [], run_plan.RunSpec, []

    def counting(*arguments: Any, **named: Any) -> Any:
        made.append(arguments)
        return plain(*arguments, **named)

    expected = run_plan.planned_runs(run_plan.standard_motions(1))
    monkeypatch.setattr(run_plan, "RunSpec", counting)

    def noting() -> Any:
        steps = prove.planning(subjects.subject_of(posed), None, 1, Pace(LEAST))
        while True:
            try:
                next(steps)
            except StopIteration as end:
                return end.value
            counts.append(len(made))
            made.clear()
            yield

    scope = whole(noting())
    assert set(counts) == {0, 1}
    assert sum(counts) + len(made) == len(scope.runs) == len(expected)
    assert [(run.motion, run.case) for run in scope.runs] == [(run.motion, run.case) for run in expected]


def test_a_proof_that_is_left_after_any_number_of_pieces_leaves_the_file_as_it_was(posed: Any, few_runs: None) -> None:
    import bpy

    from armwright.addon import prove, subjects
    from armwright.core.pace import Pace

    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    before = deep_snapshot()
    # The first ones are in the planning and the borrowing, the last ones in the changes.
    for count in [1, 2, 3, 4, 5, *rng.integers(6, 900, 6).tolist()]:
        steps = prove.prove(subjects.subject_of(posed), pace=Pace(LEAST))
        for _ in range(count):
            step = next(steps)
        bpy.context.view_layer.update()
        steps.close()
        print(count, step.what)
        assert differences(before, deep_snapshot()) == [], (count, step)
    assert bpy.context.scene.frame_subframe == pytest.approx(0.25)


def _check(armature: Any) -> Any:
    """A check that holds, measured by itself."""
    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(armature)
    spec = next(item for item in planned_runs(standard_motions(1)) if item.case.mode == "hand")
    with sample.borrowed(armature) as stage:
        played = prove_runs.run(subject, spec, stage)[0]
    return next(item for item in verdicts.checks(spec, played)[0] if item.requirement == "hold-hand")


def test_a_check_is_prepared_in_pieces_and_left_at_any_of_them(posed: Any) -> None:
    import bpy

    from armwright.addon import shown_check, subjects
    from armwright.core.pace import Pace, whole

    check, subject = _check(posed), subjects.subject_of(posed)
    before = deep_snapshot()
    in_one_go = shown_check.begin(subject, check, 1).again
    shown_check.put_back()
    progress = []

    def noting() -> Any:
        steps = shown_check.beginning(subject, check, 1, Pace(LEAST))
        while True:
            try:
                progress.append(next(steps))
            except StopIteration as end:
                return end.value
            bpy.context.view_layer.update()
            yield

    again = whole(noting()).again
    assert again.check == in_one_go.check == check
    assert np.array_equal(again.trace.values, in_one_go.trace.values)
    assert shown_check.put_back()
    assert differences(before, deep_snapshot()) == []
    shares = [item.done / item.total for item in progress]
    assert shares == sorted(shares)
    assert len(shares) > 240
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    print(f"seed {SEED}")
    for count in [1, 2, 3, *np.random.default_rng(SEED).integers(4, len(progress), 5).tolist()]:
        steps = shown_check.beginning(subject, check, 1, Pace(LEAST))
        for _ in range(count):
            next(steps)
        steps.close()
        assert shown_check.showing() is None
        assert differences(before, deep_snapshot()) == [], count


def test_what_is_kept_is_read_in_pieces_and_the_list_stays_as_it_is_until_all_of_it_is_there(posed: Any) -> None:
    import bpy

    from armwright.addon import kept_results, prove, rig
    from armwright.addon.operators import recall_proof, verdict_lists
    from armwright.core.proof import kept
    from armwright.core.proof.results import Results

    check = _check(posed)
    count = 2 * kept.PIECE + 7
    many = tuple(replace(check, id=f"{check.id}-{number}", value=number * 1e-10) for number in range(count))
    digest = rig.read_record(posed).plan_digest
    results = Results("4.5.15", posed.name, digest, 1, (("L", 0.58), ("R", 0.58)), many)
    state = bpy.context.window_manager.armwright_proof
    verdict_lists.show(state, posed.name, replace(results, checks=(check,)))
    assert kept_results.keep(posed, results)
    kept_results._read.clear()
    steps = list(recall_proof.listing(bpy.context))
    assert [(step.done, step.total) for step in steps[:-1]] == [(1, 3), (2, 3), (3, 3)]
    assert steps[-1] == recall_proof.Listed(posed.name, count)
    assert state.checks[0].check == f"{check.id}-{count - 1}"
    assert verdict_lists.last_of(posed.name) == results
    # Left on the way, and with the armature gone meanwhile.
    kept_results._read.clear()
    verdict_lists.show(state, posed.name, replace(results, checks=(check,)))
    left = recall_proof.listing(bpy.context)
    assert isinstance(next(left), prove.Progress)
    left.close()
    assert [line.check for line in state.checks] == [check.id]
    begun, name = recall_proof.listing(bpy.context), posed.name
    bpy.data.objects.remove(posed)
    assert list(begun)[-1] == recall_proof.Listed(name, count)


class _Operator:
    """What a proof's operator has of the host, for its way to give back."""

    def __init__(self, steps: Any) -> None:
        self._steps, self._timer, self._withdraw = steps, None, None


@pytest.mark.parametrize("way", ["save", "load", "undo", "render", "unregister"])
def test_a_running_proof_gives_back_before_anything_that_would_keep_the_borrowed_rig(
    posed: Any, tmp_path: Path, way: str
) -> None:
    from functools import partial

    import bpy

    import armwright
    from armwright.addon import interruptions, prove, subjects
    from armwright.addon.operators import proof, proof_job
    from armwright.core.pace import Pace

    plain, later = tmp_path / "plain.blend", tmp_path / "later.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(plain), copy=True)
    bpy.ops.ed.undo_push(message="before")
    posed.pose.bones["fk.hand.L"].rotation_euler = (0.1, 0.0, 0.0)
    bpy.ops.ed.undo_push(message="a turn")
    manager = bpy.context.window_manager
    steps = proof_job.listed(manager.armwright_proof, posed, prove.prove(subjects.subject_of(posed), pace=Pace(LEAST)))
    running = _Operator(steps)
    stop = proof.ARMWRIGHT_OT_run_proof._stop
    running._withdraw = interruptions.before(partial(stop, running, manager, proof_job.INTERRUPTED))
    manager.armwright_proof.running = True
    name, before = posed.name, deep_snapshot()
    while next(steps).what == "planning":
        pass
    for _ in range(150):
        next(steps)
    assert differences(before, deep_snapshot()) != []
    if way == "save":
        bpy.ops.wm.save_as_mainfile(filepath=str(later), copy=True)
        assert differences(before, deep_snapshot()) == []
        bpy.ops.wm.open_mainfile(filepath=str(later))
        assert list(bpy.data.scenes.keys()) == ["Scene"]
        assert tuple(bpy.data.objects[name].location) == pytest.approx((3.0, -4.0, 0.5))
    elif way == "load":
        bpy.ops.wm.open_mainfile(filepath=str(plain))
    elif way == "undo":
        bpy.ops.ed.undo()
        assert list(bpy.data.scenes.keys()) == ["Scene"]
        assert tuple(bpy.data.objects[name].location) == pytest.approx((3.0, -4.0, 0.5))
    elif way == "render":
        for handler in list(bpy.app.handlers.render_init):
            handler(bpy.context.scene)
        assert differences(before, deep_snapshot()) == []
    else:
        armwright.unregister()
        assert differences(before, deep_snapshot()) == []
        armwright.register()
    assert running._steps is None
    assert interruptions._lent == []
    assert not bpy.context.window_manager.armwright_proof.running
