"""Building again from the sidebar and from the command line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from characters_at_work import at_work, lost, work_of
from keepers import activate, keeper

KEEPER_1 = Path(__file__).parent.parent / "data" / "keeper_plan1.blend"


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


def settings() -> Any:
    import bpy

    return bpy.context.scene.armwright_build


def shoulder(armature: Any) -> float:
    return float(armature.data.bones["skin.clavicle.L"].tail_local.z)


def test_the_button_builds_again_and_one_undo_takes_it_back(registered: None) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    armature = at_work()
    activate(armature)
    # A chosen armature keeps the joints that its arms were built from.
    settings().armature = armature
    assert settings().source == "rig"
    work = work_of(armature)
    settings().source, settings().stature = "stature", 1.9
    bpy.ops.ed.undo_push(message="before")
    before = deep_snapshot()
    assert bpy.ops.armwright.build_arms("EXEC_DEFAULT", True) == {"FINISHED"}
    armature = bpy.data.objects["Keeper"]
    assert shoulder(armature) == pytest.approx(0.818 * 1.9, abs=1e-5)
    assert lost(work, work_of(armature)) == []
    built = deep_snapshot()
    assert bpy.ops.ed.undo() == {"FINISHED"}
    assert differences(before, deep_snapshot()) == []
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert differences(built, deep_snapshot()) == []


def test_the_sidebar_knows_whether_there_is_news(registered: None) -> None:
    import bpy

    from armwright.addon import build_inputs

    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    # What was asked for stays asked for.
    assert settings().source == "stature"
    assert build_inputs.news_of(settings()) == ""
    settings().stature = 1.8
    assert "joints have changed" in build_inputs.news_of(settings())
    settings().source = "rig"
    assert build_inputs.news_of(settings()) == ""
    settings().source = "markers"
    assert "no joint markers" in build_inputs.news_of(settings())
    settings().source = "stature"
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    assert build_inputs.news_of(settings()) == ""
    assert len([item for item in bpy.data.objects if item.type == "ARMATURE"]) == 1
    assert shoulder(settings().armature) == pytest.approx(0.818 * 1.8, abs=1e-5)


def test_the_sidebar_says_that_a_rig_is_of_an_older_version(registered: None) -> None:
    import bpy

    from armwright.addon import build_inputs

    bpy.ops.wm.open_mainfile(filepath=str(KEEPER_1), load_ui=False)
    settings().armature = bpy.data.objects["Keeper"]
    assert "Built by version 1 of the plan" in build_inputs.news_of(settings())
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    assert build_inputs.news_of(settings()) == ""


def test_markers_move_the_joints_of_arms_that_are_there(registered: None) -> None:
    import bpy
    import numpy as np

    armature = at_work()
    activate(armature)
    settings().armature = armature
    bpy.ops.armwright.place_markers()
    settings().source = "markers"
    bpy.data.objects["elbow.L"].location.y += 0.03
    bpy.context.view_layer.update()
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    wanted = np.array(bpy.data.objects["elbow.L"].matrix_world.translation)
    assert np.abs(np.array(armature.data.bones["fk.forearm.L"].head_local) - wanted).max() < 2e-6


def test_as_built_is_refused_where_nothing_is_built(registered: None) -> None:
    import bpy

    settings().source = "rig"
    with pytest.raises(RuntimeError, match="no arms yet"):
        bpy.ops.armwright.build_arms()
    settings().armature = keeper()
    assert settings().source == "stature"


def test_removing_by_button_asks_before_anything_is_lost(registered: None) -> None:
    import bpy

    armature = at_work()
    activate(armature)
    with pytest.raises(RuntimeError, match=r"would go, or hang in the air.*'Between'.*more: move these"):
        bpy.ops.armwright.remove_arms()
    assert "fk.hand.L" in armature.data.bones
    assert bpy.ops.armwright.remove_arms(anyway=True) == {"FINISHED"}
    assert "fk.hand.L" not in armature.data.bones
    assert armature.data.bones["ring"].parent.name == "chest"


def test_the_command_line_brings_a_file_of_version_1_up_to_date_and_then_leaves_it(tmp_path: Path) -> None:
    from host_cli import worked

    from armwright.core.plan import json as plan_json
    from armwright.core.plan.model import VERSION

    first = worked("build", KEEPER_1, "--out", tmp_path / "a" / "keeper.blend")
    assert "the arms of 'Keeper' were built again" in first
    again = worked("build", tmp_path / "a" / "keeper.blend", "--out", tmp_path / "b" / "keeper.blend")
    assert "the arms of 'Keeper' are up to date" in again
    plans = [tmp_path / name / "plan.json" for name in "ab"]
    assert plans[0].read_bytes() == plans[1].read_bytes()
    assert plan_json.read(plans[0]).version == VERSION
    taller = ("--stature", "1.9", "--out", tmp_path / "c" / "keeper.blend")
    grown = worked("build", tmp_path / "b" / "keeper.blend", *taller)
    assert "built again" in grown
    assert (tmp_path / "c" / "plan.json").read_bytes() != plans[0].read_bytes()


def test_the_command_line_builds_again_where_a_torso_is_named(tmp_path: Path) -> None:
    from host_cli import refused, worked

    said = worked("build", KEEPER_1, "--torso", "belly", "--out", tmp_path / "keeper.blend")
    assert "built again" in said
    sentence = refused("build", KEEPER_1, "--torso", "skin.hand.L", "--out", tmp_path / "k.blend")
    assert "skin.hand.L" in sentence
    assert not (tmp_path / "k.blend").exists()
