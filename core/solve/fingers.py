"""Reference for fingers: from the hand's poses, channels and dials to every finger bone, in batches (docs/arm.md, "The
hand").

Metres, radians, armature space; matrices act on columns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..anatomy import FINGER_ABDUCTION, FINGER_FLEXION, THUMB_FLEXION
from ..rotations import axis_matrix, euler_to_matrix

Array = NDArray[np.float64]

# Hinge first, the sideways turn last.
ORDER = "XYZ"
CURL_RANGE = (-0.5, 1.0)
# Narrower than this part of the longest root bone, a row of roots has no sides.
NARROW = 0.01
# Cosine below which an axis counts as turned over.
TURNED_OVER = -1e-4


@dataclass(frozen=True, eq=False)
class Finger:
    """One finger at rest: `frames` (K, 4, 4), root first, heads at the joints; `tip` (3,); `thumb`: the hand carries it
    and not the knuckles."""

    name: str
    frames: Array
    tip: Array
    thumb: bool


@dataclass(frozen=True, eq=False)
class FingerGeometry:
    """A hand's fingers at rest: `hand` (4, 4), `knuckles` (3,), where the part that carries the fingers turns about the
    hand's X, and the fingers in the order of the guide."""

    hand: Array
    knuckles: Array
    fingers: tuple[Finger, ...]


@dataclass(frozen=True, eq=False)
class FingerSettings:
    """N poses of a hand's fingers.

    Attributes:
        curl, spread: dials of all fingers, (N,).
        own: each finger's curl dial, (N,), by its name.
        channels: each finger's Euler channels, (N, K, 3), by its name.
    """

    curl: Array
    spread: Array
    own: Mapping[str, Array]
    channels: Mapping[str, Array]


def solve_fingers(
    geometry: FingerGeometry, hand: Array, base_turn: Array, settings: FingerSettings
) -> dict[str, Array]:
    """Poses (N, K, 4, 4) of each finger's bones, by its name.

    Args:
        hand: (N, 4, 4), poses of the hand, rigid.
        base_turn: (N,), how far the fingers' base is turned about the hand's X at the knuckles.
    """
    carried = hand @ _inverse(geometry.hand)
    knuckles = geometry.hand.copy()
    knuckles[:3, 3] = geometry.knuckles
    rolled = carried @ knuckles @ _turned(axis_matrix("X", base_turn)) @ _inverse(knuckles)
    return {
        finger.name: _finger(
            finger,
            carried if finger.thumb else rolled,
            np.clip(settings.curl + settings.own[finger.name], *CURL_RANGE),
            settings.spread * aside(geometry, finger),
            settings.channels[finger.name],
        )
        for finger in geometry.fingers
    }


def _finger(finger: Finger, carrier: Array, curl: Array, spread: Array, channels: Array) -> Array:
    """Poses (N, K, 4, 4): rest frames one after the other, each turned by dials and then by its channels."""
    out = np.empty((len(carrier), len(finger.frames), 4, 4))
    limits = bend_limits(finger)
    for place, (rest, limit) in enumerate(zip(finger.frames, limits, strict=True)):
        turn = axis_matrix("X", curl * limit) @ euler_to_matrix(channels[:, place], ORDER)
        if place == 0:
            turn = axis_matrix("Z", spread) @ turn
        out[:, place] = carrier @ rest @ _turned(turn)
        carrier = out[:, place] @ _inverse(rest)
    return out


def bend_limits(finger: Finger) -> Array:
    """Turn of each bone at a curl of 1, (K,), radians."""
    count = len(finger.frames)
    table = np.radians(THUMB_FLEXION if finger.thumb else FINGER_FLEXION)
    if count > len(table):
        return np.full(count, table.sum() / count)
    return np.asarray(table[-count:] if finger.thumb else table[:count])


def aside(geometry: FingerGeometry, finger: Finger) -> float:
    """Turn of a finger's root about its Z at a spread of 1, radians."""
    most = float(np.radians(FINGER_ABDUCTION))
    others = [item for item in geometry.fingers if not item.thumb]
    x_axis = finger.frames[0][:3, 0]
    if finger.thumb:
        away = np.mean([item.tip for item in others], axis=0) - finger.tip if others else geometry.hand[:3, 1]
        return -most if x_axis @ away < TURNED_OVER * np.linalg.norm(away) else most
    roots = np.array([item.frames[0][:3, 3] for item in others]) @ geometry.hand[:3, 0]
    low, high = roots.min(), roots.max()
    longest = max(_root_length(item) for item in others)
    if high - low <= 2.0 * NARROW * longest:
        return 0.0
    place = 2.0 * (finger.frames[0][:3, 3] @ geometry.hand[:3, 0] - low) / (high - low) - 1.0
    over = x_axis @ geometry.hand[:3, 0] < TURNED_OVER
    return float(most * place * (1.0 if over else -1.0))


def _root_length(finger: Finger) -> float:
    end = finger.frames[1][:3, 3] if len(finger.frames) > 1 else finger.tip
    return float(np.linalg.norm(end - finger.frames[0][:3, 3]))


def _turned(turns: Array) -> Array:
    """Turns (N, 3, 3) as frames (N, 4, 4)."""
    out = np.zeros((*turns.shape[:-2], 4, 4))
    out[..., :3, :3], out[..., 3, 3] = turns, 1.0
    return out


def _inverse(frame: Array) -> Array:
    """Inverse of a rigid frame (4, 4)."""
    out = np.eye(4)
    out[:3, :3] = frame[:3, :3].T
    out[:3, 3] = -frame[:3, :3].T @ frame[:3, 3]
    return out
