"""What a recording asks of arms: reach, the shoulder's rise, ranges of the joints, the torso's motion, orders."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..anatomy import RANGES
from ..proof.lift import ELEVATIONS, RISES
from ..rotations import matrix_to_euler
from .motion import ArmMotion, StudyMotion

Array = NDArray[np.float64]

# Part of the frames that may be left out at either end of a range: markers slip.
OUTLIERS = 0.005
# Degrees that a range may go beyond the handbook's before it is flagged: reading error of a goniometer (Norkin &
# White give about 5 degrees for joints of the upper limb; from memory).
READING_ERROR = 5.0
# Degrees from a straight arm below which the plane of the elbow says nothing.
NEARLY_STRAIGHT = 5.0


@dataclass(frozen=True)
class Extent:
    """A quantity over a clip: its least and its most with the frames of both, outliers left out."""

    least: float
    most: float
    least_frame: int
    most_frame: int


@dataclass(frozen=True)
class Beyond:
    """A joint that goes further than the handbook says a person can: how far, degrees, and the worst frame."""

    joint: str
    direction: str
    degrees: float
    limit: float
    frame: int


@dataclass(frozen=True)
class ArmStudy:
    """What one arm does.

    Attributes:
        arm, length: its id, and L in metres.
        reach: distance from shoulder to wrist over L.
        stretch: the most that the arm is longer than L by, over L; 0 where it never is; frame of it in `reach`.
        elevation: of the upper arm from hanging along the torso's down, degrees.
        rise: of the shoulder against the torso, over the upper arm's length, from its place with the arm lowest.
        rhythm: (elevation, rise, published rise) for each published elevation that the clip reaches.
        flexion: of the elbow, degrees; 0 is straight.
        straight: least distance of the elbow from the line from shoulder to wrist, over L, and its frame.
        beyond: joints that go further than a person's.
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
    beyond: tuple[Beyond, ...]


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
    size = rest_length(arm)
    reach = np.linalg.norm(arm.wrist - arm.shoulder, axis=1) / size
    upper, fore = arm.elbow - arm.shoulder, arm.wrist - arm.elbow
    down = -motion.torso[:, :3, 2]
    elevation = _between(upper, down)
    flexion = _between(upper, fore)
    rise = _rise(motion, arm, elevation)
    along = _unit(arm.wrist - arm.shoulder)
    aside = upper - along * np.sum(upper * along, axis=1, keepdims=True)
    off_line = np.linalg.norm(aside, axis=1) / size
    nearest = int(np.argmin(off_line))
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
        beyond=_beyond(motion, arm, flexion, elevation),
    )


def torso_study(motion: StudyMotion) -> TorsoStudy:
    """How the torso moves away from its mean heading and its slow path."""
    turns = motion.torso[:, :3, :3]
    heading = np.unwrap(np.arctan2(-turns[:, 0, 1], turns[:, 1, 1]))
    facing = _about_up(heading)
    left_over = np.swapaxes(facing, 1, 2) @ turns
    angles = np.degrees(matrix_to_euler(left_over, "XYZ"))
    slow = _smooth(heading[:, None], round(motion.rate))[:, 0]
    size = float(np.mean([rest_length(arm) for arm in motion.arms]))
    path = motion.torso[:, :3, 3]
    sway = path - _smooth(path, round(motion.rate))
    return TorsoStudy(
        tilt=extent(angles[:, 0]),
        side=extent(angles[:, 1]),
        twist=extent(np.degrees(heading - slow)),
        travel=float(np.quantile(np.linalg.norm(sway, axis=1), 1.0 - OUTLIERS)) / size,
    )


def rest_length(arm: ArmMotion) -> float:
    """L, metres: what the segments measure in the middle of their range."""
    return arm.length


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
    """Median rise within 5 degrees of each published elevation that at least 5 frames come near."""
    found = []
    for angle, published in zip(ELEVATIONS, RISES, strict=True):
        near = np.abs(elevation - angle) < 5.0
        if near.sum() >= 5:
            found.append((float(angle), float(np.median(rise[near])), float(published)))
    return tuple(found)


def _beyond(motion: StudyMotion, arm: ArmMotion, flexion: Array, elevation: Array) -> tuple[Beyond, ...]:
    """Ranges that positions can tell: the elbow's flexion, the shoulder's elevation by its plane, the wrist's bend."""
    found = []
    local = np.einsum("fji,fj->fi", motion.torso[:, :3, :3], arm.elbow - arm.shoulder)
    outwards = local[:, 0] * (1.0 if arm.arm.endswith("L") else -1.0)
    # Behind the body within 45 degrees of the plane from front to back it is extension: AAOS gives it a limit of its
    # own.
    behind = (local[:, 1] > np.abs(outwards)) & (elevation < 150.0)
    limits = {(item.joint, item.towards): item.degrees for item in RANGES}
    limits |= {(item.joint, item.back): item.back_degrees for item in RANGES}
    looked = [
        ("elbow", "flexion", flexion),
        ("shoulder", "flexion", np.where(behind, 0.0, elevation)),
        ("shoulder", "extension", np.where(behind, elevation, 0.0)),
    ]
    if arm.tip is not None:
        bend = _between(arm.wrist - arm.elbow, arm.tip - arm.wrist)
        looked.append(("wrist", "flexion", bend))
    for joint, direction, values in looked:
        limit = limits[(joint, direction)]
        most = extent(values)
        if most.most > limit + READING_ERROR:
            found.append(Beyond(joint, direction, most.most, limit, most.most_frame))
    return tuple(found)


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))


def _about_up(angle: Array) -> Array:
    out = np.zeros((len(angle), 3, 3))
    out[:, 0, 0] = out[:, 1, 1] = np.cos(angle)
    out[:, 1, 0], out[:, 0, 1] = np.sin(angle), -np.sin(angle)
    out[:, 2, 2] = 1.0
    return out


def _smooth(values: Array, window: int) -> Array:
    """Centred average (N, C) over `window` frames, narrower towards the ends."""
    half = min(window // 2, (len(values) - 1) // 2)
    total = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    place = np.arange(len(values))
    reach = np.minimum(half, np.minimum(place, len(values) - 1 - place))
    return np.asarray((total[place + reach + 1] - total[place - reach]) / (2 * reach + 1)[:, None])
