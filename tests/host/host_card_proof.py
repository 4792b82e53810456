"""The proof by card in the sidebar: whole, in pieces, stopped and kept; the figures of the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from typing import Any

import foreign_arms as made
import numpy as np
import pytest
from card_window import ESC, MOUSE, TIMER, job, manager, pieces, posed, registered, window, write_card
from counting import count_calls
from deep_snapshot import deep_snapshot, differences
from keepers import activate

__all__ = ("posed", "registered")

SEED = 20261
COMMAND_SECONDS = 300


def checks_of(rig_name: str) -> tuple[Any, ...]:
    from armwright.addon.operators.verdict_lists import last_of

    results = last_of(rig_name)
    assert results is not None
    return results.checks  # type: ignore[no-any-return]


def plain(results: Any) -> Any:
    """Everything of results but their rate, as what compares."""

    def value(item: Any) -> Any:
        return item.tolist() if isinstance(item, np.ndarray) else item

    traces = [{field.name: value(getattr(trace, field.name)) for field in fields(trace)} for trace in results.traces]
    return traces, replace(results, traces=(), frames_per_second=0.0)


def on_the_command_line(folder: Path, armature: Any, card: Path) -> list[dict[str, Any]]:
    """The checks of `proof --card` in a process of its own."""
    import bpy

    blend, out = folder / f"{armature.name}.blend", folder / f"{armature.name}.results.json"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    done = subprocess.run(
        [sys.executable, "-m", "armwright", "proof", str(blend), "--card", str(card), "--json", str(out)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=COMMAND_SECONDS,
        check=False,
    )
    assert done.returncode in (0, 1), done.stdout + done.stderr
    checks: list[dict[str, Any]] = json.loads(out.read_text(encoding="utf-8"))["checks"]
    return checks


@pytest.mark.parametrize("kind", list(made.EVERY))
def test_the_window_and_the_command_line_say_the_same_of_every_check(
    registered: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    import bpy

    from armwright.addon.operators.verdict_lists import last_of
    from armwright.core.proof import results_json

    make, card_of = made.EVERY[kind]
    armature = make()
    activate(armature)
    card = write_card(tmp_path / "keeper.card.json", card_of(armature))
    wanted = on_the_command_line(tmp_path, armature, card)
    manager().armwright_card.path = str(card)
    before = deep_snapshot()
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    whole = last_of(armature.name)
    assert json.loads(results_json.to_text(whole))["checks"] == wanted
    pieces(monkeypatch)
    running, context = job(), window()
    assert running.invoke(context, None) == {"RUNNING_MODAL"}
    count = 0
    while running.modal(context, TIMER) == {"RUNNING_MODAL"}:
        count += 1
        # What the host does before it draws; and a playing window is at another frame each time.
        bpy.context.scene.frame_set(1 + count % 5, subframe=0.25)
    bpy.context.scene.frame_set(1)
    in_pieces = last_of(armature.name)
    assert in_pieces is not whole
    assert plain(in_pieces) == plain(whole)
    print(f"{kind}: {len(wanted)} checks, {count} pieces")
    assert count > 100
    assert (context.window_manager.timers, running.said) == ([], [])
    # All is as it was but for what is kept with the armature.
    del armature["armwright_proof"]
    assert differences(before, deep_snapshot()) == []


def test_the_lists_are_those_of_the_own_proof_and_the_report_is_written(posed: Any, tmp_path: Path) -> None:
    import bpy

    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    state, checks = manager().armwright_proof, checks_of(posed.name)
    verdicts = {check.verdict for check in checks}
    assert {line.verdict for line in state.verdicts} <= verdicts
    judged = {check.requirement for check in checks if check.verdict != "not_applicable"}
    assert judged <= {line.requirement for line in state.verdicts}
    for place, line in enumerate(state.verdicts):
        state.active = place
        assert {item.check.split("/")[0] for item in state.checks} <= {line.requirement}
    page = tmp_path / "keeper.html"
    assert bpy.ops.armwright.save_report(filepath=str(page)) == {"FINISHED"}
    assert sorted(item.name for item in tmp_path.glob("keeper*")) == [
        "keeper.card.json",
        "keeper.html",
        "keeper.junit.xml",
        "keeper.results.json",
    ]
    written = json.loads((tmp_path / "keeper.results.json").read_text())
    assert len(written["checks"]) == len(checks)


def test_a_piece_is_at_most_a_frame_a_measure_or_the_settings_of_an_arm(
    posed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from armwright.addon import any_arm, any_arm_runs, host

    pieces(monkeypatch)
    work: dict[str, int] = {}

    counted = partial(count_calls, monkeypatch, work)
    counted(any_arm_runs, "settings_for", "settings")
    counted(host.PoseReader, "read", "frames")
    counted(any_arm, "measure", "measures")
    counted(any_arm.plan, "_of_case", "cases")
    most: dict[str, int] = {}
    total: dict[str, int] = {}
    running, context = job(), window()
    running.invoke(context, None)
    going, kinds = True, 0
    while going:
        work.clear()
        going = running.modal(context, TIMER) == {"RUNNING_MODAL"}
        kinds = max(kinds, len(work))
        for what, count in work.items():
            most[what], total[what] = max(most.get(what, 0), count), total.get(what, 0) + count
    print(most, total)
    assert most == {"settings": 1, "frames": 1, "measures": 1, "cases": 1}
    assert kinds == 1
    assert total["frames"] > 500


def test_esc_at_any_piece_leaves_everything_as_it_was(posed: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    import bpy

    pieces(monkeypatch)
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    before, action = deep_snapshot(), posed.animation_data.action
    borrowed = 0
    # The first ones are in the planning, the others in the runs.
    for count in [0, 1, 2, 30, 40, *rng.integers(41, 900, 6).tolist()]:
        running, context = job(), window()
        assert running.invoke(context, None) == {"RUNNING_MODAL"}
        assert manager().armwright_proof.running
        assert not bpy.ops.armwright.run_card_proof.poll()
        assert running.modal(context, MOUSE) == {"RUNNING_MODAL"}
        for _ in range(count):
            assert running.modal(context, TIMER) == {"RUNNING_MODAL"}
        bpy.context.view_layer.update()
        borrowed += differences(before, deep_snapshot()) != []
        assert running.modal(context, ESC) == {"CANCELLED"}
        assert differences(before, deep_snapshot()) == [], count
        assert posed.animation_data.action == action
        assert bpy.context.scene.frame_subframe == pytest.approx(0.25)
        state = manager().armwright_proof
        assert (state.running, state.headline) == (False, "Stopped; everything is as it was")
        assert running.modal(context, TIMER) == {"CANCELLED"}
        assert context.window_manager.timers == []
    assert borrowed >= 6


@pytest.mark.parametrize("way", ["save", "load", "undo", "render", "unregister"])
def test_a_running_proof_gives_back_before_anything_that_would_keep_the_borrowed_rig(
    posed: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    import bpy

    import armwright
    from armwright.addon import interruptions

    pieces(monkeypatch)
    plain, later = tmp_path / "plain.blend", tmp_path / "later.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(plain), copy=True)
    bpy.ops.ed.undo_push(message="before")
    posed.pose.bones["swing_palm.L"].location = (0.1, 0.0, 0.0)
    bpy.ops.ed.undo_push(message="a move")
    name, before = posed.name, deep_snapshot()
    running, context = job(), window()
    running.invoke(context, None)
    for _ in range(200):
        running.modal(context, TIMER)
    assert differences(before, deep_snapshot()) != []
    if way == "save":
        bpy.ops.wm.save_as_mainfile(filepath=str(later), copy=True)
        assert differences(before, deep_snapshot()) == []
        bpy.ops.wm.open_mainfile(filepath=str(later))
        assert bpy.data.objects[name].pose.bones["grip.L"]["reach"] == pytest.approx(0.37)
    elif way == "load":
        bpy.ops.wm.open_mainfile(filepath=str(plain))
    elif way == "undo":
        bpy.ops.ed.undo()
        assert tuple(bpy.data.objects[name].location) == pytest.approx((3.0, -4.0, 0.5))
    elif way == "render":
        for handler in list(bpy.app.handlers.render_init):
            handler(bpy.context.scene)
        assert differences(before, deep_snapshot()) == []
    else:
        armwright.unregister()
        assert differences(before, deep_snapshot()) == []
        armwright.register()
    assert list(bpy.data.scenes.keys()) == ["Scene"]
    assert running._steps is None
    assert interruptions._lent == []
    assert not manager().armwright_proof.running


def test_a_bone_that_is_renamed_meanwhile_ends_the_proof_with_a_sentence_and_the_rest_is_given_back(
    posed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    pieces(monkeypatch)
    # Within a run, between runs, while settings are made.
    for count in (33, 60, 200, 400):
        before = deep_snapshot()
        running, context = job(), window()
        running.invoke(context, None)
        for _ in range(count):
            running.modal(context, TIMER)
        posed.pose.bones["grip.L"].name = "handle.L"
        while (answer := running.modal(context, TIMER)) == {"RUNNING_MODAL"}:
            pass
        assert answer == {"CANCELLED"}
        ((kind, said),) = running.said
        assert kind == {"ERROR"}
        assert posed.name in said and "measure" in said, said
        assert manager().armwright_card.problems == said
        posed.pose.bones["handle.L"].name = "grip.L"
        # The dial of the bone under its other name is the user's to mend.
        posed.pose.bones["grip.L"]["reach"] = 0.37
        posed.update_tag()
        assert differences(before, deep_snapshot()) == [], count


def test_what_is_found_is_kept_with_the_armature_and_listed_again_in_a_new_session(posed: Any, tmp_path: Path) -> None:
    import bpy

    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    name, checks, headline = posed.name, checks_of(posed.name), manager().armwright_proof.headline
    blend = tmp_path / "kept.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    state = manager().armwright_proof
    assert (state.rig, len(state.verdicts)) == ("", 0)
    activate(bpy.data.objects[name])
    assert bpy.ops.armwright.recall_proof() == {"FINISHED"}
    assert (state.rig, state.headline, state.older) == (name, headline, False)
    assert checks_of(name) == checks


def test_undo_does_not_take_away_what_was_found(posed: Any) -> None:
    import bpy

    from armwright.addon import kept_results

    name = posed.name
    bpy.ops.ed.undo_push(message="before")
    posed.pose.bones["swing_palm.L"].location = (0.1, 0.0, 0.0)
    bpy.ops.ed.undo_push(message="a move")
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    checks = checks_of(name)
    bpy.ops.ed.undo()
    assert kept_results.kept_with(bpy.data.objects[name]).checks == checks
