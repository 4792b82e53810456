"""What is posed on an armature and not keyed: kept over whatever makes the host evaluate its curves again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from .arm_state import Channel

OWN_CHANNELS = {"location": 3, "rotation_quaternion": 4, "rotation_euler": 3, "rotation_axis_angle": 4, "scale": 3}


@dataclass(frozen=True)
class Posed:
    """Every bone's own channels, its custom numbers, and its constraints' influences."""

    own: dict[str, NDArray[np.float32]]
    dials: tuple[dict[str, float], ...]
    influences: tuple[dict[str, float], ...]


def posed(armature: bpy.types.Object) -> Posed:
    """What is posed on the armature now, over its keys or without any: stepping to other frames loses it."""
    bones = armature.pose.bones
    own = {}
    for name, width in OWN_CHANNELS.items():
        own[name] = np.zeros(width * len(bones), np.float32)
        bones.foreach_get(name, own[name])
    return Posed(
        own,
        tuple({key: value for key, value in bone.items() if isinstance(value, bool | int | float)} for bone in bones),
        tuple({item.name: item.influence for item in bone.constraints} for bone in bones),
    )


def pose_but(armature: bpy.types.Object, kept: Posed, written: Iterable[Channel]) -> None:
    """Put back what `posed` has read, apart from the channels `written`, which stay as they are now."""
    bones = armature.pose.bones
    new = [(channel, armature.path_resolve(channel.data_path)) for channel in written]
    new = [(channel, tuple(value) if hasattr(value, "__len__") else value) for channel, value in new]
    now = np.empty(0, np.float32)
    changed = False
    for name, values in kept.own.items():
        now = np.zeros_like(values)
        bones.foreach_get(name, now)
        if not np.array_equal(now, values):
            bones.foreach_set(name, values)
            changed = True
    for bone, dials, influences in zip(bones, kept.dials, kept.influences, strict=True):
        for key, value in dials.items():
            if bone[key] != value:
                bone[key], changed = value, True
        for item in bone.constraints:
            if item.name in influences and item.influence != influences[item.name]:
                item.influence, changed = influences[item.name], True
    if not changed:
        return
    for channel, value in new:
        _put(bones[channel.bone], channel, value)
    armature.update_tag()
    bpy.context.view_layer.update()


def back(armature: bpy.types.Object, at: tuple[int, float], kept: Posed, written: Iterable[Channel]) -> None:
    """The frame and the pose as before, apart from what was `written`: that is what its curves say."""
    bpy.context.scene.frame_set(at[0], subframe=at[1])
    pose_but(armature, kept, written)


def _put(bone: bpy.types.PoseBone, channel: Channel, value: object) -> None:
    if channel.is_dial:
        bone[channel.path[2:-2]] = value
        return
    holder, _, name = channel.path.rpartition(".")
    setattr(bone.path_resolve(holder) if holder else bone, name, value)
