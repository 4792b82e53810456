"""Poses of a hand that every character starts from: relaxed, fist, flat; as dials and channels (docs/arm.md, "The
hand")."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .solve.fingers import Finger, FingerGeometry

Array = NDArray[np.float64]

RELAXED, FIST, FLAT = "relaxed hand", "fist", "flat hand"
# Curl of a hand at ease: it rises from the index to the little finger (common practice).
RELAXED_FIRST, RELAXED_LAST, RELAXED_THUMB = 0.12, 0.3, 0.1


@dataclass(frozen=True)
class HandPose:
    """Values of a hand's dials, and Euler channels (K, 3) of each finger's controls, radians, by the finger's name."""

    curl: float
    spread: float
    own: Mapping[str, float]
    channels: Mapping[str, Array]


def hand_poses(geometry: FingerGeometry) -> dict[str, HandPose]:
    """The poses of one hand, by name.

    The dials make the shape. The controls take out the bends that the fingers have at rest, so that a pose is the same
    however the character was modelled, and a fist closes each joint by its range and no further.
    """
    straight = {finger.name: _straight(geometry, finger) for finger in geometry.fingers}
    none = dict.fromkeys(straight, 0.0)
    return {
        RELAXED: HandPose(0.0, 0.0, _at_ease(geometry), straight),
        FIST: HandPose(1.0, 0.0, none, straight),
        FLAT: HandPose(0.0, 0.0, none, straight),
    }


def _at_ease(geometry: FingerGeometry) -> dict[str, float]:
    fingers = [finger.name for finger in geometry.fingers if not finger.thumb]
    steps = np.linspace(RELAXED_FIRST, RELAXED_LAST, len(fingers))
    rising = {name: round(float(value), 3) for name, value in zip(fingers, steps, strict=True)}
    return {finger.name: rising.get(finger.name, RELAXED_THUMB) for finger in geometry.fingers}


def _straight(geometry: FingerGeometry, finger: Finger) -> Array:
    """Turns about the hinges that bring each bone as near to the line of the one before as its hinge lets it, and a
    finger's root into the palm's plane; a thumb's root stands as it was modelled."""
    out = np.zeros((len(finger.frames), 3))
    palm = geometry.hand[:3, 2]
    line = finger.frames[0][:3, 1]
    before = line if finger.thumb else line - palm * (line @ palm)
    for place, frame in enumerate(finger.frames):
        local = frame[:3, :3].T @ before
        # rot_x(t) takes Y to (0, cos t, sin t).
        out[place, 0] = np.arctan2(local[2], local[1])
        before = frame[:3, 1]
    return out
