"""Animation curves, written and read the same way in every supported host (layered actions came in between)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import host

Array = NDArray[np.float64]


def new_action(armature: bpy.types.Object, name: str) -> tuple[bpy.types.Action, Any]:
    """A new action, assigned to the armature, and the collection of its curves."""
    animation = armature.animation_data or armature.animation_data_create()
    action, slot, curves = unassigned_action(name, armature.name)
    animation.action = action
    host.give_slot(animation, slot)
    return action, curves


def unassigned_action(name: str, owner: str) -> tuple[Any, Any, Any]:
    """A new action for an object called `owner` that nothing plays, its slot (None in hosts without), its curves."""
    action: Any = bpy.data.actions.new(name)
    return (action, *host.fill(action, owner))


def curves_of(action: Any) -> Iterator[bpy.types.FCurve]:
    """Every curve of an action, whatever its layers."""
    for bag in host.bags_of(action):
        yield from bag.fcurves


def own_bag(item: bpy.types.Object) -> Any:
    """The curves and groups that move `item`, and nothing else of its action; None if there are none."""
    animation = item.animation_data
    if animation is None or animation.action is None:
        return None
    return host.bag_of(animation.action, host.slot_of(animation))


def write_curve(curves: Any, path: str, index: int, frames: Array, values: Array) -> None:
    """A curve through (frames, values), stepped: between keys it keeps the last value."""
    curve = curves.new(path, index=index)
    points = curve.keyframe_points
    points.add(len(frames))
    flat = np.empty(2 * len(frames), np.float32)
    flat[0::2], flat[1::2] = frames, values
    points.foreach_set("co", flat)
    points.foreach_set("interpolation", np.zeros(len(frames), np.int32))
    curve.update()
