"""Joint markers: empties in the viewport that say where a character's joints are."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
from mathutils import Vector

from ..core.errors import HostError
from ..core.guide import ArmGuide, Guide, Vec3

COLLECTION = "Joint markers"
KEY = "armwright_joint"
# Markers of an arm in the order of ArmGuide's points; the last two say directions as seen from elbow and hand.
POINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")
DIRECTIONS = ("bend", "palm")
SIZE = 0.035
REACH = 0.12


def find_markers() -> dict[str, bpy.types.Object]:
    """Markers in the file by "<joint>.<arm's id>"."""
    return {str(item[KEY]): item for item in bpy.data.objects if KEY in item}


def place(guide: Guide, foot: Sequence[float] = (0.0, 0.0, 0.0)) -> bpy.types.Collection:
    """Make a marker for every joint of `guide`, which stands on `foot`, world space.

    Raises HostError if there are markers already.
    """
    if find_markers():
        raise HostError("there are joint markers already: move those, or delete them first")
    collection = bpy.data.collections.new(COLLECTION)
    bpy.context.scene.collection.children.link(collection)
    for arm in guide.arms:
        for joint in POINTS:
            _marker(collection, f"{joint}.{arm.id}", getattr(arm, joint), "SPHERE", SIZE)
        elbow, hand = Vector(arm.elbow), (Vector(arm.wrist) + Vector(arm.hand_end)) / 2.0
        bend = Vector(arm.bend) if arm.bend is not None else _plain_bend(arm)
        _marker(collection, f"bend.{arm.id}", elbow + REACH * bend.normalized(), "CONE", 0.6 * SIZE)
        _marker(collection, f"palm.{arm.id}", hand + REACH * Vector(arm.palm).normalized(), "CONE", 0.6 * SIZE)
    for marker in collection.objects:
        marker.location += Vector(foot)
    return collection


def read(name: str, to_armature: bpy.types.Object | None, guide_torso: Guide) -> Guide:
    """The guide that the markers make, in the space of `to_armature` (world without one); torso joints from
    `guide_torso`.

    Raises HostError if a marker is missing.
    """
    found = find_markers()
    ids = sorted({key.partition(".")[2] for key in found}, key=lambda arm: arm.rpartition("."))
    if not ids:
        raise HostError("there are no joint markers: place them first, or build from the stature")
    inverse = to_armature.matrix_world.inverted() if to_armature is not None else None

    def point(joint: str, arm: str) -> Vec3:
        marker = found.get(f"{joint}.{arm}")
        if marker is None:
            raise HostError(
                f"the marker {joint}.{arm} is missing: undo its removal, or delete all markers and place them again"
            )
        world = marker.matrix_world.translation
        return tuple(inverse @ world if inverse is not None else world)

    arms = []
    for arm in ids:
        pair, _, side = arm.rpartition(".")
        joints = {joint: point(joint, arm) for joint in POINTS}
        hand = (Vector(joints["wrist"]) + Vector(joints["hand_end"])) / 2.0
        arms.append(
            ArmGuide(
                side=side,
                pair=pair,
                **joints,
                palm=tuple(Vector(point("palm", arm)) - hand),
                bend=tuple(Vector(point("bend", arm)) - Vector(joints["elbow"])),
            )
        )
    return Guide(name, tuple(arms), torso=guide_torso.torso)


def _plain_bend(arm: ArmGuide) -> Vector:
    """Where the elbow points: away from the line between shoulder and wrist."""
    shoulder, elbow, wrist = Vector(arm.shoulder), Vector(arm.elbow), Vector(arm.wrist)
    line = (wrist - shoulder).normalized()
    off = elbow - shoulder
    return off - line * off.dot(line)


def _marker(collection: bpy.types.Collection, key: str, at: Vec3 | Vector, shape: str, size: float) -> None:
    marker = bpy.data.objects.new(key, None)
    marker.empty_display_type = shape
    marker.empty_display_size = size
    marker.show_name = True
    marker.show_in_front = True
    marker.location = at
    marker[KEY] = key
    collection.objects.link(marker)
