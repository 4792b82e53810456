"""The sidebar's panel for the proof by card: drafts, refusals, what it draws."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import foreign_arms as made
import pytest
from card_window import ESC, TIMER, job, manager, pieces, posed, refused, registered, window, write_card
from deep_snapshot import deep_snapshot, differences
from keepers import activate

__all__ = ("posed", "registered")


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
    assert posed.name in state.note and twin.name in state.note
    assert state.problems == ""
    assert drawn().words[0] == "Note"
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
    # Of many problems the first few are shown, and how many more there are.
    manager().armwright_card.problems = "\n".join(f"number {count}" for count in range(9))
    assert drawn().words[1:7] == [*(f"number {count}" for count in range(5)), "and 4 more"]
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
