"""Looks of a rebuild: shapes, colours and bone collections follow the plan, except where the user chose otherwise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

import bpy

from ..core.plan.model import Bone, Display
from . import shapes
from .rebuild_work import Change, Work, same

_BARE: Mapping[str, Any] = {
    "shape": "",
    "use_custom_shape_bone_size": True,
    "custom_shape_scale_xyz": (1.0, 1.0, 1.0),
    "custom_shape_translation": (0.0, 0.0, 0.0),
    "custom_shape_wire_width": 1.0,
    "at": "",
    "colour": ("DEFAULT",),
}
WIRE_WIDTH = 2.0


def looks(work: Work) -> Iterator[Change]:
    """Shapes and colours that are still what the last build set, or that are new."""
    pose = work.armature.pose.bones
    for bone in work.plan.bones:
        posed = pose.get(bone.name)
        if posed is None:
            continue
        wanted, now = planned_look(bone.display), look_of(posed)
        if bone.name in work.fresh:
            before: Mapping[str, Any] = now
        elif bone.name in work.made.bones:
            before = planned_look(work.made.bones[bone.name].display)
        else:
            continue
        moved = {
            key: value
            for key, value in wanted.items()
            if not _same(value, before[key]) and _same(now[key], before[key])
        }
        if moved:
            yield Change(partial(dress, posed, moved, work.armature.pose.bones))


def planned_look(display: Display) -> dict[str, Any]:
    """What a plan says of a bone's look, in the host's words."""
    if not display.shape:
        return dict(_BARE)
    return {
        "shape": display.shape,
        "use_custom_shape_bone_size": False,
        "custom_shape_scale_xyz": display.size,
        "custom_shape_translation": display.offset,
        "custom_shape_wire_width": WIRE_WIDTH,
        "at": display.at,
        "colour": ("CUSTOM", *shapes.HUES[display.hue]),
    }


def look_of(posed: bpy.types.PoseBone) -> dict[str, Any]:
    """What a bone looks like now, in the same words."""
    item, colour = posed.custom_shape, posed.color
    own = (tuple(colour.custom.normal), tuple(colour.custom.select), tuple(colour.custom.active))
    at = posed.custom_shape_transform
    return {
        "shape": _shape_name(item.name) if item is not None else "",
        "use_custom_shape_bone_size": posed.use_custom_shape_bone_size,
        "custom_shape_scale_xyz": tuple(posed.custom_shape_scale_xyz),
        "custom_shape_translation": tuple(posed.custom_shape_translation),
        "custom_shape_wire_width": posed.custom_shape_wire_width,
        "at": at.name if at is not None else "",
        "colour": (colour.palette, *own) if colour.palette == "CUSTOM" else (colour.palette,),
    }


def dress(posed: bpy.types.PoseBone, look: Mapping[str, Any], pose: Any) -> None:
    """Give a bone parts of a look."""
    for key, value in look.items():
        if key == "shape":
            posed.custom_shape = shapes.shape_object(value) if value else None
        elif key == "at":
            posed.custom_shape_transform = pose[value] if value else None
        elif key == "colour":
            posed.color.palette = value[0]
            if value[0] == "CUSTOM":
                own = posed.color.custom
                own.normal, own.select, own.active = value[1:]
        else:
            setattr(posed, key, value)


def _shape_name(item: str) -> str:
    """The shape that an object of this name is; one that came in from another file has a number behind its name."""
    start = shapes.mesh_name("")
    if not item.startswith(start):
        return f"object {item}"
    name, _, number = item.removeprefix(start).partition(".")
    return name if not number or number.isdigit() else f"object {item}"


def _same(first: Any, second: Any) -> bool:
    if isinstance(first, tuple) and isinstance(second, tuple):
        return len(first) == len(second) and all(
            _same(one, other) if isinstance(one, tuple) else same(one, other)
            for one, other in zip(first, second, strict=True)
        )
    return same(first, second)


def memberships(work: Work) -> Iterator[Change]:
    """Bone collections: a bone that the user has put elsewhere stays there; a new one joins its kind."""
    bones = work.armature.data.bones
    for bone in work.plan.bones:
        there = bones.get(bone.name)
        if there is None:
            continue
        now = {entry.name for entry in there.collections}
        base = work.made.bones.get(bone.name)
        if bone.name in work.fresh:
            if not now:
                yield Change(partial(_join, work, bone))
        elif base is not None and bone.collection != base.collection and now == {base.collection}:
            yield Change(partial(_join, work, bone, leave=base.collection))


def _join(work: Work, bone: Bone, leave: str = "") -> None:
    data = work.armature.data
    collection = data.collections_all.get(bone.collection) or _home(work, bone.collection)
    if collection is None:
        collection = data.collections.new(bone.collection)
        collection.is_visible = bone.collection not in shapes.HIDDEN_COLLECTIONS
    if leave:
        data.collections_all[leave].unassign(data.bones[bone.name])
    collection.assign(data.bones[bone.name])


def _home(work: Work, name: str) -> Any:
    """The collection that most bones of ours of the collection `name`, which is gone, are in now; None if none is."""
    bones = work.armature.data.bones
    found = Counter(
        entry.name
        for bone in work.made.bones.values()
        if bone.collection == name and bone.name in bones
        for entry in bones[bone.name].collections
    )
    return work.armature.data.collections_all.get(found.most_common(1)[0][0]) if found else None
