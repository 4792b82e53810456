"""The skin's skeleton in a glTF file has the rig's joints at every frame, as a reader that knows nothing of us sees
them; and the file that is open is as it was, whatever happened.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from gltf_joints import read, skinned

# Arm lengths, of a joint's place; degrees, of its axes.
PLACE, TURN = 1e-5, 1e-2
FIRST, LAST = 1, 60
ARM_TREE = {
    "skin.upper_arm": "skin.clavicle",
    "skin.forearm": "skin.upper_arm",
    "skin.hand": "skin.forearm",
}


def performance(armature: Any) -> None:
    """FK, then a held hand, a held elbow, both, and a reach that stretches, on a torso that travels."""
    from swings import animated

    animated(armature)
    bones = armature.pose.bones
    rng = np.random.default_rng(77)
    for frame in (1, 20, 40, 60):
        bones["torso.1"].location = rng.uniform(-0.1, 0.1, 3).tolist()
        bones["torso.1"].keyframe_insert("location", frame=frame)
        bones["root"].location = rng.uniform(-0.4, 0.4, 3).tolist()
        bones["root"].keyframe_insert("location", frame=frame)
    for arm, shift in (("L", 0), ("R", 7)):
        dials = bones[f"fk.clavicle.{arm}"]
        for frame, ik, elbow, stretch in ((1, 0, 0, 0), (12, 0, 0, 0), (18, 1, 0, 0), (30, 0, 1, 0), (42, 1, 1, 1)):
            for key, value in (("ik", ik), ("elbow_hold", elbow), ("stretch", stretch)):
                dials[key] = float(value)
                dials.keyframe_insert(f'["{key}"]', frame=frame + shift)
        hold = bones[f"hold.hand.{arm}"]
        for frame in (1, 50, 60):
            # At the end out of reach, so that the arm has to stretch.
            hold.location = (rng.uniform(-0.1, 0.1, 3) + (0.0, 0.35 if frame == 60 else -0.1, 0.0)).tolist()
            hold.keyframe_insert("location", frame=frame)
            bones[f"hold.elbow.{arm}"].location = rng.uniform(-0.06, 0.06, 3).tolist()
            bones[f"hold.elbow.{arm}"].keyframe_insert("location", frame=frame)


def placed(armature: Any) -> None:
    """Moved, turned and scaled."""
    armature.location = (2.0, -1.0, 0.5)
    armature.rotation_euler = (0.2, -0.3, 1.1)
    armature.scale = (0.7, 0.7, 0.7)


def rig_joints(armature: Any, names: Any) -> np.ndarray:
    """The rig's own joints in the world at every frame, (N, B, 4, 4)."""
    import bpy

    out = []
    for frame in range(FIRST, LAST + 1):
        bpy.context.scene.frame_set(frame)
        world = np.array(armature.matrix_world)
        out.append([world @ np.array(armature.pose.bones[name].matrix) for name in names])
    return np.array(out)


def arm_length(armature: Any) -> float:
    bones = armature.data.bones
    joints = [np.array(bones[f"skin.{part}.L"].head_local) for part in ("upper_arm", "forearm", "hand")]
    return float(sum(np.linalg.norm(np.diff(joints, axis=0), axis=1)) * armature.matrix_world.median_scale)


def subject(armature: Any) -> Any:
    import bpy

    from armwright.addon import subjects

    bpy.context.view_layer.update()
    return subjects.subject_of(armature)


def request(path: Path, **other: Any) -> Any:
    from armwright.addon.hand_over import Request

    return Request(**{"path": path, "first": FIRST, "last": LAST, **other})


def handed(armature: Any, path: Path, **other: Any) -> Any:
    from armwright.addon.hand_over import hand_over_whole

    hand_over_whole(subject(armature), request(path, **other))
    return read(path)


def unit_axes(matrices: np.ndarray) -> np.ndarray:
    axes = matrices[..., :3, :3]
    return axes / np.linalg.norm(axes, axis=-2, keepdims=True)


def compare(armature: Any, found: Any) -> tuple[float, float]:
    """Worst distance in arm lengths and worst turn in degrees over all joints and frames."""
    wanted = rig_joints(armature, found.joints)
    got = np.stack([found.world[name] for name in found.joints], axis=1)
    assert len(got) == LAST - FIRST + 1
    far = np.linalg.norm(got[..., :3, 3] - wanted[..., :3, 3], axis=-1).max() / arm_length(armature)
    apart = np.linalg.norm(unit_axes(got) - unit_axes(wanted), axis=(-2, -1)).max()
    turn = np.degrees(2.0 * np.arcsin(apart / np.sqrt(8.0)))
    print(f"\nworst joint: {far:.2g} L, {turn:.2g} degrees")
    return float(far), float(turn)


