"""What a bone or an object needs in order to be evaluated, over constraints, parents and drivers of the whole file.

It errs towards yes: a constraint without influence needs its target all the same, as it does for the host.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any, NamedTuple

import bpy

# A property node's bone starts with this; no bone's data path does.
_PROPERTY = 'pose.bones["'
# Stands for every bone of an armature: a mesh that it deforms needs them all.
EVERY = "*"


class Thing(NamedTuple):
    """An object's own transform (bone ""), one of its bones, or a property by its data path."""

    item: bpy.types.Object
    bone: str = ""


def needs(start: Thing, wanted: Thing) -> bool:
    """Whether `start` can not be evaluated before `wanted`."""
    seen: set[tuple[str, str]] = set()
    waiting = [start]
    drivers: dict[str, dict[str, list[Thing]]] = {}
    while waiting:
        thing = waiting.pop()
        mark = (thing.item.name_full, thing.bone)
        if mark in seen:
            continue
        seen.add(mark)
        if thing.item == wanted.item and thing.bone in (wanted.bone, EVERY):
            return True
        if thing.item.name_full not in drivers:
            drivers[thing.item.name_full] = _drivers_of(thing.item)
        waiting.extend(_needed(thing, drivers[thing.item.name_full]))
    return False


def targets_of(constraint: Any) -> Iterator[Thing]:
    """What a constraint holds on to."""
    for holder in (constraint, *getattr(constraint, "targets", ())):
        if getattr(holder, "target", None) is not None:
            yield Thing(holder.target, getattr(holder, "subtarget", "") or "")
    if getattr(constraint, "pole_target", None) is not None:
        yield Thing(constraint.pole_target, constraint.pole_subtarget or "")
    is_in_own_space = "CUSTOM" in (constraint.owner_space, constraint.target_space) and constraint.type != "IK"
    if is_in_own_space and constraint.space_object is not None:
        yield Thing(constraint.space_object, constraint.space_subtarget or "")


def _needed(thing: Thing, drivers: dict[str, list[Thing]]) -> Iterator[Thing]:
    item, bone = thing
    if bone.startswith(_PROPERTY):
        yield from drivers.get(bone, ())
        return
    yield from drivers.get(bone, ())
    if bone == EVERY:
        for entry in item.pose.bones:
            yield Thing(item, entry.name)
        return
    if bone:
        yield from _needed_by_bone(item, bone)
        return
    for constraint in item.constraints:
        yield from targets_of(constraint)
    if item.parent is not None:
        yield Thing(item.parent, item.parent_bone if item.parent_type == "BONE" else "")
        if item.parent_type in ("VERTEX", "VERTEX_3"):
            for modifier in item.parent.modifiers:
                deformer = getattr(modifier, "object", None)
                if deformer is not None and deformer.type == "ARMATURE":
                    yield Thing(deformer, EVERY)


def _needed_by_bone(item: bpy.types.Object, bone: str) -> Iterator[Thing]:
    posed = item.pose.bones.get(bone) if item.pose is not None else None
    if posed is None:
        return
    if posed.parent is not None:
        yield Thing(item, posed.parent.name)
    for constraint in posed.constraints:
        # The host works in world space between two objects.
        yield Thing(item)
        yield from targets_of(constraint)


def _drivers_of(item: bpy.types.Object) -> dict[str, list[Thing]]:
    """What the drivers of each bone, of each property and of the object itself ("") read."""
    out: dict[str, list[Thing]] = defaultdict(list)
    for curve in item.animation_data.drivers if item.animation_data is not None else ():
        for variable in curve.driver.variables:
            for target in variable.targets:
                if isinstance(target.id, bpy.types.Object):
                    out[_driven(curve.data_path)].append(_read(variable.type, target))
    return out


def _driven(path: str) -> str:
    """The bone that a data path is about; a custom property's whole path, because it moves nothing by itself."""
    if not path.startswith(_PROPERTY):
        return ""
    name, _, rest = path[len(_PROPERTY) :].partition('"]')
    return path if rest.startswith("[") else name


def _read(kind: str, target: bpy.types.DriverTarget) -> Thing:
    # A property or channel is read as itself, without the pose of its bone (measured in the host).
    return Thing(target.id, target.data_path if kind == "SINGLE_PROP" else target.bone_target)
