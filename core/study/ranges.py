"""How far each joint goes, beside what the handbook says a person's goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..anatomy import RANGES
from .joints import OVERHEAD, JointAngles

Array = NDArray[np.float64]

SOURCE = "AAOS, in Norkin & White, Measurement of Joint Motion, table A.1"
# Part of the frames that may be left out at either end of a range: markers slip.
OUTLIERS = 0.005
# Degrees that a range may go beyond the handbook's before it is flagged: reading error of a goniometer (Norkin &
# White give about 5 degrees for joints of the upper limb; from memory).
READING_ERROR = 5.0
# Degrees of azimuth on either side of a plane in which an elevation counts as one in that plane.
SECTOR = 45.0
# AAOS's adduction of 0 is the way back to the side, and no limit of an arm that crosses in front of the body.
NO_LIMIT = ("shoulder", "adduction")


@dataclass(frozen=True)
class JointRange:
    """The most that a joint goes in one direction, degrees, without outliers, beside the handbook's.

    Attributes:
        joint, direction: in the handbook's words.
        degrees, frame: the most, and a frame that has it; below 0 the joint never gets there.
        limit: the handbook's.
        beyond: whether it is further than the limit by more than READING_ERROR.
    """

    joint: str
    direction: str
    degrees: float
    limit: float
    frame: int
    beyond: bool


def joint_ranges(angles: JointAngles) -> tuple[JointRange, ...]:
    """A range for each of the handbook's directions that some frame tells of, in the handbook's order."""
    seen = _directions(angles)
    found = []
    for item in RANGES:
        for direction, limit in ((item.towards, item.degrees), (item.back, item.back_degrees)):
            values = seen.get((item.joint, direction))
            if values is None or (item.joint, direction) == NO_LIMIT or not np.isfinite(values).any():
                continue
            most = float(np.nanquantile(values, 1.0 - OUTLIERS))
            frame = int(np.nanargmin(np.abs(values - most)))
            found.append(JointRange(item.joint, direction, most, limit, frame, most > limit + READING_ERROR))
    return tuple(found)


def _directions(angles: JointAngles) -> dict[tuple[str, str], Array]:
    """Degrees (N,) in each direction; NaN where a frame says nothing about it."""
    elevation, azimuth = angles.elevation, angles.azimuth

    def within(middle: float, low: bool = False) -> Array:
        away = np.abs((azimuth - middle + 180.0) % 360.0 - 180.0)
        told = (away <= SECTOR) & (elevation < OVERHEAD if low else True)
        return np.where(told, elevation, np.nan)

    out = {
        ("shoulder", "flexion"): within(90.0),
        # An arm that is overhead and a little behind got there forward or sideways.
        ("shoulder", "extension"): within(-90.0, low=True),
        ("shoulder", "abduction"): within(0.0),
        ("shoulder", "lateral rotation"): angles.rotation,
        ("shoulder", "medial rotation"): -angles.rotation,
        ("elbow", "flexion"): angles.flexion,
        ("elbow", "extension"): -angles.flexion,
    }
    if angles.pronation is not None and angles.bend is not None and angles.deviation is not None:
        out |= {
            ("forearm", "pronation"): angles.pronation,
            ("forearm", "supination"): -angles.pronation,
            ("wrist", "flexion"): angles.bend,
            ("wrist", "extension"): -angles.bend,
            ("wrist", "radial deviation"): angles.deviation,
            ("wrist", "ulnar deviation"): -angles.deviation,
        }
    return out
