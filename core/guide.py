"""Joint guide: where a character's joints are, whatever way they were placed.

All points are in the space of the armature that is or will be built, in metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

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
class FingerGuide:
    """Joints of one finger, armature space, metres.

    Attributes:
        name: part of its bones' names, such as "index"; lower-case letters and underscores.
        joints: from the root (knuckle) to the tip, two or more.
        curl: direction towards which it closes; need not be a unit; None is the hand's palm.
        thumb: whether it stands apart: it is carried by the hand and not by the knuckles, so that a hand that rolls
            over its knuckles lifts it.
    """

    name: str
    joints: tuple[Vec3, ...]
    curl: Vec3 | None = None
    thumb: bool = False


@dataclass(frozen=True)
class PivotGuide:
    """Points that a planted hand rolls over, armature space, metres.

    Attributes:
        heel: next to the wrist, on the palm's side.
        palm: where the hand spins.
        knuckles: between palm and fingers; the fingers stay where they are while the hand rolls over it.
        fingertips: under the tips.
        thumb_edge, outer_edge: the palm's borders on the side of the thumb and on the other one.
    """

    heel: Vec3
    palm: Vec3
    knuckles: Vec3
    fingertips: Vec3
    thumb_edge: Vec3
    outer_edge: Vec3


@dataclass(frozen=True)
class GirthGuide:
    """How thick an arm is with its clothes, metres: what its controls are drawn around.

    Attributes:
        upper_arm, forearm: radii at the middle.
        hand_width, hand_depth: half the palm's width and half its thickness.
    """

    upper_arm: float
    forearm: float
    hand_width: float
    hand_depth: float


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
        fingers: in the order from the thumb's side to the other; none for a mitten or a hoof.
        pivots: points that the planted hand rolls over; None puts them by proportion (`hand_frames.pivots`).
        girth: how thick it is; None for a person's proportions.
        pair: tells the arms of a side apart where there are several, such as "lower"; "" for the first pair.
    """

    side: str
    clavicle: Vec3
    shoulder: Vec3
    elbow: Vec3
    wrist: Vec3
    hand_end: Vec3
    palm: Vec3
    bend: Vec3 | None = None
    fingers: tuple[FingerGuide, ...] = ()
    pivots: PivotGuide | None = None
    girth: GirthGuide | None = None
    pair: str = ""

    @property
    def id(self) -> str:
        """What the arm is called in roles, ids and the end of bones' names: "L", or "lower.L" of another pair."""
        return f"{self.pair}.{self.side}" if self.pair else self.side


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
        fingers=tuple(
            replace(
                finger,
                joints=tuple(_across(joint) for joint in finger.joints),
                curl=None if finger.curl is None else _across(finger.curl),
            )
            for finger in arm.fingers
        ),
        pivots=None
        if arm.pivots is None
        else PivotGuide(*(_across(getattr(arm.pivots, item.name)) for item in fields(PivotGuide))),
        girth=arm.girth,
        pair=arm.pair,
    )


def _across(vector: Vec3) -> Vec3:
    # Subtracting from 0 keeps 0 without a sign, so that a guide's text does not change by mirroring twice.
    return (0.0 - vector[0], vector[1], vector[2])
