"""The sidebar's proof by card: drafted, run whole, in pieces and stopped, refused, kept, drawn; figures as on the
command line.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import foreign_arms as made
import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from keepers import activate

SEED = 20261
# A turn that is over as soon as it begins: a piece is the least that there is.
LEAST = 0.0
COMMAND_SECONDS = 300


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


def manager() -> Any:
    import bpy

    return bpy.context.window_manager


def write_card(path: Path, card: Any) -> Path:
    from armwright.core.card import card_json

    path.write_text(card_json.to_text(card), encoding="utf-8")
    return path


@pytest.fixture
def posed(registered: None, tmp_path: Path) -> Any:
    """A rig of blended chains as an animator leaves it, its card named: keys, poses over them, a dial, away."""
    import bpy

    armature = made.blended_chains()
    activate(armature, "POSE")
    bones = armature.pose.bones
    for frame, turn in ((1, 0.0), (20, 0.4)):
        bones["chest"].rotation_mode = "XYZ"
        bones["chest"].rotation_euler = (turn, 0.0, 0.1)
        bones["chest"].keyframe_insert("rotation_euler", frame=frame)
    bpy.context.scene.frame_set(7, subframe=0.25)
    bones["chest"].rotation_euler = (0.33, 0.1, 0.2)
    bones["grip.L"]["reach"] = 0.37
    bones["grip.R"].location = (0.1, 0.2, -0.1)
    bones["swing_ulna.R"].rotation_quaternion = (0.9, 0.3, 0.1, 0.2)
    armature.location, armature.rotation_euler = (3.0, -4.0, 0.5), (0.1, 0.2, 1.3)
    bpy.context.view_layer.update()
    manager().armwright_card.path = str(write_card(tmp_path / "keeper.card.json", made.blended_chains_card(armature)))
    return armature


def checks_of(rig_name: str) -> tuple[Any, ...]:
    from armwright.addon.operators.verdict_lists import last_of

    results = last_of(rig_name)
    assert results is not None
    return results.checks  # type: ignore[no-any-return]


class _Manager:
    """The window's manager, with a timer that nobody waits for."""

    windows: tuple[Any, ...] = ()

    def __init__(self) -> None:
        self.timers: list[Any] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(manager(), name)

    def event_timer_add(self, step: float, window: Any) -> Any:
        self.timers.append(object())
        return self.timers[-1]

    def event_timer_remove(self, timer: Any) -> None:
        self.timers.remove(timer)

    def modal_handler_add(self, operator: Any) -> None:
        pass


def window() -> Any:
    """A context as a window has it."""
    import bpy

    return SimpleNamespace(
        window_manager=_Manager(),
        window=None,
        object=bpy.context.object,
        mode=bpy.context.mode,
        preferences=bpy.context.preferences,
        region=SimpleNamespace(width=280),
    )


TIMER, ESC, MOUSE = (SimpleNamespace(type=name) for name in ("TIMER", "ESC", "LEFTMOUSE"))


def job() -> Any:
    """The modal part of the button, with what it reports."""
    from armwright.addon.operators.card_proof import CardProof

    class Job(CardProof):
        def __init__(self) -> None:
            self.said: list[tuple[set[str], str]] = []

        def report(self, kind: set[str], text: str) -> None:
            self.said.append((kind, text))

    return Job()


def pieces(monkeypatch: pytest.MonkeyPatch, seconds: float = LEAST) -> None:
    from armwright.addon.operators import proof_job

    monkeypatch.setattr(proof_job, "PIECE", seconds)


def plain(results: Any) -> Any:
    """Everything of results but their rate, as what compares."""

    def value(item: Any) -> Any:
        return item.tolist() if isinstance(item, np.ndarray) else item

    traces = [{field.name: value(getattr(trace, field.name)) for field in fields(trace)} for trace in results.traces]
    return traces, replace(results, traces=(), frames_per_second=0.0)


def refused(operator: str, **options: Any) -> str:
    """What a button that is refused says."""
    import bpy

    with pytest.raises(RuntimeError) as refusal:
        getattr(bpy.ops.armwright, operator)(**options)
    return str(refusal.value).removeprefix("Error: ").strip()


# --- The draft.


def test_a_draft_is_written_named_and_its_guesses_are_listed_the_least_sure_first(
    registered: None, tmp_path: Path
) -> None:
    import bpy

    from armwright.addon.card_sketch import sketch_of
    from armwright.core.card import card_json
    from armwright.core.card.draft import draft

    armature = made.native_ik()
    activate(armature)
    before = deep_snapshot()
    assert bpy.ops.armwright.draft_card(filepath=str(tmp_path / "keeper")) == {"FINISHED"}
    assert differences(before, deep_snapshot()) == []
    path, state = tmp_path / "keeper.json", manager().armwright_card
    wanted = draft(sketch_of(armature))
    assert path.read_text(encoding="utf-8") == card_json.to_text(wanted)
    assert (state.path, state.rig, state.problems) == (str(path), armature.name, "")
    listed = [(line.part, line.found, line.sure, line.why) for line in state.guesses]
    print(listed[:3])
    assert sorted(listed) == sorted(
        (f"{guess.arm} {guess.role}".strip(), guess.found or "none", f"{guess.confidence:.2f}", guess.why)
        for guess in wanted.guesses
    )
    sure = [float(line.sure) for line in state.guesses]
    assert len(sure) > 10 and sure == sorted(sure)
    assert state.guesses[0].is_low and not state.guesses[-1].is_low
    # The draft is a card that the next button takes.
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    assert manager().armwright_proof.rig == armature.name


