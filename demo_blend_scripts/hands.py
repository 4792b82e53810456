"""Wren's knitted gloves: a palm, a thumb and four fingers, bound to the hand's skin bones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..core.arm.names import ArmNames
from ..core.frames import ArmFrames, arm_frames
from ..core.guide import UP, ArmGuide, PivotGuide, Vec3
from ..core.hand_frames import FingerFrames
from .shaping import Array, Sheet, ring_faces, smoothstep

# At a hand of 0.184 m, wrist to fingertips, in the hand's axes: Y along the hand, Z out of the palm.
BUILT_LENGTH = 0.1836
AROUND = 16
# (y, half width, half thickness)
PALM_RINGS = (
    (-0.050, 0.026, 0.026),
    (-0.020, 0.028, 0.026),
    (0.000, 0.031, 0.026),
    (0.020, 0.037, 0.026),
    (0.040, 0.042, 0.027),
    (0.060, 0.044, 0.027),
    (0.078, 0.044, 0.026),
    (0.090, 0.043, 0.024),
    (0.099, 0.040, 0.021),
    (0.104, 0.034, 0.015),
)
# The palm's skin under the bones, and the line that a flat hand rolls off over, under the fingers' ends: metres in the
# hand's axes.
PALM_SKIN = 0.0275
FINGERTIPS = (0.0, 0.172, PALM_SKIN)
# Where the middle of what is gripped lies in the hand's axes, metres: on the palm's skin, inside the fingers' arc.
GRIPPED = (0.0, 0.080, 0.0535)
# A finger's tube over its first bone: radius at its root and at its tip, metres; how far it starts inside the palm.
FINGER_RADII = (0.0118, 0.0098)
THUMB_RADII = (0.0165, 0.0120)
INSIDE = 0.022
ROWS_A_BONE = 5
TUBE_AROUND = 12
# Half the length over which the skin at a finger's joint goes over from bone to bone, metres.
JOINT_BLEND = 0.007
# The palm is thick; the fingers lie nearer to its skin, so that a flat hand rests on them as well: metres.
FINGERS_LOWER = 0.012
# Where the palm rests, along the hand and to its sides, metres.
HEEL, PALM_MIDDLE, PALM_HALF = 0.006, 0.055, 0.040

Weights = dict[str, Array]


def with_glove(arm: ArmGuide) -> ArmGuide:
    """`arm`, whose hand has fingers, with these as a glove has them, and with the points that it rolls over."""
    lower = FINGERS_LOWER * float(np.linalg.norm(np.array(arm.hand_end) - np.array(arm.wrist))) / BUILT_LENGTH
    down = lower * np.array(arm.palm) / np.linalg.norm(arm.palm)

    def lowered(joint: Vec3) -> Vec3:
        return (joint[0] + float(down[0]), joint[1] + float(down[1]), joint[2] + float(down[2]))

    arm = replace(
        arm,
        fingers=tuple(
            finger if finger.thumb else replace(finger, joints=tuple(lowered(joint) for joint in finger.joints))
            for finger in arm.fingers
        ),
    )
    frames = arm_frames(arm, UP)
    size = frames.hand_length / BUILT_LENGTH
    thumb = -1.0 if arm.side == "L" else 1.0
    own = frames.pivots

    def at(x: float, y: float, z: float) -> Vec3:
        place = frames.hand @ np.array([size * x, size * y, size * z, 1.0])
        return (float(place[0]), float(place[1]), float(place[2]))

    knuckles = own.knuckles / size
    return replace(
        arm,
        pivots=PivotGuide(
            heel=at(0.0, HEEL, PALM_SKIN),
            palm=at(0.0, PALM_MIDDLE, PALM_SKIN),
            knuckles=at(float(knuckles[0]), float(knuckles[1]), float(knuckles[2])),
            fingertips=at(*FINGERTIPS),
            thumb_edge=at(thumb * PALM_HALF, PALM_MIDDLE, PALM_SKIN),
            outer_edge=at(-thumb * PALM_HALF, PALM_MIDDLE, PALM_SKIN),
        ),
    )


def add_glove(sheet: Sheet, arm: ArmFrames) -> Weights:
    """Add one glove to the sheet; return the weights (N,) of its own vertices by bone."""
    size = arm.hand_length / BUILT_LENGTH
    names = ArmNames(arm.side)
    part = f"hand.{arm.side}"
    first = sheet.count
    pieces: list[Weights] = []
    points, faces = _palm()
    sheet.add(_placed(arm, size * points), faces, 0, part)
    pieces.append({names.hand: np.ones(len(points))})
    for finger in arm.fingers:
        points, faces, weights = _finger(finger, size, arm, names)
        sheet.add(points, faces, 0, part)
        pieces.append(weights)
    counts = [len(next(iter(piece.values()))) for piece in pieces]
    bones = dict.fromkeys(name for piece in pieces for name in piece)
    assert sum(counts) == sheet.count - first
    return {
        bone: np.concatenate([piece.get(bone, np.zeros(count)) for piece, count in zip(pieces, counts, strict=True)])
        for bone in bones
    }


def _palm() -> tuple[Array, list[tuple[int, ...]]]:
    angles = 2.0 * np.pi * np.arange(AROUND) / AROUND
    c, s = np.cos(angles), np.sin(angles)
    c, s = np.sign(c) * np.abs(c) ** 0.75, np.sign(s) * np.abs(s) ** 0.75
    rings = np.stack([np.stack([w * c, np.full(AROUND, y), h * s], axis=-1) for y, w, h in PALM_RINGS])
    return rings.reshape(-1, 3), ring_faces(len(rings), AROUND, cap_start=True, cap_end=True)


def _finger(
    finger: FingerFrames, size: float, arm: ArmFrames, names: ArmNames
) -> tuple[Array, list[tuple[int, ...]], Weights]:
    """A tube along the finger's bones, straight at rest, rounded at its tip; armature space, metres."""
    lengths = np.array(finger.lengths)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    near, far = (size * radius for radius in (THUMB_RADII if finger.thumb else FINGER_RADII))
    start = -size * INSIDE
    # Denser at the tip, where the radius falls to nothing as a ball's does.
    rows = np.linspace(start, ends[-1] - far, ROWS_A_BONE * len(lengths) + 2)
    cap = ends[-1] - far + far * np.sin(np.radians([25.0, 50.0, 72.0, 87.0]))
    rows = np.concatenate([rows, cap])
    radii = near + (far - near) * np.clip(rows / ends[-1], 0.0, 1.0)
    beyond = np.maximum(rows - (ends[-1] - far), 0.0) / far
    radii = radii * np.sqrt(np.maximum(1e-3, 1.0 - beyond**2))
    frame = finger.frames[0]
    angles = 2.0 * np.pi * np.arange(TUBE_AROUND) / TUBE_AROUND
    rings = (
        frame[:3, 3]
        + rows[:, None, None] * frame[:3, 1]
        + radii[:, None, None]
        * (np.cos(angles)[None, :, None] * frame[:3, 0] + np.sin(angles)[None, :, None] * frame[:3, 2])
    )
    faces = ring_faces(len(rows), TUBE_AROUND, cap_start=True, cap_end=True)
    along = np.repeat(rows, TUBE_AROUND)
    blend = JOINT_BLEND * size
    weights: Weights = {}
    left = np.ones(len(along))
    before = names.hand
    for index, joint in enumerate(ends[:-1], start=1):
        above = smoothstep(joint - blend, joint + blend, along)
        weights[before] = left * (1.0 - above)
        left = left * above
        before = f"skin.{finger.name}.{index}.{arm.side}"
    weights[before] = left
    return rings.reshape(-1, 3), faces, weights


def _placed(arm: ArmFrames, points: Array) -> Array:
    return np.asarray(points @ arm.hand[:3, :3].T + arm.hand[:3, 3])
