"""Things to hold on to, and motions of them, for the tests of spaces."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np


def subject_of(armature: Any) -> Any:
    from armwright.addon import subjects

    return subjects.subject_of(armature)


def lantern(name: str = "Lantern") -> Any:
    """An empty, turned and beside the character."""
    import bpy

    prop = bpy.data.objects.new(name, None)
    bpy.context.scene.collection.objects.link(prop)
    prop.rotation_mode = "QUATERNION"
    prop.location, prop.rotation_quaternion = (0.3, -0.3, 1.1), (0.9, 0.1, -0.3, 0.2)
    bpy.context.view_layer.update()
    return prop


def switched(armature: Any, mode: str = "hand", keyed: bool | None = True) -> Any:
    """The left arm holds what `mode` says from this frame on; what the switch did."""
    from armwright.addon.holds import MODES
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    return switch(subject_of(armature), "L", Target(ik=MODES[mode].ik, elbow=MODES[mode].elbow), keyed=keyed)


def pose_freely(rng: np.random.Generator, armature: Any) -> None:
    """A random pose with bent elbows, every dial of the mode off."""
    bones = armature.pose.bones
    for name in ("torso.1", "torso.2", "head"):
        bones[name].rotation_mode = "XYZ"
        bones[name].rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
    for arm in "LR":
        bones[f"fk.clavicle.{arm}"].rotation_euler = rng.uniform(-0.2, 0.2, 3).tolist()
        bones[f"fk.upper_arm.{arm}"].rotation_euler = rng.uniform(-0.8, 0.8, 3).tolist()
        bones[f"fk.forearm.{arm}"].rotation_euler = (rng.uniform(0.2, 1.6), rng.uniform(-1.0, 1.0), 0.0)
        bones[f"fk.hand.{arm}"].rotation_euler = rng.uniform(-0.7, 0.7, 3).tolist()
        for key in ("ik", "elbow_hold"):
            bones[f"fk.clavicle.{arm}"][key] = 0.0
    armature.update_tag()


def swing(item: Any, last: int = 40) -> None:
    """Keys at 1, the middle and `last`: a prop travels and turns; a character's torso leans and its left arm swings."""
    rng = np.random.default_rng(9)
    for frame in (1, last // 2, last):
        if item.type != "ARMATURE":
            item.location = (np.array([0.3, -0.3, 1.1]) + rng.uniform(-0.06, 0.06, 3)).tolist()
            item.rotation_quaternion = (np.array([0.9, 0.1, -0.3, 0.2]) + rng.uniform(-0.1, 0.1, 4)).tolist()
            item.keyframe_insert("location", frame=frame)
            item.keyframe_insert("rotation_quaternion", frame=frame)
            continue
        for name, size in (("torso.2", 0.12), ("fk.upper_arm.L", 0.3), ("fk.hand.L", 0.3)):
            bone = item.pose.bones[name]
            bone.rotation_euler = rng.uniform(-size, size, 3).tolist()
            bone.keyframe_insert("rotation_euler", frame=frame)
        forearm = item.pose.bones["fk.forearm.L"]
        forearm.rotation_euler = (rng.uniform(0.9, 1.4), rng.uniform(-0.5, 0.5), 0.0)
        forearm.keyframe_insert("rotation_euler", frame=frame)


def joints_along(armature: Any, frames: Iterable[int], arm: str = "L") -> Any:
    """Upper arm, forearm and hand over frames, (N, 3, 4, 4)."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        out.append([np.array(armature.pose.bones[f"skin.{part}.{arm}"].matrix) for part in _PARTS])
    return np.array(out)


def offsets(armature: Any, prop: Any, frames: Iterable[int], bone: str) -> Any:
    """A bone's pose in the prop's frame over frames, (N, 4, 4)."""
    import bpy

    out = []
    for frame in frames:
        if bpy.context.scene.frame_current != frame:
            bpy.context.scene.frame_set(frame)
        out.append(np.linalg.inv(np.array(prop.matrix_world)) @ np.array(armature.pose.bones[bone].matrix))
    return np.array(out)


_PARTS = ("upper_arm", "forearm", "hand")