def test_a_file_is_replaced_only_where_that_is_asked_for_and_whole_or_not_at_all(
    registered: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    import bpy

    activate(made.bare_fk())
    path = tmp_path / "keeper.json"
    path.write_text("the lamp is lit at dusk")
    for name in ("keeper.json", "keeper"):
        assert "is there already" in refused("draft_card", filepath=str(tmp_path / name))
    assert manager().armwright_card.path == ""

    def full(*arguments: Any) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", full)
        assert "No space left" in refused("draft_card", filepath=str(path), replace=True)
    assert path.read_text() == "the lamp is lit at dusk"
    assert [item.name for item in tmp_path.iterdir()] == ["keeper.json"]
    assert (manager().armwright_card.path, len(manager().armwright_card.guesses)) == ("", 0)
    assert bpy.ops.armwright.draft_card(filepath=str(path), replace=True) == {"FINISHED"}
    assert json.loads(path.read_text())["format"] == "armwright.card"


def test_an_armature_without_arms_is_no_draft(registered: None, tmp_path: Path) -> None:
    import bpy
    from characters import torso_armature

    activate(torso_armature("Post"))
    said = refused("draft_card", filepath=str(tmp_path / "post.json"))
    print(said)
    assert "arm" in said and "Traceback" not in said
    assert list(tmp_path.iterdir()) == []
    assert bpy.ops.armwright.draft_card.poll()


# --- The proof.


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

    def counted(owner: Any, name: str, what: str) -> None:
        plain = getattr(owner, name)

        def counting(*arguments: Any, **named: Any) -> Any:
            work[what] = work.get(what, 0) + 1
            return plain(*arguments, **named)

        monkeypatch.setattr(owner, name, counting)

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


# --- What is refused.


def test_a_card_that_does_not_fit_says_each_thing_with_its_line_in_the_report_and_in_the_panel(
    posed: Any, tmp_path: Path
) -> None:
    import bpy

    state = manager().armwright_card
    card = made.blended_chains_card(posed)
    left = replace(card.arms[0], hand="plam.L", hand_hold="grasp.L")
    path = write_card(tmp_path / "wrong.json", replace(card, arms=(left, *card.arms[1:])))
    state.path = str(path)
    before = deep_snapshot()
    said = refused("run_card_proof")
    print(said)
    assert said.count("wrong.json, line ") == 2
    assert "'palm.L'" in said.replace('"', "'") and "plam.L" in said
    assert state.problems == said
    running = job()
    assert running.invoke(window(), None) == {"CANCELLED"}
    assert running.said == [({"ERROR"}, said)]
    assert not manager().armwright_proof.running
    assert differences(before, deep_snapshot()) == []
    # Another card is another matter.
    state.path = str(tmp_path / "keeper.card.json")
    assert state.problems == ""
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}


@pytest.mark.parametrize(
    ("content", "part"),
    [(None, "none.json"), ("{", "line 1"), ('{"format": "armwright.plan", "version": 1}', "rig card")],
)
def test_a_file_that_is_missing_or_no_card_is_said(posed: Any, tmp_path: Path, content: str | None, part: str) -> None:
    path = tmp_path / "none.json"
    if content is not None:
        path.write_text(content)
    manager().armwright_card.path = str(path)
    said = refused("run_card_proof")
    print(said)
    assert part in said and "\n" not in said
    assert manager().armwright_card.problems == said


def test_a_card_of_another_rig_is_refused_where_it_does_not_fit_and_named_where_it_does(
    posed: Any, tmp_path: Path
) -> None:
    import bpy

    state, twin = manager().armwright_card, made.blended_chains("Second keeper")
    activate(twin)
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    assert posed.name in state.problems and twin.name in state.problems
    assert (state.rig, manager().armwright_proof.rig) == (twin.name, twin.name)
    plain = made.bare_fk("Third keeper")
    activate(plain)
    assert "there is no bone" in refused("run_card_proof")
    assert state.rig == plain.name


def test_buttons_tell_why_they_are_greyed(posed: Any) -> None:
    import bpy
    from characters import wren_on_own_armature

    from armwright.addon import selection

    run, draft = bpy.ops.armwright.run_card_proof, bpy.ops.armwright.draft_card
    assert run.poll() and draft.poll()
    manager().armwright_card.path = ""
    assert not run.poll() and draft.poll()
    bpy.ops.object.mode_set(mode="EDIT")
    assert not draft.poll()
    assert "pose mode" in selection.why_no_card(bpy.context)
    bpy.ops.object.mode_set(mode="OBJECT")
    activate(wren_on_own_armature())
    assert not draft.poll()
    assert "without a card" in selection.why_no_card(bpy.context)


