"""A performance to hand over, and what the rig itself does in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from deep_snapshot import deep_snapshot
from gltf_joints import read

# Arm lengths, of a joint's place; degrees, of its axes.
PLACE, TURN = 1e-5, 1e-2
FIRST, LAST = 1, 60


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
            hold.location = (rng.uniform(-0.1, 0.1, 3) + np.array([0.0, 0.35 if frame == 60 else -0.1, 0.0])).tolist()
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


def deep_snapshot_now() -> Any:
    import bpy

    bpy.context.view_layer.update()
    windows = [(window.scene.name, window.view_layer.name) for window in bpy.context.window_manager.windows]
    return {**deep_snapshot(), "windows": windows}
