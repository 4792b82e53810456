"""Joint markers: empties in the viewport that say where a character's joints are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..core.errors import HostError
from ..core.fit.mesh import Reading
from ..core.guide import SIDES, ArmGuide, FingerGuide, Guide, PivotGuide, TorsoGuide, Vec3

COLLECTION = "Joint markers"
KEY = "armwright_joint"
# Of a marker: the id of its arm ("" for the torso's), its part of it, its place in their order, whether it is a
# thumb's; how sure it is, and whether it was guessed.
ARM, PART, ORDER, THUMB = "armwright_arm", "armwright_part", "armwright_order", "armwright_thumb"
CONFIDENCE, GUESSED = "armwright_confidence", "armwright_guessed"
# Where it was when it was last looked at: later moves are told from it.
SEEN = "armwright_seen"
# Of the collection: the plane that sides are mirrored across, and the character's directions.
PLANE_POINT, PLANE_NORMAL = "armwright_plane_point", "armwright_plane_normal"
UP_KEY, FRONT_KEY = "armwright_up", "armwright_front"
# Markers of an arm in the order of ArmGuide's points; the last two say directions as seen from elbow and hand.
POINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")
DIRECTIONS = ("bend", "palm")
PIVOTS = tuple(item.name for item in fields(PivotGuide))
CURL = "curl"
SIZE, SMALL = 0.035, 0.012
REACH = 0.12


@dataclass(frozen=True)
class _Spot:
    """A marker to make: its part, its place in world space, shape and size in metres for a person's arm."""

    part: str
    at: Vector
    shape: str
    size: float


def find_markers() -> dict[str, bpy.types.Object]:
    """Markers in the file by "<part>.<arm's id>"."""
    return {str(item[KEY]): item for item in bpy.data.objects if KEY in item}


def place(
    guide: Guide, foot: Sequence[float] = (0.0, 0.0, 0.0), readings: Sequence[Reading] = (), torso: bool = False
) -> bpy.types.Collection:
    """Make a marker for every joint of `guide`, which stands on `foot`, world space; all of them or none.

    `readings` say how sure each joint is and which were guessed. With `torso` its joints get markers as well; otherwise
    those of a build are by stature. Raises HostError if there are markers already.
    """
    check_none()
    known = {(reading.side, reading.part): reading for reading in readings}
    origin = Vector(guide.torso.root) if guide.torso is not None else Vector()
    collection = bpy.data.collections.new(COLLECTION)
    try:
        for arm in guide.arms:
            scale = (Vector(arm.wrist) - Vector(arm.shoulder)).length / 0.58
            for spot in _spots(arm, scale):
                reading = known.get((arm.side, spot.part)) if not arm.pair else None
                marker = _marker(collection, arm.id, spot, Vector(foot), scale, reading)
                finger = next((item for item in arm.fingers if spot.part == f"{item.name}.1"), None)
                if finger is not None:
                    marker[THUMB] = finger.thumb
        if torso and guide.torso is not None:
            for spot in _torso_spots(guide.torso):
                _marker(collection, "", spot, Vector(foot), 1.0, None)
        collection[PLANE_POINT] = tuple(origin + Vector(foot))
        collection[PLANE_NORMAL] = tuple(Vector(guide.up).cross(Vector(guide.front)).normalized())
        collection[UP_KEY], collection[FRONT_KEY] = tuple(guide.up), tuple(guide.front)
        bpy.context.scene.collection.children.link(collection)
    except BaseException:
        _delete(collection)
        raise
    return collection


def check_none() -> None:
    """Raises HostError if there are markers already."""
    if find_markers():
        raise HostError("there are joint markers already: move those, or delete them first")


def take_away() -> int:
    """Delete every marker and the collection that held them; how many there were."""
    found = list(find_markers().values())
    for collection in {owner for marker in found for owner in marker.users_collection if PLANE_POINT in owner}:
        others = [item for item in collection.objects if KEY not in item]
        if not others and not collection.children:
            bpy.data.collections.remove(collection)
    for marker in found:
        bpy.data.objects.remove(marker)
    return len(found)