def test_an_armature_in_its_rest_position_is_refused(posed: Any) -> None:
    posed.data.pose_position = "REST"
    assert "rest position" in refused("run_card_proof")


# --- What is kept.


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


# --- The panel.


class Drawn:
    """Stands for the host's layout: takes what that takes, and remembers the words and buttons."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.buttons: list[str] = []
        self.lists: list[str] = []
        self.fields: list[str] = []
        self.bars: list[float] = []

    def __getattr__(self, name: str) -> Any:
        import bpy

        function = bpy.types.UILayout.bl_rna.functions[name]
        known = {item.identifier: item for item in function.parameters}

        def draw(*values: Any, **named: Any) -> Any:
            assert set(named) <= set(known), (name, named)
            if "icon" in named:
                assert named["icon"] in known["icon"].enum_items, named
            self._note(name, values, named)
            return self

        return draw

    def _note(self, name: str, values: tuple[Any, ...], named: dict[str, Any]) -> None:
        import bpy

        if name == "label":
            self.words.append(named["text"])
        elif name == "operator":
            space, _, operator = values[0].partition(".")
            assert getattr(getattr(bpy.ops, space), operator).get_rna_type() is not None
            self.buttons.append(operator)
        elif name == "template_list":
            kind, _, owner, path, active_owner, active = values
            assert getattr(bpy.types, kind).bl_rna is not None
            getattr(active_owner, active)
            self.lists.append(path)
            for item in getattr(owner, path):
                row = Drawn()
                getattr(sys.modules[f"armwright.addon.panels.{_module_of(kind)}"], kind).draw_item(
                    SimpleNamespace(), None, row, owner, item, 0, active_owner, active
                )
                assert row.words and all(row.words)
        elif name == "prop":
            getattr(*values)
            self.fields.append(values[1])
        elif name == "progress":
            self.bars.append(named["factor"])


def _module_of(kind: str) -> str:
    return "card_panel" if kind == "ARMWRIGHT_UL_guesses" else "proof_panel"


def drawn() -> Drawn:
    """The panel as it is now."""
    from armwright.addon.panels.card_panel import ARMWRIGHT_PT_card_proof as Panel

    layout = Drawn()
    assert Panel.poll(window())
    Panel.draw(SimpleNamespace(layout=layout), window())
    return layout


def test_the_panel_draws_each_of_its_states(posed: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import bpy

    pieces(monkeypatch)
    state = manager().armwright_card
    path, state.path = state.path, ""
    first = drawn()
    assert (first.fields, first.lists) == (["path"], [])
    assert first.buttons == ["draft_card", "run_card_proof"]
    bpy.ops.armwright.draft_card(filepath=str(tmp_path / "draft.json"))
    guessed = drawn()
    assert guessed.lists == ["guesses"]
    shown = f"{state.guesses[0].part}: {state.guesses[0].found}"
    assert shown in " ".join(guessed.words)
    (tmp_path / "bad.json").write_text("{")
    state.path = str(tmp_path / "bad.json")
    refused("run_card_proof")
    wrong = drawn()
    assert wrong.lists == []
    assert "bad.json" in " ".join(wrong.words)
    state.path = path
    running, context = job(), window()
    running.invoke(context, None)
    for _ in range(200):
        running.modal(context, TIMER)
    moving = drawn()
    assert (len(moving.bars), moving.buttons) == (1, [])
    assert 0.0 < moving.bars[0] < 1.0
    running.modal(context, ESC)
    assert drawn().buttons == ["draft_card", "run_card_proof"]
    assert bpy.ops.armwright.run_card_proof() == {"FINISHED"}
    done = drawn()
    assert done.lists == ["verdicts", "checks"]
    assert done.buttons == ["draft_card", "run_card_proof", "save_report"]
    assert manager().armwright_proof.headline in done.words
    # Of another armature nothing is shown but what is kept with it.
    other = made.bare_fk("Second keeper")
    activate(other)
    assert drawn().lists == []
    posed["armwright_proof"] = posed["armwright_proof"]
    activate(posed)
    manager().armwright_proof.headline = ""
    assert drawn().buttons == ["draft_card", "run_card_proof", "recall_proof"]


def test_the_panel_is_there_for_arms_of_other_making_alone(posed: Any) -> None:
    import bpy
    from characters import wren_on_own_armature

    from armwright.addon.panels.card_panel import ARMWRIGHT_PT_card_proof as Panel
    from armwright.addon.panels.proof_panel import ARMWRIGHT_PT_proof as Own

    assert (Panel.poll(window()), Own.poll(bpy.context)) == (True, False)
    activate(wren_on_own_armature())
    assert (Panel.poll(window()), Own.poll(bpy.context)) == (False, True)
