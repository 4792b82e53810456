"""Markers mirrored live: what is moved on one side moves on the other, as long as the scene's setting is on.

By a handler, and not by drivers: the markers stay plain objects that any host shows where they are.
"""

from __future__ import annotations

import bpy
from bpy.app.handlers import persistent
from mathutils import Vector

from .marker_objects import (
    GUESSED,
    KEY,
    PLANE_NORMAL,
    PLANE_POINT,
    SEEN,
    arm_of,
    collection_of,
    find_markers,
    key_of,
    part_of,
)

# Markers nearer than this part of their distance to the plane are where they were.
SAME = 1e-6
OTHER = {"L": "R", "R": "L"}


def mirror_moved() -> int:
    """Move the other side's marker of each that was moved; how many moved so.

    Where both sides were moved, each stays where it was put. What was moved by hand is no longer a guess.
    """
    found = find_markers()
    collection = collection_of(found)
    if collection is None:
        return 0
    moved = [marker for marker in found.values() if _is_moved(marker)]
    names = {str(marker[KEY]) for marker in moved}
    settings = getattr(bpy.context.scene, "armwright_build", None)
    is_on = settings is not None and settings.mirror_markers
    done = 0
    for marker in moved:
        others = [found[name] for name in (_other(marker),) if name in found and name not in names]
        for item in (marker, *(others if is_on else ())):
            if item is not marker:
                item.location = _image(marker, collection)
                done += 1
            if item.get(GUESSED, False):
                item[GUESSED] = False
                item.empty_display_type = "SPHERE" if item.empty_display_type == "CUBE" else item.empty_display_type
            item[SEEN] = tuple(item.location)
    return done


def _is_moved(marker: bpy.types.Object) -> bool:
    if SEEN not in marker:
        return False
    seen = Vector(marker[SEEN])
    return bool((marker.location - seen).length > SAME * max(1.0, seen.length))


def _other(marker: bpy.types.Object) -> str:
    pair, _, side = arm_of(marker).rpartition(".")
    if side not in OTHER:
        return ""
    return key_of(part_of(marker), f"{pair}.{OTHER[side]}" if pair else OTHER[side])


def _image(marker: bpy.types.Object, collection: bpy.types.Collection) -> Vector:
    point, normal = Vector(collection[PLANE_POINT]), Vector(collection[PLANE_NORMAL])
    return marker.location - 2.0 * (marker.location - point).dot(normal) * normal


@persistent  # type: ignore[untyped-decorator]
def on_update(scene: bpy.types.Scene, graph: bpy.types.Depsgraph) -> None:
    """After each evaluation; does nothing unless a marker's place is among what changed."""
    if any(
        update.is_updated_transform and isinstance(update.id, bpy.types.Object) and KEY in update.id
        for update in graph.updates
    ):
        mirror_moved()


def attach() -> None:
    """Look at every evaluation."""
    bpy.app.handlers.depsgraph_update_post.append(on_update)


def detach() -> None:
    """The mirror image of `attach`."""
    bpy.app.handlers.depsgraph_update_post.remove(on_update)