def read(name: str, to_armature: bpy.types.Object | None, guide_torso: Guide) -> Guide:
    """The guide that the markers make, in the space of `to_armature` (world without one); where no markers tell the
    torso, its joints are from `guide_torso`.

    Raises HostError if a marker is missing.
    """
    found = find_markers()
    ids = sorted({arm_of(marker) for marker in found.values()} - {""}, key=lambda arm: arm.rpartition("."))
    if not ids:
        raise HostError("there are no joint markers: place them first, or build from the stature")
    inverse = to_armature.matrix_world.inverted() if to_armature is not None else Matrix()
    arms = tuple(_arm(found, arm, inverse) for arm in ids)
    parts = {part_of(marker) for marker in found.values() if arm_of(marker) == ""}
    guide = Guide(name, arms, torso=guide_torso.torso)
    if parts:
        guide = replace(guide, torso=_torso(found, inverse))
    collection = collection_of(found)
    if collection is not None and UP_KEY in collection:
        turn = inverse.to_3x3()
        guide = replace(guide, up=_unit(turn, collection, UP_KEY), front=_unit(turn, collection, FRONT_KEY))
    return guide


def arm_of(marker: bpy.types.Object) -> str:
    """The id of the marker's arm, such as "L" or "lower.L"; "" for the torso."""
    return str(marker[ARM]) if ARM in marker else str(marker[KEY]).rsplit(".", 1)[1]


def part_of(marker: bpy.types.Object) -> str:
    """What of its arm the marker is, such as "elbow" or "index.2"."""
    return str(marker[PART]) if PART in marker else str(marker[KEY]).rsplit(".", 1)[0]


def collection_of(found: dict[str, bpy.types.Object]) -> bpy.types.Collection | None:
    """The collection of the markers, which knows the character's directions; None if they were taken out of it."""
    owners = (owner for marker in found.values() for owner in marker.users_collection)
    return next((owner for owner in owners if PLANE_POINT in owner), None)


def guessed(found: dict[str, bpy.types.Object]) -> dict[str, tuple[str, ...]]:
    """Parts that were guessed and not moved since, each with the ids of their arms."""
    parts: dict[str, list[str]] = {}
    for marker in found.values():
        if marker.get(GUESSED, False):
            parts.setdefault(part_of(marker), []).append(arm_of(marker))
    return {part: tuple(sorted(arms)) for part, arms in parts.items()}


def _spots(arm: ArmGuide, scale: float) -> Iterator[_Spot]:
    for joint in POINTS:
        yield _Spot(joint, Vector(getattr(arm, joint)), "SPHERE", SIZE)
    reach = REACH * scale
    elbow, hand = Vector(arm.elbow), (Vector(arm.wrist) + Vector(arm.hand_end)) / 2.0
    bend = Vector(arm.bend) if arm.bend is not None else _plain_bend(arm)
    yield _Spot("bend", elbow + reach * bend.normalized(), "CONE", 0.6 * SIZE)
    yield _Spot("palm", hand + reach * Vector(arm.palm).normalized(), "CONE", 0.6 * SIZE)
    for finger in arm.fingers:
        for number, joint_at in enumerate(finger.joints):
            yield _Spot(f"{finger.name}.{number + 1}", Vector(joint_at), "SPHERE", SMALL)
        if finger.curl is not None:
            middle = (Vector(finger.joints[0]) + Vector(finger.joints[1])) / 2.0
            yield _Spot(f"{finger.name}.{CURL}", middle + 0.4 * reach * Vector(finger.curl).normalized(), "CONE", SMALL)
    if arm.pivots is not None:
        for name in PIVOTS:
            yield _Spot(f"pivot.{name}", Vector(getattr(arm.pivots, name)), "PLAIN_AXES", SMALL)


def _torso_spots(torso: TorsoGuide) -> Iterator[_Spot]:
    yield _Spot("root", Vector(torso.root), "SPHERE", SIZE)
    for number, joint in enumerate(torso.chain):
        yield _Spot(f"torso.{number + 1}", Vector(joint), "SPHERE", SIZE)
    yield _Spot("head", Vector(torso.head), "SPHERE", SIZE)


def _arm(found: dict[str, bpy.types.Object], arm: str, inverse: Matrix) -> ArmGuide:
    point = _Points(found, arm, inverse)
    joints = {joint: point.at(joint) for joint in POINTS}
    hand = (Vector(joints["wrist"]) + Vector(joints["hand_end"])) / 2.0
    pivots = [f"pivot.{name}" for name in PIVOTS]
    pair, _, side = arm.rpartition(".")
    if side not in SIDES:
        raise HostError(f"the markers of the arm {arm!r} have no side: give them back the names that they had")
    return ArmGuide(
        side=side,
        **joints,
        palm=tuple(Vector(point.at("palm")) - hand),
        bend=tuple(Vector(point.at("bend")) - Vector(joints["elbow"])),
        fingers=_fingers(point),
        pivots=PivotGuide(*map(point.at, pivots)) if any(point.has(pivot) for pivot in pivots) else None,
        pair=pair,
    )


