"""Finds rigs in the host's file and reads what they remember about themselves."""

from __future__ import annotations

from contextlib import suppress
from functools import lru_cache

import bpy

from ..core import rig_record
from ..core.errors import HostError, PlanError
from ..core.rig_record import RigRecord

KEY = "armwright"


def has_arms(armature: bpy.types.Object | None) -> bool:
    """Whether the object is an armature that carries arms of ours."""
    return armature is not None and armature.type == "ARMATURE" and KEY in armature


def read_record(armature: bpy.types.Object) -> RigRecord:
    """What the armature remembers; raises HostError if it carries no arms or if what it remembers is damaged."""
    if not has_arms(armature):
        raise HostError(
            f"{armature.name!r} has no arms built by Armwright: select the armature that has them, or build them"
        )
    try:
        return _record(str(armature[KEY]))
    except PlanError as problem:
        raise HostError(f"{armature.name!r}: {problem}") from problem


@lru_cache(maxsize=16)
def _record(text: str) -> RigRecord:
    # Panels and the lists of operators' arms read it with every redraw.
    return rig_record.from_text(text)


def write_record(armature: bpy.types.Object, record: RigRecord) -> None:
    """Let the armature remember `record`."""
    armature[KEY] = rig_record.to_text(record)


def check_editable(armature: bpy.types.Object) -> None:
    """Raise HostError, with what to do, if the armature's bones can not be changed in this file and view layer."""
    name = armature.name
    if armature.library is not None or armature.override_library is not None or armature.data.library is not None:
        source = (armature.library or armature.data.library or armature.override_library.reference.library).filepath
        raise HostError(f"{name!r} is linked from {source!r}: build or remove the arms in that file")
    if armature.data.users > 1:
        raise HostError(
            f"{name!r} shares its bones with {armature.data.users - 1} other users of {armature.data.name!r}: "
            "make the armature single-user first (Object > Relations > Make Single User > Object & Data)"
        )
    if armature.name not in bpy.context.view_layer.objects:
        raise HostError(f"{name!r} is not in the current view layer: enable the collection that it is in")
    if armature.hide_viewport:
        raise HostError(f"{name!r} is disabled in viewports: enable it (the screen icon in the outliner)")


def find_rigs() -> list[bpy.types.Object]:
    """Every armature object of the file that carries arms, by name."""
    return sorted((item for item in bpy.data.objects if has_arms(item)), key=lambda item: item.name)


def arms_in_file() -> tuple[str, ...]:
    """The ids of all arms of the file, each once; none of rigs whose record is damaged."""
    found: dict[str, None] = {}
    # Add-ons are loaded before there is a file.
    for item in getattr(bpy.data, "objects", ()):
        if has_arms(item):
            with suppress(HostError):
                found |= dict.fromkeys(read_record(item).arms)
    return tuple(found)


def require(item: bpy.types.Object | None) -> bpy.types.Object:
    """The armature to work on: `item`, or the armature that deforms it; raises HostError with what to select."""
    if item is None:
        raise HostError("nothing is active: select the character's armature")
    if item.type == "ARMATURE":
        return item
    for modifier in getattr(item, "modifiers", ()):
        if modifier.type == "ARMATURE" and modifier.object is not None:
            return modifier.object
    raise HostError(f"{item.name!r} is a {item.type.lower()} without an armature: select the character's armature")