@pytest.mark.parametrize("form", ["tree", "flat"])
@pytest.mark.parametrize("place", [False, True], ids=["at the origin", "moved, turned, scaled"])
def test_joints_read_back_are_the_rigs_at_every_frame(wren: Any, tmp_path: Path, form: str, place: bool) -> None:
    performance(wren)
    if place:
        placed(wren)
    found = handed(wren, tmp_path / "wren.glb", form=form)
    assert {"torso.1", "head", "skin.hand.R"} <= set(found.joints)
    far, turn = compare(wren, found)
    assert far <= PLACE and turn <= TURN
    # The performance does ask for what it is there to test.
    stretched = np.linalg.norm(rig_joints(wren, ["skin.forearm.L"])[:, 0, :3, 1], axis=-1)
    assert np.ptp(stretched) > 0.05


def test_flat_joints_carry_the_rigs_scale(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    found = handed(wren, tmp_path / "wren.glb", form="flat")
    wanted = rig_joints(wren, found.joints)
    got = np.stack([found.world[name] for name in found.joints], axis=1)
    assert np.abs(got[..., :3, :3] - wanted[..., :3, :3]).max() < 1e-5
    assert np.ptp(np.linalg.norm(got[..., :3, :3], axis=-2)) > 0.1
    assert {found.parents[name] for name in found.joints} == {"Wren skeleton"}


def test_a_tree_of_joints_carries_no_scale(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    found = handed(wren, tmp_path / "wren.glb")
    sizes = np.linalg.norm(np.stack([found.world[name][:, :3, :3] for name in found.joints]), axis=-2)
    assert np.abs(sizes - 1.0).max() < 1e-5


def test_joints_hang_on_each_other_as_the_arm_does(wren: Any, tmp_path: Path) -> None:
    found = handed(wren, tmp_path / "wren.glb")
    for arm in "LR":
        for name, parent in ARM_TREE.items():
            assert found.parents[f"{name}.{arm}"] == f"{parent}.{arm}"
        assert found.parents[f"skin.clavicle.{arm}"] == "torso.3"
    assert found.parents["torso.2"] == "torso.1"
    assert not [name for name in found.parents if name.startswith(("fk.", "ik.", "aux.", "hold.", "aim."))]


def test_the_arms_alone_leave_the_body_behind(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    found = handed(wren, tmp_path / "wren.glb", arms_only=True)
    assert sorted(found.joints) == sorted(
        f"skin.{part}.{arm}" for part in ("clavicle", "upper_arm", "forearm", "hand") for arm in "LR"
    )
    far, turn = compare(wren, found)
    assert far <= PLACE and turn <= TURN


@pytest.mark.parametrize(("rate", "base"), [(24, 1.0), (30, 1.001), (25, 2.0)])
def test_keys_are_a_frame_apart_and_start_at_zero(wren: Any, tmp_path: Path, rate: int, base: float) -> None:
    import bpy

    performance(wren)
    bpy.context.scene.render.fps, bpy.context.scene.render.fps_base = rate, base
    found = handed(wren, tmp_path / "wren.glb")
    # A second has rate / base frames (the host's manual, "Frame Rate").
    assert found.times == pytest.approx(np.arange(LAST - FIRST + 1) * base / rate, rel=1e-5)
    assert found.animations == (wren.animation_data.action.name,)


def test_joints_are_right_where_the_armature_itself_moves(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    for frame in (1, 60):
        wren.location = (0.03 * frame, 0.0, 0.0)
        wren.rotation_euler = (0.0, 0.0, 0.02 * frame)
        wren.keyframe_insert("location", frame=frame)
        wren.keyframe_insert("rotation_euler", frame=frame)
    far, turn = compare(wren, handed(wren, tmp_path / "wren.glb"))
    assert far <= PLACE and turn <= TURN


def test_a_range_far_from_frame_one_and_below_zero_is_baked_as_asked(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    found = handed(wren, tmp_path / "wren.glb", first=-3, last=2)
    assert found.times == pytest.approx(np.arange(6) / 24.0, abs=1e-6)


# Meshes


def coat(armature: Any) -> Any:
    """A box around each arm's bones, weighted to two of them at every corner, beside the armature and not under it."""
    import bpy

    names = [f"skin.{part}.{arm}" for arm in "LR" for part in ("upper_arm", "forearm", "hand")]
    points, faces = [], []
    for name in names:
        bone = armature.data.bones[name]
        start = len(points)
        for along in (0.1, 0.5, 0.9):
            for side in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                local = np.array([0.04 * side[0], along * bone.length, 0.04 * side[1], 1.0])
                points.append((np.array(bone.matrix_local) @ local)[:3].tolist())
        for ring in (0, 4):
            faces += [
                tuple(start + ring + corner for corner in (a, (a + 1) % 4, 4 + (a + 1) % 4, 4 + a)) for a in range(4)
            ]
    mesh = bpy.data.meshes.new("Coat")
    mesh.from_pydata(points, [], faces)
    item = bpy.data.objects.new("Coat", mesh)
    bpy.context.scene.collection.objects.link(item)
    for place, name in enumerate(names):
        group = item.vertex_groups.new(name=name)
        other = names[place - 1] if place % 3 else name
        group.add(range(12 * place, 12 * place + 12), 0.7, "ADD")
        blend = item.vertex_groups.get(other) or item.vertex_groups.new(name=other)
        blend.add(range(12 * place, 12 * place + 12), 0.3, "ADD")
    item.modifiers.new("Skin", "ARMATURE").object = armature
    return item


def worn(item: Any, frames: range) -> np.ndarray:
    """Where the host's own skinning puts the vertices, (N, V, 3), world."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        shown = item.evaluated_get(bpy.context.view_layer.depsgraph)
        world = np.array(shown.matrix_world)
        out.append([(world @ np.array([*vertex.co, 1.0]))[:3] for vertex in shown.data.vertices])
    return np.array(out)


def test_a_mesh_comes_along_with_its_weights(wren: Any, tmp_path: Path) -> None:
    performance(wren)
    placed(wren)
    item = coat(wren)
    item.matrix_world = wren.matrix_world.copy()
    before = deep_snapshot_now()
    found = handed(wren, tmp_path / "wren.glb", form="flat", with_mesh=True)
    assert differences(before, deep_snapshot_now()) == []
    assert list(found.meshes) == ["Coat skin"]
    got, wanted = skinned(found, "Coat skin"), worn(item, range(FIRST, LAST + 1))
    # The file keeps a vertex once for each normal: every one of its vertices is one of the mesh's.
    apart = np.linalg.norm(got[:, :, None] - wanted[:, None], axis=-1)
    pairs = apart[0].argmin(axis=1)
    assert set(pairs) == set(range(wanted.shape[1]))
    worst = np.linalg.norm(got - wanted[:, pairs], axis=-1).max() / arm_length(wren)
    print(f"\nworst vertex: {worst:.2g} L")
    assert worst <= PLACE


def test_without_the_option_no_mesh_is_in_the_file(wren: Any, tmp_path: Path) -> None:
    coat(wren)
    assert handed(wren, tmp_path / "wren.glb").meshes == {}


# The open file and the file on disk


def deep_snapshot_now() -> Any:
    import bpy

    bpy.context.view_layer.update()
    windows = [(window.scene.name, window.view_layer.name) for window in bpy.context.window_manager.windows]
    return {**deep_snapshot(), "windows": windows}


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


def test_names_that_look_like_code_stay_names(wren: Any, tmp_path: Path) -> None:
    bone = wren.data.bones["torso.1"]
    bone.name = 'hips "of" \\Wren'
    far, turn = compare(wren, handed_with_record(wren, tmp_path / "wren.glb"))
    assert far <= PLACE and turn <= TURN


def handed_with_record(armature: Any, path: Path) -> Any:
    """After a rename that the record has been told."""
    from dataclasses import replace

    from armwright.addon import rig

    record = rig.read_record(armature)
    renamed = tuple('hips "of" \\Wren' if name == "torso.1" else name for name in record.bones)
    rig.write_record(armature, replace(record, bones=renamed))
    performance_without_torso(armature)
    return handed(armature, path)


def performance_without_torso(armature: Any) -> None:
    for frame, angle in ((FIRST, 0.0), (LAST, 1.2)):
        for name, index in (('hips "of" \\Wren', 0), ("fk.upper_arm.L", 2)):
            bone = armature.pose.bones[name]
            bone.rotation_euler[index] = angle
            bone.keyframe_insert("rotation_euler", frame=frame)


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