def _fingers(point: _Points) -> tuple[FingerGuide, ...]:
    """The fingers in the order in which their markers were made."""
    numbers: dict[str, int] = {}
    for part in point.parts:
        finger, _, number = part.partition(".")
        if number.isdigit():
            numbers[finger] = max(numbers.get(finger, 0), int(number))
    fingers = []
    for finger, count in numbers.items():
        joints = tuple(point.at(f"{finger}.{number + 1}") for number in range(count))
        curl: Vec3 | None = None
        if point.has(f"{finger}.{CURL}") and count > 1:
            middle = (Vector(joints[0]) + Vector(joints[1])) / 2.0
            curl = tuple(Vector(point.at(f"{finger}.{CURL}")) - middle)
        fingers.append(FingerGuide(finger, joints, curl, bool(point.marker(f"{finger}.1").get(THUMB, False))))
    return tuple(sorted(fingers, key=lambda finger: int(point.marker(f"{finger.name}.1").get(ORDER, 0))))


def _torso(found: dict[str, bpy.types.Object], inverse: Matrix) -> TorsoGuide:
    point = _Points(found, "", inverse)
    count = max((int(part.split(".")[1]) for part in point.parts if part.startswith("torso.")), default=0)
    chain = tuple(point.at(f"torso.{number + 1}") for number in range(count))
    return TorsoGuide(point.at("root"), chain, point.at("head"))


class _Points:
    """Places of one arm's markers in the space that `inverse` leads to."""

    def __init__(self, found: dict[str, bpy.types.Object], arm: str, inverse: Matrix) -> None:
        self.arm, self.inverse = arm, inverse
        self.parts = {part_of(marker): marker for marker in found.values() if arm_of(marker) == arm}

    def has(self, part: str) -> bool:
        return part in self.parts

    def marker(self, part: str) -> bpy.types.Object:
        """Raises HostError if it is missing."""
        if part not in self.parts:
            name = key_of(part, self.arm)
            raise HostError(
                f"the marker {name} is missing: undo its removal, or delete all markers and place them again"
            )
        return self.parts[part]

    def at(self, part: str) -> Vec3:
        return tuple(self.inverse @ self.marker(part).matrix_world.translation)


def key_of(part: str, arm: str) -> str:
    """ "elbow.L"; a part of the torso is its own."""
    return f"{part}.{arm}" if arm else part


def _unit(turn: Matrix, collection: bpy.types.Collection, key: str) -> Vec3:
    direction = np.array(turn @ Vector(collection[key]), float)
    x, y, z = direction / np.linalg.norm(direction)
    return float(x), float(y), float(z)


def _plain_bend(arm: ArmGuide) -> Vector:
    """Where the elbow points: away from the line between shoulder and wrist."""
    shoulder, elbow, wrist = Vector(arm.shoulder), Vector(arm.elbow), Vector(arm.wrist)
    line = (wrist - shoulder).normalized()
    off = elbow - shoulder
    return off - line * off.dot(line)


def _marker(
    collection: bpy.types.Collection, arm: str, spot: _Spot, foot: Vector, scale: float, reading: Reading | None
) -> bpy.types.Object:
    key = key_of(spot.part, arm)
    marker = bpy.data.objects.new(key, None)
    is_guessed = reading is not None and reading.guessed
    # A guess looks different without its colour as well.
    marker.empty_display_type = "CUBE" if is_guessed and spot.shape == "SPHERE" else spot.shape
    marker.empty_display_size = spot.size * scale
    marker.show_name = spot.size > SMALL
    marker.show_in_front = True
    marker.location = spot.at + foot
    marker[KEY], marker[ARM], marker[PART] = key, arm, spot.part
    marker[ORDER], marker[SEEN] = len(collection.objects), tuple(marker.location)
    if reading is not None:
        marker[CONFIDENCE], marker[GUESSED] = float(reading.confidence), bool(reading.guessed)
    collection.objects.link(marker)
    return marker


def _delete(collection: bpy.types.Collection) -> None:
    for marker in list(collection.objects):
        bpy.data.objects.remove(marker)
    bpy.data.collections.remove(collection)
