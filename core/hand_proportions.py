"""Fingers by proportion, where there is no mesh to read them from: a straight hand's five fingers.

Lengths over the hand's (wrist to the middle finger's tip): phalanges and metacarpals after Buryanov & Kotiuk 2010,
Int J Morphol 28:755 (from memory), over a hand of 188 mm. Places across the palm: common practice.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .guide import ArmGuide, FingerGuide, Guide, Vec3
from .hand_frames import frame_along

Array = NDArray[np.float64]

# name: across the palm towards the thumb, along the hand to the root, lengths of the bones root first.
FINGERS: tuple[tuple[str, float, float, tuple[float, ...]], ...] = (
    ("index", 0.14, 0.525, (0.212, 0.119, 0.084)),
    ("middle", 0.03, 0.53, (0.237, 0.140, 0.093)),
    ("ring", -0.08, 0.50, (0.220, 0.137, 0.092)),
    ("little", -0.18, 0.455, (0.174, 0.096, 0.085)),
)
THUMB = (0.10, 0.12, (0.246, 0.168, 0.115))
# How far the thumb stands off the hand's line to its side, and off the palm, radians.
THUMB_ASIDE, THUMB_FORWARD = math.radians(38.0), math.radians(15.0)


def with_hands(guide: Guide) -> Guide:
    """`guide` with a thumb and four fingers on every hand that has no fingers yet. Raises GuideError."""
    return replace(guide, arms=tuple(arm if arm.fingers else with_fingers(arm) for arm in guide.arms))


def with_fingers(arm: ArmGuide) -> ArmGuide:
    """`arm`, whose hand's end is at its fingertips, with a thumb and four fingers of three bones each.

    Raises GuideError for a hand without length or with a palm along it.
    """
    wrist, end = np.array(arm.wrist, float), np.array(arm.hand_end, float)
    hand = frame_along(wrist, end, np.cross(end - wrist, np.array(arm.palm)), f"{arm.id} arm: hand and palm")
    length = float(np.linalg.norm(end - wrist))
    thumb_side = -1.0 if arm.side == "L" else 1.0

    def chain(across: float, along: float, lengths: tuple[float, ...], direction: Array) -> tuple[Vec3, ...]:
        ends = np.concatenate([[0.0], np.cumsum(lengths)])
        points = np.array([thumb_side * across, along, 0.0]) + np.outer(ends, direction)
        placed = hand[:3, 3] + length * points @ hand[:3, :3].T
        return tuple((float(x), float(y), float(z)) for x, y, z in placed)

    aside, forward = math.sin(THUMB_ASIDE), math.sin(THUMB_FORWARD)
    outwards = np.array([thumb_side * aside, math.sqrt(1.0 - aside**2 - forward**2), forward])
    # A thumb closes across the palm: towards the other side and the palm alike.
    towards = hand[:3, :3] @ np.array([-thumb_side, 0.0, 1.0])
    thumb = FingerGuide(
        "thumb", chain(*THUMB, outwards), curl=(float(towards[0]), float(towards[1]), float(towards[2])), thumb=True
    )
    along = np.array([0.0, 1.0, 0.0])
    fingers = tuple(FingerGuide(name, chain(across, root, bones, along)) for name, across, root, bones in FINGERS)
    return replace(arm, fingers=(thumb, *fingers))
