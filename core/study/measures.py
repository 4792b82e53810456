"""What a recording asks of arms: reach, the shoulder's rise, ranges of the joints, the torso's motion, orders."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..proof.lift import ELEVATIONS, RISES
from ..rotations import axis_matrix, matrix_to_euler, unit
from .joints import bone_frames, is_left, joint_angles
from .motion import ArmMotion, StudyMotion
from .orders import JointOrder, joint_orders
from .ranges import OUTLIERS, JointRange, joint_ranges
from .still import runs

Array = NDArray[np.float64]

# Part of L that the wrist has to be further than L from the shoulder for an arm to be stretched: rounding and noise.
STRETCHED = 0.005
# Degrees of elevation from which the girdle moves along with the arm (Inman, Saunders & Abbott 1944), and over which it
# has to be seen to tell a ratio.
RHYTHM_FROM, RHYTHM_OVER = 30.0, 30.0


@dataclass(frozen=True)
class Extent:
    """A quantity over a clip: its least and its most with the frames of both, outliers left out."""

    least: float
    most: float
    least_frame: int
    most_frame: int


@dataclass(frozen=True)
class ArmStudy:
    """What one arm does.

    Attributes:
        arm, length: its id, and L in metres.
        reach: distance from shoulder to wrist over L.
        stretch: the most that the arm is longer than L by, over L; 0 where it never is; frame of it in `reach`.
        elevation: of the upper arm from hanging along the torso's down, degrees.
        rise: of the shoulder against the torso, over the upper arm's length, from its place with the arm lowest.
        rhythm: (elevation, rise, published rise), from the clip's own lowest, for each published elevation it reaches.
        flexion: of the elbow, degrees; 0 is straight.
        straight: least distance of the elbow from the line from shoulder to wrist, over L, and its frame.
        beyond: those of `ranges` that go further than a person's.
        ranges: of each joint in each of the handbook's directions, as far as the recording tells.
        orders: how far each joint keeps from gimbal lock, by rotation order.
        stretched: first and last frames of every time that the wrist is further from the shoulder than L.
        girdle: elevation of the clavicle in the torso, degrees; None where the recording has no clavicle.
        ratio: of the arm's elevation in the girdle to the girdle's own from 30 degrees on, published 2 (Inman et al.
            1944) and 2.3 (Braman et al. 2009); None where too little is seen, or the girdle does not rise.
    """

    arm: str
    length: float
    reach: Extent
    stretch: float
    elevation: Extent
    rise: Extent
    rhythm: tuple[tuple[float, float, float], ...]
    flexion: Extent
    straight: tuple[float, int]
    beyond: tuple[JointRange, ...]
    ranges: tuple[JointRange, ...] = ()
    orders: tuple[JointOrder, ...] = ()
    stretched: tuple[tuple[int, int], ...] = ()
    girdle: Extent | None = None
    ratio: float | None = None


@dataclass(frozen=True)
class TorsoStudy:
    """The torso's motion away from its mean heading: what a wiggle has to cover.

    Attributes:
        tilt, side, twist: degrees forward and back, to the sides, about up.
        travel: furthest from its slow path (a second's average), over the mean L.
    """

    tilt: Extent
    side: Extent
    twist: Extent
    travel: float


def arm_study(motion: StudyMotion, arm: ArmMotion) -> ArmStudy:
    """The figures of one arm of `motion`."""
    size = arm.length
    reach = np.linalg.norm(arm.wrist - arm.shoulder, axis=1) / size
    upper, fore = arm.elbow - arm.shoulder, arm.wrist - arm.elbow
    down = -motion.torso[:, :3, 2]
    elevation = _between(upper, down)
    flexion = _between(upper, fore)
    rise = _rise(motion, arm, elevation)
    along = unit(arm.wrist - arm.shoulder)
    aside = upper - along * np.sum(upper * along, axis=1, keepdims=True)
    off_line = np.linalg.norm(aside, axis=1) / size
    nearest = int(np.argmin(off_line))
    frames = bone_frames(motion, arm)
    ranges = joint_ranges(joint_angles(frames, is_left(arm)))
    girdle = None
    if frames.clavicle is not None:
        out = frames.clavicle[:, :, 1]
        girdle = np.degrees(np.arctan2(out[:, 2], np.hypot(out[:, 0], out[:, 1])))
    return ArmStudy(
        arm=arm.arm,
        length=size,
        reach=extent(reach),
        stretch=max(float(np.quantile(reach, 1.0 - OUTLIERS)) - 1.0, 0.0),
        elevation=extent(elevation),
        rise=extent(rise),
        rhythm=_rhythm(elevation, rise),
        flexion=extent(flexion),
        straight=(float(off_line[nearest]), nearest),
        beyond=tuple(item for item in ranges if item.beyond),
        ranges=ranges,
        orders=joint_orders(frames, is_left(arm)),
        stretched=tuple((span.first, span.last) for span in runs(reach > 1.0 + STRETCHED)),
        girdle=None if girdle is None else extent(girdle),
        ratio=None if girdle is None else _ratio(elevation, girdle),
    )


def torso_study(motion: StudyMotion) -> TorsoStudy:
    """How the torso moves away from its mean heading and its slow path."""
    turns = motion.torso[:, :3, :3]
    heading = np.unwrap(np.arctan2(turns[:, 1, 0], turns[:, 0, 0]))
    facing = axis_matrix("Z", heading)
    left_over = np.swapaxes(facing, 1, 2) @ turns
    angles = np.degrees(matrix_to_euler(left_over, "XYZ"))
    slow = _smooth(heading[:, None], round(motion.rate))[:, 0]
    size = float(np.mean([arm.length for arm in motion.arms]))
    path = motion.torso[:, :3, 3]
    sway = path - _smooth(path, round(motion.rate))
    return TorsoStudy(
        tilt=extent(angles[:, 0]),
        side=extent(angles[:, 1]),
        twist=extent(np.degrees(heading - slow)),
        travel=float(np.quantile(np.linalg.norm(sway, axis=1), 1.0 - OUTLIERS)) / size,
    )


def extent(values: Array) -> Extent:
    """Least and most of `values` (N,) without the outliers, and the frames next to them."""
    low, high = np.quantile(values, [OUTLIERS, 1.0 - OUTLIERS])
    return Extent(float(low), float(high), int(np.argmin(np.abs(values - low))), int(np.argmin(np.abs(values - high))))


def _between(first: Array, second: Array) -> Array:
    """Angle (N,) between vectors (N, 3), degrees, accurate near 0 and 180."""
    cross = np.linalg.norm(np.cross(first, second), axis=1)
    return np.asarray(np.degrees(np.arctan2(cross, np.sum(first * second, axis=1))))


def _rise(motion: StudyMotion, arm: ArmMotion, elevation: Array) -> Array:
    """Of the shoulder along the torso's up, over the upper arm, from where it is in the tenth with the arm lowest."""
    local = np.einsum("fji,fj->fi", motion.torso[:, :3, :3], arm.shoulder - motion.torso[:, :3, 3])
    upper = float(np.median(np.linalg.norm(arm.elbow - arm.shoulder, axis=1)))
    lowest = elevation <= np.quantile(elevation, 0.1)
    return np.asarray((local[:, 2] - float(np.median(local[lowest, 2]))) / upper)


def _rhythm(elevation: Array, rise: Array) -> tuple[tuple[float, float, float], ...]:
    """Median rise within 5 degrees of each published elevation that at least 5 frames come near.

    Both rises count from where the clip's own zero is, in the tenth of its frames with the arm lowest.
    """
    lowest = float(np.median(elevation[elevation <= np.quantile(elevation, 0.1)]))
    zero = float(np.interp(lowest, [0.0, *ELEVATIONS], [0.0, *RISES]))
    found = []
    for angle, published in zip(ELEVATIONS, RISES, strict=True):
        near = np.abs(elevation - angle) < 5.0
        if near.sum() >= 5 and published > zero:
            found.append((float(angle), float(np.median(rise[near])), float(published) - zero))
    return tuple(found)


def _ratio(elevation: Array, girdle: Array) -> float | None:
    """Elevation of the arm in the girdle for each degree of the girdle's, by least squares."""
    raised = elevation >= RHYTHM_FROM
    if raised.sum() < 5 or np.ptp(elevation[raised]) < RHYTHM_OVER:
        return None
    slope = float(np.polyfit(elevation[raised], girdle[raised], 1)[0])
    return 1.0 / slope - 1.0 if slope > 0.01 else None


def _smooth(values: Array, window: int) -> Array:
    """Centred average (N, C) over `window` frames, narrower towards the ends."""
    half = min(window // 2, (len(values) - 1) // 2)
    total = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    place = np.arange(len(values))
    reach = np.minimum(half, np.minimum(place, len(values) - 1 - place))
    return np.asarray((total[place + reach + 1] - total[place - reach]) / (2 * reach + 1)[:, None])
