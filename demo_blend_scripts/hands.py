"""Wren's mittens: a palm, fingers that curl together, a thumb; and the curl as a shape key, for what a hand grips."""

from __future__ import annotations

import numpy as np

from ..core.frames import ArmFrames
from .shaping import Array, Sheet, ring_faces

# At a hand of 0.184 m, wrist to fingertips, in the hand's axes: Y along the hand, Z out of the palm.
BUILT_LENGTH = 0.1836
AROUND = 16
# (y, half width, half thickness)
PALM_RINGS = (
    (-0.050, 0.026, 0.026),
    (-0.020, 0.030, 0.028),
    (0.005, 0.034, 0.028),
    (0.030, 0.042, 0.027),
    (0.055, 0.047, 0.026),
    (0.075, 0.048, 0.025),
    (0.092, 0.047, 0.024),
    (0.106, 0.046, 0.023),
    (0.120, 0.045, 0.022),
    (0.134, 0.043, 0.021),
    (0.148, 0.041, 0.020),
    (0.162, 0.036, 0.018),
    (0.173, 0.027, 0.014),
    (0.180, 0.014, 0.008),
)
KNUCKLES = 0.072
FINGERS = 0.110
RELAXED = 0.55
# The fingers' middle line then runs around the gallery's rail with room for the mitten's own thickness.
GRIP = 2.02
# Where the middle of what is gripped lies in the hand's axes, metres: on the palm's skin, inside the fingers' arc.
GRIPPED = (0.0, 0.073, 0.0545)
GRIP_SHAPE = "grip"
# Fingers laid flat, for what a palm braces on: just so much curl that their pads touch where the thicker palm does.
FLAT = 0.19
FLAT_SHAPE = "flat"
# The palm's skin, and the line that a flat hand rolls off over, under the fingers' ends: metres in the hand's axes.
PALM_SKIN = 0.0285
FINGERTIPS = (0.0, 0.170, PALM_SKIN)
# Thick knitted mittens.
PLUMP = np.array([1.12, 1.0, 1.10])


def hand_points(sheet: Sheet, arm: ArmFrames) -> dict[str, Array]:
    """Add one relaxed mitten to the sheet; return its vertices (N, 3), armature space, by shape."""
    size = arm.hand_length / BUILT_LENGTH
    # Thumbs face each other: the hand's X axis points to the little finger on the left, away from it on the right.
    thumb_side = -1.0 if arm.side == "L" else 1.0
    straight, faces = _straight(thumb_side)
    straight *= PLUMP
    relaxed, grip, flat = (_placed(arm, size * _curled(straight, turn, thumb_side)) for turn in (RELAXED, GRIP, FLAT))
    sheet.add(relaxed, faces, 0, f"hand.{arm.side}")
    return {GRIP_SHAPE: grip, FLAT_SHAPE: flat}


def _straight(thumb_side: float) -> tuple[Array, list[tuple[int, ...]]]:
    angles = 2.0 * np.pi * np.arange(AROUND) / AROUND
    c, s = np.cos(angles), np.sin(angles)
    c, s = np.sign(c) * np.abs(c) ** 0.8, np.sign(s) * np.abs(s) ** 0.8
    palm = np.stack([np.stack([w * c, np.full(AROUND, y), h * s], axis=-1) for y, w, h in PALM_RINGS])
    faces = ring_faces(len(palm), AROUND, cap_start=True, cap_end=True)
    base = np.array([thumb_side * 0.022, 0.012, 0.006])
    tip = np.array([thumb_side * 0.074, 0.084, 0.026])
    rows = np.linspace(0.0, 1.0, 8)
    along = (tip - base) / np.linalg.norm(tip - base)
    side = np.cross(along, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, along)
    thumb = []
    for row in rows:
        radius = 0.0235 * np.sqrt(max(1e-3, 1.0 - max(0.0, (row - 0.62) / 0.385) ** 2)) * (1.0 - 0.12 * row)
        thumb.append(
            base + row * (tip - base) + radius * (np.cos(angles)[:, None] * side + np.sin(angles)[:, None] * up)
        )
    start = len(palm) * AROUND
    faces += [tuple(start + i for i in face) for face in ring_faces(8, AROUND, cap_start=True, cap_end=True)]
    return np.concatenate([palm.reshape(-1, 3), np.concatenate(thumb)]), faces


def _curled(points: Array, turn: float, thumb_side: float) -> Array:
    """Bend the fingers by `turn` radians about the knuckles' axis, and lay the thumb beside the palm as they close."""
    out = points.copy()
    is_thumb = np.arange(len(points)) >= len(PALM_RINGS) * AROUND
    beyond = np.maximum(points[:, 1] - KNUCKLES, 0.0)
    bent = (beyond > 0.0) & ~is_thumb
    angle = turn * beyond / FINGERS
    radius = FINGERS / turn
    out[bent, 1] = (KNUCKLES + radius * np.sin(angle) - points[:, 2] * np.sin(angle))[bent]
    out[bent, 2] = (radius * (1.0 - np.cos(angle)) + points[:, 2] * np.cos(angle))[bent]
    # Closing, the thumb is laid beside the palm; laid flat, it is level with it.
    closing = max(0.0, (turn - RELAXED) / (GRIP - RELAXED))
    flat = max(0.0, (RELAXED - turn) / (RELAXED - FLAT))
    reach = np.clip((points[:, 1] - 0.01) / 0.075, 0.0, 1.0) * is_thumb
    out[:, 2] -= (0.020 * closing + 0.033 * flat) * reach
    out[:, 0] -= thumb_side * 0.012 * closing * reach
    return out


def _placed(arm: ArmFrames, points: Array) -> Array:
    return np.asarray(points @ arm.hand[:3, :3].T + arm.hand[:3, 3])
