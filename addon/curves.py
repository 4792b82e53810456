"""Animation curves, written and read the same way in every supported host (layered actions came in between)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def new_action(armature: bpy.types.Object, name: str) -> tuple[bpy.types.Action, Any]:
    """A new action, assigned to the armature, and the collection of its curves."""
    animation = armature.animation_data or armature.animation_data_create()
    action, slot, curves = unassigned_action(name, armature.name)
    animation.action = action
    if slot is not None:
        animation.action_slot = slot
    return action, curves


def unassigned_action(name: str, owner: str) -> tuple[Any, Any, Any]:
    """A new action for an object called `owner` that nothing plays, its slot (None in hosts without), its curves."""
    action: Any = bpy.data.actions.new(name)
    if hasattr(action, "layers"):
        slot = action.slots.new("OBJECT", owner)
        strip = action.layers.new("poses").strips.new(type="KEYFRAME")
        return action, slot, strip.channelbag(slot, ensure=True).fcurves
    return action, None, action.fcurves


def curves_of(action: Any) -> Iterator[bpy.types.FCurve]:
    """Every curve of an action, whatever its layers."""
    if not hasattr(action, "layers"):
        yield from action.fcurves
        return
    for layer in action.layers:
        for strip in layer.strips:
            for bag in strip.channelbags:
                yield from bag.fcurves


def bag_of(action: Any, slot: Any) -> Any:
    """The curves and groups that `action` has for one of those that share it; None if there are none.

    `slot`: the part of the action; hosts without such parts give None, and the action is its own bag.
    """
    if not hasattr(action, "layers"):
        return action
    strips = [strip for layer in action.layers for strip in layer.strips]
    return strips[0].channelbag(slot) if strips and slot is not None else None


def own_bag(item: bpy.types.Object) -> Any:
    """The curves and groups that move `item`, and nothing else of its action; None if there are none."""
    animation = item.animation_data
    if animation is None or animation.action is None:
        return None
    return bag_of(animation.action, getattr(animation, "action_slot", None))


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
