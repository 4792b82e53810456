"""Building and removing: complete, in one undo step, the same bytes from the same inputs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from keepers import activate, keeper, plan_for

SEED = 4711


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.mark.parametrize("mode", ["OBJECT", "POSE", "EDIT"])
def test_a_build_works_in_every_mode_and_returns_to_it(empty_file: Any, mode: str) -> None:
    import bpy
    from deep_snapshot import deep_snapshot

    from armwright.addon.build import build

    armature = keeper()
    plan = plan_for(armature)
    activate(armature, mode)
    before = deep_snapshot()
    build(armature, plan)
    assert deep_snapshot()["context"] == before["context"]
    assert armature.mode == mode
    if mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")
    for bone in plan.bones:
        assert bone.name in armature.data.collections_all[bone.collection].bones
    assert len(armature.animation_data.drivers) == len(plan.drivers) + 1


def test_a_build_changes_nothing_of_the_armature_that_was_there(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build

    armature = keeper()
    before = deep_snapshot()
    build(armature, plan_for(armature))
    now = deep_snapshot()
    bones, was = now["armatures"]["Keeper"]["bones"], before["armatures"]["Keeper"]["bones"]
    assert differences(was, {name: bones[name] for name in was}) == []
    pose, was = now["objects"]["Keeper"]["pose"], before["objects"]["Keeper"]["pose"]
    assert differences(was, {name: pose[name] for name in was}) == []
    kept = {entry[0]: entry[1:3] for entry in now["armatures"]["Keeper"]["collections"]}
    for name, visible, parent, _ in before["armatures"]["Keeper"]["collections"]:
        assert kept[name] == (visible, parent)
    assert now["armatures"]["Keeper"]["active"] == "belly"
    assert now["context"] == before["context"]


@pytest.mark.parametrize("mode", ["OBJECT", "POSE", "EDIT"])
def test_removing_the_arms_leaves_the_armature_as_before_the_build(empty_file: Any, mode: str) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build
    from armwright.addon.remove import remove_arms

    armature = keeper()
    before = deep_snapshot()
    build(armature, plan_for(armature))
    activate(armature, mode)
    remove_arms(armature)
    assert armature.mode == mode
    if mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")
    assert differences(before, deep_snapshot()) == []


def test_removing_arms_keeps_the_torso_that_was_built_with_them(wren: Any) -> None:
    from armwright.addon import rig
    from armwright.addon.remove import remove_arms

    remove_arms(wren)
    assert {bone.name for bone in wren.data.bones} == {"root", "torso.1", "torso.2", "torso.3", "head"}
    assert not rig.has_arms(wren)


def test_a_new_armature_has_root_torso_chain_head_and_both_arms(wren: Any) -> None:
    from armwright.addon.rig import read_record

    bones = wren.data.bones
    assert bones["torso.1"].parent.name == "root"
    assert bones["torso.3"].parent.name == "torso.2"
    assert bones["head"].parent.name == "torso.3"
    record = read_record(wren)
    assert record.arms == ("L", "R")
    assert (record.torso, record.root) == ("torso.3", "root")
    for arm in record.arms:
        assert record.torso in [bone.name for bone in bones[record.bone(arm, "fk_clavicle")].parent_recursive]


def test_arms_hang_on_the_torso_bone_that_was_chosen(empty_file: Any) -> None:
    from armwright.addon.build import build

    armature = keeper()
    build(armature, plan_for(armature, "belly"))
    for side in "LR":
        assert armature.data.bones[f"fk.clavicle.{side}"].parent.name == "belly"


def test_the_rest_matrices_in_the_host_are_the_plans(wren: Any) -> None:
    from armwright.addon.host import rest_matrix

    plan = plan_for()
    for bone in plan.bones:
        assert np.abs(rest_matrix(wren.data.bones[bone.name]) - np.array(bone.rest)).max() < 2e-6, bone.name


def test_the_same_inputs_give_the_same_plan_and_the_same_rig(empty_file: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot

    from armwright.addon.build import build
    from armwright.addon.rig import read_record
    from armwright.core.plan import json as plan_json

    found = []
    for _ in range(2):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        armature = keeper()
        plan = plan_for(armature)
        build(armature, plan)
        found.append((plan_json.to_text(plan), read_record(armature), deep_snapshot()))
    assert found[0] == found[1]
    assert found[0][1].plan_digest == plan_json.digest(plan)


def test_arms_rebuilt_after_a_removal_are_the_same(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build
    from armwright.addon.remove import remove_arms
    from armwright.core.plan import json as plan_json

    armature = keeper()
    build(armature, first := plan_for(armature))
    before = deep_snapshot()
    remove_arms(armature)
    build(armature, second := plan_for(armature))
    assert plan_json.digest(first) == plan_json.digest(second)
    assert differences(before, deep_snapshot()) == []


def test_the_operator_builds_a_new_armature_from_stature(registered: None) -> None:
    import bpy

    from armwright.addon.rig import find_rigs

    bpy.context.scene.armwright_build.stature = 1.8
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    (armature,) = find_rigs()
    assert bpy.context.view_layer.objects.active == armature
    # Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1: shoulder height 0.818 of the stature.
    assert armature.data.bones["skin.upper_arm.L"].head_local.z == pytest.approx(0.818 * 1.8, abs=1e-5)


def test_the_operator_builds_from_markers_where_they_stand(registered: None) -> None:
    import bpy

    assert bpy.ops.armwright.place_markers() == {"FINISHED"}
    marker = bpy.data.objects["elbow.L"]
    marker.location.y += 0.03
    bpy.context.view_layer.update()
    wanted = np.array(marker.matrix_world.translation)
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    armature = bpy.context.view_layer.objects.active
    found = np.array(armature.matrix_world @ armature.data.bones["skin.forearm.L"].head_local)
    assert np.abs(found - wanted).max() < 2e-6


def test_markers_of_a_moved_turned_and_scaled_armature_are_met_in_the_world(registered: None) -> None:
    import bpy

    armature = keeper()
    armature.location, armature.rotation_euler, armature.scale = (0.3, -1.0, 0.2), (0.0, 0.0, 1.1), (1.7, 1.7, 1.7)
    bpy.context.view_layer.update()
    bpy.ops.armwright.place_markers()
    settings = bpy.context.scene.armwright_build
    settings.armature, settings.torso = armature, "chest"
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    for joint, bone in (("shoulder", "skin.upper_arm"), ("elbow", "skin.forearm"), ("wrist", "skin.hand")):
        for side in "LR":
            wanted = np.array(bpy.data.objects[f"{joint}.{side}"].matrix_world.translation)
            found = np.array(armature.matrix_world @ armature.data.bones[f"{bone}.{side}"].head_local)
            assert np.abs(found - wanted).max() < 5e-6, (joint, side)


def test_a_stature_is_the_height_in_the_world_also_on_a_scaled_armature(registered: None) -> None:
    import bpy

    armature = keeper()
    armature.scale = (0.01, 0.01, 0.01)
    bpy.context.view_layer.update()
    settings = bpy.context.scene.armwright_build
    settings.armature, settings.torso, settings.stature = armature, "chest", 1.7
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    shoulder = armature.matrix_world @ armature.data.bones["skin.upper_arm.L"].head_local
    assert shoulder.z == pytest.approx(0.818 * 1.7, abs=1e-5)


@pytest.mark.parametrize("on_torso", [False, True], ids=["new armature", "existing armature"])
def test_one_undo_takes_back_a_whole_build(registered: None, on_torso: bool) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    keeper()
    if on_torso:
        settings = bpy.context.scene.armwright_build
        settings.armature, settings.torso = bpy.data.objects["Keeper"], "chest"
    bpy.ops.ed.undo_push(message="before")
    before = deep_snapshot()
    # "EXEC_DEFAULT" with True makes the host push the operator's own step, as a click does.
    assert bpy.ops.armwright.build_arms("EXEC_DEFAULT", True) == {"FINISHED"}
    built = deep_snapshot()
    assert built != before
    assert bpy.ops.ed.undo() == {"FINISHED"}
    assert differences(before, deep_snapshot()) == []
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert differences(built, deep_snapshot()) == []


def test_a_saved_rig_poses_the_same_in_a_host_without_the_add_on(wren: Any, tmp_path: Path) -> None:
    import json
    import os
    import subprocess
    import sys

    import bpy

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    for side in "LR":
        dials = wren.pose.bones[f"fk.clavicle.{side}"]
        for key, value in (("ik", 0.4), ("elbow_hold", 0.7), ("isolate", 0.3), ("lift", 1.0), ("stretch", 0.5)):
            dials[key] = value
        for name in ("fk.upper_arm", "fk.forearm", "fk.clavicle", "fk.hand"):
            wren.pose.bones[f"{name}.{side}"].rotation_euler = rng.uniform(-0.4, 0.4, 3)
        wren.pose.bones[f"hold.hand.{side}"].location = rng.uniform(-0.1, 0.1, 3)
        wren.pose.bones[f"hold.elbow.{side}"].location = rng.uniform(-0.05, 0.05, 3)
    path = tmp_path / "wren.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    wren.pose.bones["torso.2"].rotation_euler = (0.2, -0.3, 0.25)
    wren.update_tag()
    bpy.context.view_layer.update()
    names = [bone.name for bone in wren.data.bones]
    wanted = np.array([np.array(wren.pose.bones[name].matrix) for name in names])
    rest = np.array([np.array(wren.data.bones[name].matrix_local) for name in names])
    assert np.abs(wanted - rest).max() > 0.1
    script = tmp_path / "plain.py"
    script.write_text(
        "import bpy, json, os, sys\n"
        "bpy.context.preferences.filepaths.use_scripts_auto_execute = False\n"
        "bpy.ops.wm.open_mainfile(filepath=sys.argv[1], use_scripts=False)\n"
        "item = bpy.data.objects['Wren']\n"
        "item.pose.bones['torso.2'].rotation_euler = (0.2, -0.3, 0.25)\n"
        "item.update_tag()\n"
        "bpy.context.view_layer.update()\n"
        "poses = {bone.name: [list(row) for row in bone.matrix] for bone in item.pose.bones}\n"
        "open(sys.argv[2], 'w').write(json.dumps({'poses': poses, 'loaded': 'armwright' in sys.modules}))\n"
        "os._exit(0)\n",
        encoding="utf-8",
    )
    out = tmp_path / "poses.json"
    command = [sys.executable, str(script), str(path), str(out)]
    subprocess.run(command, check=True, timeout=120, cwd=tmp_path, env=dict(os.environ), stdin=subprocess.DEVNULL)
    found = json.loads(out.read_text(encoding="utf-8"))
    assert not found["loaded"]
    assert np.abs(np.array([found["poses"][name] for name in names]) - wanted).max() < 1e-6


def test_one_arm_is_built_alone(empty_file: Any) -> None:
    from armwright.addon.build import build_new
    from armwright.addon.rig import read_record
    from armwright.core.stature import guide_from_stature

    guide = guide_from_stature(1.7, "Wren")
    armature = build_new(plan_for(guide=replace(guide, arms=guide.arms[:1])), "Wren")
    assert read_record(armature).arms == ("L",)
    assert not [bone.name for bone in armature.data.bones if bone.name.endswith(".R")]
