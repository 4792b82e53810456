"""Handing over leaves the open file as it was and the file on disk whole, whatever happened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from deep_snapshot import differences
from handed import PLACE, TURN, coat, compare, deep_snapshot_now, handed, performance, request, subject


def worked_on() -> Any:
    """A user's file: an armature with arms among other bones, in pose mode, a pose over its keys, a second scene."""
    import bpy
    from keepers import activate, keeper, plan_for

    from armwright.addon import build

    armature = keeper()
    armature.data.collections["Arms FK"].name = "Mine"
    build.build(armature, plan_for(armature))
    for frame in (1, 40):
        armature.pose.bones["fk.upper_arm.L"].rotation_euler = (0.02 * frame, 0.0, 0.1)
        armature.pose.bones["fk.upper_arm.L"].keyframe_insert("rotation_euler", frame=frame)
    lamp = bpy.data.objects.new("Lamp", None)
    bpy.context.scene.collection.objects.link(lamp)
    lamp.keyframe_insert("location", frame=1)
    bpy.data.scenes.new("A second scene")
    bpy.context.scene.frame_set(7)
    activate(armature, "POSE")
    armature.pose.bones["fk.upper_arm.L"].rotation_euler = (0.9, 0.2, 0.1)
    lamp.location = (1.0, 2.0, 3.0)
    bpy.context.view_layer.update()
    return armature


def test_the_open_file_is_as_it_was(empty_file: Any, tmp_path: Path) -> None:
    armature = worked_on()
    before = deep_snapshot_now()
    handed(armature, tmp_path / "keeper.glb")
    assert differences(before, deep_snapshot_now()) == []
    assert [path.name for path in tmp_path.iterdir()] == ["keeper.glb"]


@pytest.mark.parametrize("steps", [0, 1, 30, 60])
def test_stopped_anywhere_nothing_is_written_and_the_file_is_as_it_was(
    empty_file: Any, tmp_path: Path, steps: int
) -> None:
    from armwright.addon.hand_over import hand_over

    armature = worked_on()
    before = deep_snapshot_now()
    work = hand_over(subject(armature), request(tmp_path / "keeper.glb"))
    for _ in range(steps):
        next(work)
    work.close()
    assert differences(before, deep_snapshot_now()) == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("where", ["_export", "_add_mesh", "_write"])
def test_a_failure_leaves_both_files_as_they_were(
    empty_file: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    from armwright.addon import hand_over_stage
    from armwright.addon.hand_over import hand_over_whole

    armature = worked_on()
    body = armature.id_data.users_scene and next(
        item for item in empty_file.objects if item.type == "MESH" and item.name == "Body"
    )
    body.vertex_groups.new(name="chest")
    path = tmp_path / "keeper.glb"
    path.write_bytes(b"the one before")
    before = deep_snapshot_now()

    def fails(*arguments: Any, **other: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(hand_over_stage, where, fails)
    with pytest.raises(RuntimeError, match="the disk is full"):
        hand_over_whole(subject(armature), request(path, overwrite=True, with_mesh=True))
    assert differences(before, deep_snapshot_now()) == []
    assert [(item.name, item.read_bytes()) for item in tmp_path.iterdir()] == [("keeper.glb", b"the one before")]


def test_a_file_that_is_there_is_replaced_only_where_that_is_allowed(wren: Any, tmp_path: Path) -> None:
    from armwright.addon.hand_over import hand_over_whole
    from armwright.core.errors import HostError

    path = tmp_path / "wren.glb"
    path.write_bytes(b"somebody's")
    with pytest.raises(HostError, match="there already"):
        hand_over_whole(subject(wren), request(path))
    assert path.read_bytes() == b"somebody's"
    assert handed(wren, path, overwrite=True).joints


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"first": 10, "last": 1}, "runs backwards"),
        ({"first": 1.5}, "whole number"),
        ({"form": "bush"}, "tree, flat"),
        ({"last": 10_000_000}, "frames up to"),
        ({"last": 900_000}, "at most"),
        ({"arms_only": True, "with_mesh": True}, "leave out"),
        ({"with_mesh": True}, "no mesh"),
        ({"path": Path("wren.fbx")}, "glb"),
    ],
)
def test_what_can_not_be_is_refused_in_a_sentence(wren: Any, tmp_path: Path, other: Any, words: str) -> None:
    from armwright.addon.hand_over import hand_over
    from armwright.core.errors import HostError

    before = deep_snapshot_now()
    path = tmp_path / other.get("path", Path("wren.glb"))
    with pytest.raises(HostError, match=words):
        next(hand_over(subject(wren), request(**{**other, "path": path})))
    assert differences(before, deep_snapshot_now()) == []
    assert list(tmp_path.iterdir()) == []


def test_a_mirrored_armature_is_refused(wren: Any, tmp_path: Path) -> None:
    from armwright.core.errors import HostError

    wren.scale = (-1.0, 1.0, 1.0)
    with pytest.raises(HostError, match="mirrored"):
        handed(wren, tmp_path / "wren.glb")


def test_a_linked_and_overridden_character_is_handed_over(empty_file: Any, tmp_path: Path) -> None:
    import bpy
    from characters import wren_on_own_armature

    armature = wren_on_own_armature()
    item = coat(armature)
    item.parent = armature
    home = bpy.data.collections.new("Wren")
    for entry in (armature, item):
        bpy.context.scene.collection.objects.unlink(entry)
        home.objects.link(entry)
    bpy.context.scene.collection.children.link(home)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "wren.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "wren.blend"), link=True) as (_, wanted):
        wanted.collections = ["Wren"]
    bpy.context.scene.collection.children.link(wanted.collections[0])
    wanted.collections[0].override_hierarchy_create(bpy.context.scene, bpy.context.view_layer, do_fully_editable=True)
    shot = next(entry for entry in bpy.data.objects if entry.type == "ARMATURE" and entry.override_library)
    performance(shot)
    before = deep_snapshot_now()
    found = handed(shot, tmp_path / "wren.glb", with_mesh=True)
    assert differences(before, deep_snapshot_now()) == []
    far, turn = compare(shot, found)
    assert far <= PLACE and turn <= TURN
    assert len(found.meshes) == 1
