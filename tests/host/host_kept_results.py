"""A proof's results stay with their armature: through save, append and undo; not where it can not be changed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from keepers import activate


@pytest.fixture
def registered(empty_file: Any) -> Iterator[Any]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture
def proved(registered: Any) -> Any:
    """Wren with the results of a proof, listed as the button lists them."""
    import bpy
    from characters import wren_on_own_armature

    from armwright.addon.operators.verdict_lists import show

    armature = wren_on_own_armature()
    activate(armature, "POSE")
    bpy.ops.ed.undo_push(message="before the proof")
    made = results(armature)
    show(bpy.context.window_manager.armwright_proof, armature.name, made)
    from armwright.addon import kept_results

    assert kept_results.keep(armature, made)
    return armature


def results(armature: Any, value: float = 1e-7) -> Any:
    from armwright.addon.rig import read_record
    from armwright.core.proof.cases import Case
    from armwright.core.proof.results import Check, Results

    case = Case("hand", 0.0, 1.0, 0.0)
    check = Check(
        f"hold-hand/torso-wiggle/{case.label}/L/wrist-slide", "hold-hand", "torso-wiggle", case, "L", "wrist-slide",
        "L", value, 2e-6, "pass", 17, 240,
    )  # fmt: skip
    digest = read_record(armature).plan_digest
    return Results("4.5.15", armature.name, digest, 5, (("L", 0.56), ("R", 0.56)), (check,))


def state() -> Any:
    import bpy

    return bpy.context.window_manager.armwright_proof


def test_undo_past_the_proof_leaves_results_in_the_list_and_with_the_armature(proved: Any) -> None:
    import bpy

    from armwright.addon import kept_results

    made = results(proved)
    name = proved.name
    for turn in (0.1, 0.2):
        bpy.data.objects[name].pose.bones["fk.hand.L"].rotation_euler = (turn, 0.0, 0.0)
        bpy.ops.ed.undo_push(message="a turn")
    for _ in range(2):
        assert bpy.ops.ed.undo() == {"FINISHED"}
    armature = bpy.data.objects[name]
    assert armature.pose.bones["fk.hand.L"].rotation_euler[0] == 0.0
    assert [line.requirement for line in state().verdicts] == ["hold-hand"]
    assert kept_results.kept_with(armature) == made
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert kept_results.kept_with(bpy.data.objects[name]) == made


def test_a_later_proof_is_not_replaced_by_an_earlier_one_through_undo(proved: Any) -> None:
    import bpy

    from armwright.addon import kept_results

    name = proved.name
    bpy.ops.ed.undo_push(message="the first proof is in this step")
    proved.pose.bones["fk.hand.L"].rotation_euler = (0.1, 0.0, 0.0)
    bpy.ops.ed.undo_push(message="a turn")
    later = results(proved, 3e-7)
    assert kept_results.keep(proved, later)
    assert bpy.ops.ed.undo() == {"FINISHED"}
    assert kept_results.kept_with(bpy.data.objects[name]) == later


def test_another_file_with_a_rig_of_the_same_name_does_not_show_these_results(proved: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import kept_results

    path, name = tmp_path / "other.blend", proved.name
    del proved[kept_results.KEY]
    bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
    bpy.ops.wm.open_mainfile(filepath=str(path))
    assert name in bpy.data.objects
    assert (state().rig, state().headline, len(state().verdicts), len(state().checks)) == ("", "", 0, 0)
    assert not bpy.ops.armwright.save_report.poll()
    assert kept_results.kept_with(bpy.data.objects[name]) is None


def test_a_saved_report_leaves_files_of_other_names_alone(proved: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.core.proof import results_json

    others = {name: f"{name} of another rig" for name in ("results.json", "junit.xml")}
    for name, text in others.items():
        (tmp_path / name).write_text(text)
    assert bpy.ops.armwright.save_report(filepath=str(tmp_path / "keeper.html")) == {"FINISHED"}
    assert {name: (tmp_path / name).read_text() for name in others} == others
    assert {path.name for path in tmp_path.iterdir()} - set(others) == {
        *("keeper.html", "keeper.results.json", "keeper.junit.xml")
    }
    assert results_json.from_text((tmp_path / "keeper.results.json").read_bytes()) == results(proved)
    assert "<testsuite" in (tmp_path / "keeper.junit.xml").read_text()
    assert "hold-hand" in (tmp_path / "keeper.html").read_text()


def test_a_report_is_not_written_over_a_page_that_nobody_was_asked_about(proved: Any, tmp_path: Path) -> None:
    """The chooser asks about the name that was typed; the ending is put right afterwards."""
    import bpy

    page = tmp_path / "keeper.html"
    page.write_text("another page")
    with pytest.raises(RuntimeError, match=r"keeper\.html.* is there already"):
        bpy.ops.armwright.save_report(filepath=str(tmp_path / "keeper.txt"))
    assert [path.name for path in tmp_path.iterdir()] == ["keeper.html"] and page.read_text() == "another page"
    assert bpy.ops.armwright.save_report(filepath=str(page), replace=True) == {"FINISHED"}
    page.unlink()
    with pytest.raises(RuntimeError, match=r"keeper\.results\.json.* is there already"):
        bpy.ops.armwright.save_report(filepath=str(page))
    assert not page.exists()


def test_an_appended_armature_brings_its_results(proved: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import kept_results

    made, name, path = results(proved), proved.name, tmp_path / "wren.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(path), link=False) as (_, wanted):
        wanted.objects = [name]
    assert kept_results.kept_with(wanted.objects[0]) == made


def test_a_linked_armature_keeps_nothing_and_still_reads_what_its_own_file_says(proved: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import kept_results

    made, name, path = results(proved), proved.name, tmp_path / "wren.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(path), link=True) as (_, wanted):
        wanted.objects = [name]
    linked = wanted.objects[0]
    assert kept_results.kept_with(linked) == made
    assert not kept_results.keep(linked, results(linked, 9e-7))
    assert kept_results.kept_with(linked) == made


def test_an_overridden_armature_keeps_nothing_because_the_host_would_drop_it(proved: Any, tmp_path: Path) -> None:
    from shots import override_character, save_character

    from armwright.addon import kept_results

    del proved[kept_results.KEY]
    save_character(proved, tmp_path / "keeper.blend")
    over = override_character(tmp_path / "keeper.blend")
    assert not kept_results.keep(over, results(over))
    assert kept_results.KEY not in over


def test_a_whole_proof_is_bounded_in_the_file(proved: Any) -> None:
    from dataclasses import replace

    from armwright.addon import kept_results

    made = results(proved)
    checks = tuple(
        replace(made.checks[0], id=f"{made.checks[0].id}/{number}", value=number * 1e-11) for number in range(9000)
    )
    assert kept_results.keep(proved, replace(made, checks=checks))
    size = len(proved[kept_results.KEY])
    print(f"{len(checks)} checks in {size} characters")
    assert size < 400_000


def test_results_go_with_the_arms(proved: Any) -> None:
    import bpy

    from armwright.addon import kept_results

    assert kept_results.KEY in proved
    assert bpy.ops.armwright.remove_arms() == {"FINISHED"}
    assert kept_results.KEY not in proved
