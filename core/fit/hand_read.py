"""All that a hand's surface tells: its end, its palm, its fingers, and the points that it rolls over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..guide import FingerGuide, PivotGuide, Vec3
from .fingers import HandRead, fingers_of
from .hand import Palm, palm_of
from .hand_surface import HandSurface, hand_surface
from .joints import ArmJoints, Read
from .pivots import pivots_of
from .surface import Array, Net
from .walk import Limb

# A hand of fewer corners is too coarse to tell fingers: five take about a hundred.
FEWEST_CORNERS = 80
BY_KNUCKLES = 0.9


@dataclass(frozen=True)
class HandParts:
    """A hand of the guide.

    Attributes:
        end: its end: where it has fingers, the tip of the longest that is not at the border of the row.
        readings: part, confidence and whether it was guessed, for what is not an arm's own joint.
        notes: what the user should look at, sentences that begin after "the left hand".
    """

    end: Read
    palm: Palm
    fingers: tuple[FingerGuide, ...]
    pivots: PivotGuide | None
    readings: tuple[tuple[str, float, bool], ...]
    notes: tuple[str, ...]


def read_hand(net: Net, limb: Limb, joints: ArmJoints, left: bool) -> HandParts:
    """The hand of the arm `limb` with the joints `joints`; `net` has its axes to the left, to the back, and up."""
    wrist, end = joints.wrist.point, joints.hand_end.point
    outward = np.array([1.0 if left else -1.0, 0.0, 0.0])
    # A palm faces down in a T-pose and inwards where the arm hangs: where both count, the hand's direction decides.
    usual = -outward - np.array([0.0, 0.0, 1.0])
    surface = hand_surface(net, limb, wrist, end)
    # A stub, whose wrist could only be guessed, has a thin direction too, but it says nothing about a palm.
    patches = limb.patches[:0] if joints.wrist.guessed else limb.patches
    palm = palm_of(net.points[patches], net.areas[patches], wrist, end, left, usual)
    read = HandRead((), None, "") if surface is None else fingers_of(surface, left, palm.direction)
    if surface is None or not read.fingers or read.palm is None:
        note = _without_fingers(palm, read.note, surface)
        pivots = None if surface is None or palm.guessed else _pivots(surface, read, palm.direction, left)
        alone: tuple[tuple[str, float, bool], ...] = (
            (("pivots", 0.8 * palm.confidence, False),) if pivots is not None else ()
        )
        return HandParts(joints.hand_end, palm, (), pivots, alone, (note,))
    tips = [finger.chain.joints[-1] for finger in read.fingers if not finger.thumb]
    # The middle finger's, or what comes nearest to one.
    middle = tips[1:-1] if len(tips) > 2 else tips
    tip = max(middle, key=lambda point: float((point - wrist) @ surface.axis))
    confidence = BY_KNUCKLES if len(tips) >= 3 else palm.confidence
    palm = Palm(read.palm, confidence if read.signed else 0.6 * confidence, False, read.signed)
    fingers = tuple(
        FingerGuide(finger.name, tuple(map(vec, finger.chain.joints)), vec(finger.curl), finger.thumb)
        for finger in read.fingers
    )
    pivots = _pivots(surface, read, read.palm, left)
    readings = tuple(
        (f"{finger.name}.{number + 1}", sure, guessed)
        for finger in read.fingers
        for number, (sure, guessed) in enumerate(zip(finger.chain.confidence, finger.chain.guessed, strict=True))
    )
    if pivots is not None:
        readings += (("pivots", 0.9 * palm.confidence, False),)
    convention = "has straight fingers and no thumb, so its palm was told from its back by convention: check it"
    notes = () if read.signed else (convention,)
    return HandParts(Read(tip, 0.95, False), palm, fingers, pivots, readings, notes)


def _pivots(hand: HandSurface, read: HandRead, palm: Array, left: bool) -> PivotGuide | None:
    upright = palm - hand.axis * float(palm @ hand.axis)
    upright = upright / np.linalg.norm(upright)
    # Fingers x thumb points out of a left palm, and into a right one.
    return pivots_of(hand, read, upright, np.cross(upright, hand.axis) * (1.0 if left else -1.0))


def _without_fingers(palm: Palm, note: str, surface: HandSurface | None) -> str:
    if palm.guessed:
        return "is a stub or has no flat side, so its palm was guessed and it has no fingers: check where it faces"
    if surface is None or surface.corners < FEWEST_CORNERS:
        few = 0 if surface is None else surface.corners
        return f"has {few} vertices, too few to tell fingers: give the mesh before its polygons were reduced"
    return f"{note}: no fingers were read"


def vec(vector: Array) -> Vec3:
    """Three plain numbers."""
    return float(vector[0]), float(vector[1]), float(vector[2])
