"""Joint guide: where a character's joints are, whatever way they were placed.

All points are in the space of the armature that is or will be built, in metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .errors import GuideError

Vec3 = tuple[float, float, float]

SIDES = ("L", "R")
UP: Vec3 = (0.0, 0.0, 1.0)
FRONT: Vec3 = (0.0, -1.0, 0.0)

# A segment shorter than this part of the arm can not be told from a slip of the hand.
SHORTEST_SEGMENT = 0.02
# Below this flexion the plane of elbow and wrist is noise, and the bend side has to be given.
STRAIGHT_ELBOW = math.radians(1.0)


@dataclass(frozen=True)
class ArmGuide:
    """Joints of one arm, armature space, metres.

    Attributes:
        side: "L" or "R"; the end of every bone's name.
        clavicle: the clavicle's inner end; the whole shoulder turns about it.
        shoulder, elbow, wrist: the joints.
        hand_end: the far end of the hand (knuckles or fingertips).
        palm: direction out of the palm; need not be a unit.
        bend: direction in which the elbow points; None reads it from the bend, which must then be plain.
    """

    side: str
    clavicle: Vec3
    shoulder: Vec3
    elbow: Vec3
    wrist: Vec3
    hand_end: Vec3
    palm: Vec3
    bend: Vec3 | None = None


@dataclass(frozen=True)
class TorsoGuide:
    """Joints of a new armature's torso, armature space, metres: a root at the floor, a chain, a head stub.

    Attributes:
        root: the floor point under the character.
        chain: joints from the hips to the base of the neck, two or more, bottom first.
        head: top of the head.
    """

    root: Vec3
    chain: tuple[Vec3, ...]
    head: Vec3


@dataclass(frozen=True)
class Guide:
    """All that a build needs to know about where things are.

    Attributes:
        name: the character's name, for files and reports.
        arms: one ArmGuide or more.
        torso: joints of the torso to build; None when the arms go onto an existing armature.
        up, front: the character's directions, units.
    """

    name: str
    arms: tuple[ArmGuide, ...]
    torso: TorsoGuide | None = None
    up: Vec3 = UP
    front: Vec3 = FRONT


def mirrored(arm: ArmGuide) -> ArmGuide:
    """The same arm on the other side, mirrored across the plane x = 0 of the armature.

    Raises GuideError for a side that is not one of SIDES.
    """
    if arm.side not in SIDES:
        raise GuideError(f"the arm has the side {arm.side!r}: it has to be one of {', '.join(SIDES)}")
    return ArmGuide(
        side=SIDES[1 - SIDES.index(arm.side)],
        clavicle=_across(arm.clavicle),
        shoulder=_across(arm.shoulder),
        elbow=_across(arm.elbow),
        wrist=_across(arm.wrist),
        hand_end=_across(arm.hand_end),
        palm=_across(arm.palm),
        bend=None if arm.bend is None else _across(arm.bend),
    )


def _across(vector: Vec3) -> Vec3:
    # Subtracting from 0 keeps 0 without a sign, so that a guide's text does not change by mirroring twice.
    return (0.0 - vector[0], vector[1], vector[2])
