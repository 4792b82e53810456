"""Rest frames of fingers, and the points that a planted hand rolls over (docs/arm.md, "The hand")."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .errors import GuideError
from .guide import ArmGuide, FingerGuide, PivotGuide

Array = NDArray[np.float64]

# A hand's build without a mesh to read it from, parts of its length (common practice): half its width, the palm's
# skin below the bones, and places along it.
HALF_WIDTH = 0.35
PALM_DEPTH = 0.15
HEEL_AT, PALM_AT, KNUCKLES_AT = 0.05, 0.5, 0.55


@dataclass(frozen=True)
class FingerFrames:
    """Rest frames of a finger's bones, root first.

    Attributes:
        name: the finger's.
        frames: (4, 4) each, armature space, metres, heads at the joints. Y runs along the bone and X is the hinge:
            `Y × curl` made a unit, so that a positive turn about X closes the finger.
        lengths: metres.
        thumb: whether the hand carries it, and not the knuckles.
    """

    name: str
    frames: tuple[Array, ...]
    lengths: tuple[float, ...]
    thumb: bool


@dataclass(frozen=True)
class PivotPoints:
    """The points of guide.PivotGuide, (3,), in the hand's rest frame, metres."""

    heel: Array
    palm: Array
    knuckles: Array
    fingertips: Array
    thumb_edge: Array
    outer_edge: Array


def finger_frames(arm: ArmGuide, where: str) -> tuple[FingerFrames, ...]:
    """Rest frames of every finger of `arm`; raises GuideError where an axis that they need is missing."""
    return tuple(_finger(finger, np.array(finger.curl or arm.palm, float), where) for finger in arm.fingers)


def _finger(finger: FingerGuide, curl: Array, where: str) -> FingerFrames:
    joints = [np.array(joint, float) for joint in finger.joints]
    frames = tuple(
        frame_along(head, tail, np.cross(tail - head, curl), f"{where}: bone {index + 1} of the {finger.name} and curl")
        for index, (head, tail) in enumerate(pairwise(joints))
    )
    lengths = tuple(float(np.linalg.norm(tail - head)) for head, tail in pairwise(joints))
    return FingerFrames(finger.name, frames, lengths, finger.thumb)


def pivot_points(arm: ArmGuide, hand: Array, length: float) -> PivotPoints:
    """The pivots of `arm`, in `hand`, its hand's rest frame (4, 4); `length` is the hand's, metres.

    Without any in the guide they are put by proportion. The thumb's side is told by the thumb; without one it is the
    character's front in a hand whose palm looks down: -X of a left hand, +X of a right one.
    """
    if arm.pivots is not None:
        points = (np.array(getattr(arm.pivots, item.name), float) for item in fields(PivotGuide))
        return PivotPoints(*((point - hand[:3, 3]) @ hand[:3, :3] for point in points))
    fingers = [finger for finger in arm.fingers if not finger.thumb]
    roots = [(np.array(finger.joints[0]) - hand[:3, 3]) @ hand[:3, :3] for finger in fingers]
    tips = [(np.array(finger.joints[-1]) - hand[:3, 3]) @ hand[:3, :3] for finger in fingers]
    depth = PALM_DEPTH * length
    knuckles = np.mean(roots, axis=0) if roots else np.array([0.0, KNUCKLES_AT * length, 0.0])
    fingertips = np.mean(tips, axis=0) if tips else np.array([0.0, length, depth])
    half = max(float(np.ptp([root[0] for root in roots])) / 2.0 if roots else 0.0, HALF_WIDTH * length)
    side = half * _thumb_side(arm, hand)
    middle = float(np.mean([root[0] for root in roots])) if roots else 0.0
    along = PALM_AT * float(knuckles[1]) / KNUCKLES_AT
    return PivotPoints(
        heel=np.array([0.0, HEEL_AT * length, depth]),
        palm=np.array([middle, along, depth]),
        knuckles=knuckles,
        fingertips=fingertips,
        thumb_edge=np.array([middle + side, along, depth]),
        outer_edge=np.array([middle - side, along, depth]),
    )


def _thumb_side(arm: ArmGuide, hand: Array) -> float:
    """1 where the thumb is on the hand's +X side, otherwise -1."""
    thumbs = [finger for finger in arm.fingers if finger.thumb]
    if thumbs:
        tip = (np.array(thumbs[0].joints[-1]) - hand[:3, 3]) @ hand[:3, :3]
        return 1.0 if tip[0] > 0.0 else -1.0
    return -1.0 if arm.side == "L" else 1.0


def frame_along(head: Array, tail: Array, x_axis: Array, what: str) -> Array:
    """Frame (4, 4) at `head` with Y to `tail` and X as near to `x_axis` as a right angle allows.

    Raises GuideError, which names `what`, where the points are one or the axis is along Y.
    """
    along = tail - head
    size = np.linalg.norm(along)
    if not size > 0.0:
        raise GuideError(f"{what}: the two joints are at the same place; move them apart")
    y = along / size
    x = x_axis - y * (x_axis @ y)
    if not np.linalg.norm(x) > 1e-9 * max(1.0, float(np.linalg.norm(x_axis))):
        raise GuideError(f"{what} point the same way; turn one of them")
    x = x / np.linalg.norm(x)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2], frame[:3, 3] = x, y, np.cross(x, y), head
    return frame
