"""Frame, poses and places of objects as they are now, over their keys or without any: kept while frames are stepped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import bpy

from .arm_state import Channel
from .posed import pose_but, posed

PLACES = ("location", "rotation_euler", "rotation_quaternion", "rotation_axis_angle", "scale")


@contextmanager
def kept(armature: bpy.types.Object, written: Sequence[Channel] = ()) -> Iterator[None]:
    """The scene's frame, what is posed on armatures and where objects with curves stand, as before afterwards.

    `written`: channels of `armature` that were keyed meanwhile, a list that may grow: they are what their curves say.
    """
    scene = bpy.context.scene
    at = scene.frame_current, scene.frame_subframe
    movers = [item for item in scene.objects if item.animation_data is not None and item.library is None]
    places = [(item, {name: tuple(getattr(item, name)) for name in PLACES}, _numbers(item)) for item in movers]
    poses = [(item, posed(item)) for item in {armature, *movers} if item.type == "ARMATURE" and item.pose is not None]
    try:
        yield
    finally:
        scene.frame_set(at[0], subframe=at[1])
        for item, place, numbers in places:
            for name, value in place.items():
                if tuple(getattr(item, name)) != value:
                    setattr(item, name, value)
            for key, number in numbers.items():
                if item[key] != number:
                    item[key] = number
        for item, pose in poses:
            pose_but(item, pose, written if item == armature else ())
        bpy.context.view_layer.update()


def _numbers(item: bpy.types.Object) -> dict[str, Any]:
    return {key: value for key, value in item.items() if isinstance(value, bool | int | float)}
