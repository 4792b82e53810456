"""The skin's skeleton in a glTF file has the rig's joints at every frame, as a reader that knows nothing of us sees
them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import differences
from gltf_joints import skinned
from handed import (
    FIRST,
    LAST,
    PLACE,
    TURN,
    arm_length,
    coat,
    compare,
    deep_snapshot_now,
    handed,
    performance,
    placed,
    rig_joints,
)

ARM_TREE = {
    "skin.upper_arm": "skin.clavicle",
    "skin.upper_arm.1": "skin.upper_arm",
    "skin.upper_arm.2": "skin.upper_arm.1",
    "skin.forearm": "skin.upper_arm.2",
    "skin.forearm.1": "skin.forearm",
    "skin.forearm.2": "skin.forearm.1",
    "skin.hand": "skin.forearm.2",
}


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
    assert sorted(found.joints) == sorted(f"{name}.{arm}" for name in ("skin.clavicle", *ARM_TREE) for arm in "LR")
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


# Meshes


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
