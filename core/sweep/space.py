"""What a sweep draws: the unit cube, coordinate by coordinate, as settings of an arm; and settings taken apart.

Every coordinate says in `AXES` what it stands for. The map is continuous, so that a search may walk in the cube. A dial
stays at its ends (and at rest, where that lies between) over a part of its coordinate, because the ends are what people
use, and where the modes are. Channels and dials are rounded to single precision, which is what the host holds.

Settings that are not in the table stay as at rest: `unswept` names them.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arm import names as n
from ..arm.dials import DIALS
from ..proof.measures import arm_length, shoulder_point
from ..rotations import euler_to_matrix, matrix_to_quat, quat_to_matrix, slerp
from ..solve.rest import rest_settings
from ..solve.settings import ArmGeometry, ArmSettings

Array = NDArray[np.float64]

# Any torso motion of a proof and more: turns (about each axis, radians) and travel (arm lengths) of torso and root.
TURN, TRAVEL = 1.0, 0.5
# Channels of the FK controls, radians: beyond what joints do (AAOS, in Norkin & White, table A.1: 180 degrees at most).
CHANNELS = {"clavicle": 0.5, "upper_arm": math.pi, "forearm": 2.6, "hand": 1.5}
# Distances from the torso's own shoulder point: of the hand hold in dialled arm lengths, of the elbow hold in upper
# arms (a hold may take half to twice of one), of the aim in arm lengths.
HAND, ELBOW, AIM = (0.05, 1.6), (0.1, 2.4), (0.3, 2.0)
# Dials that are swept, by their names in the settings and in the rig.
DIAL_KEYS = {
    "ik": n.IK,
    "elbow": n.ELBOW,
    "isolate": n.ISOLATE,
    "lift": n.LIFT,
    "stretch": n.STRETCH,
    "soft": n.SOFT,
    "volume": n.VOLUME,
    "upper_length": n.UPPER_LENGTH,
    "forearm_length": n.FOREARM_LENGTH,
    "upper_roll": n.UPPER_ROLL,
    "hand_roll": n.HAND_ROLL,
    "hand_side": n.HAND_SIDE,
    "hand_spin": n.HAND_SPIN,
    "finger_bend": n.FINGER_BEND,
}
# Lengths are swept between the limits that the rigger sets for what a hold may ask of a segment. A dial goes further;
# a longer arm is the same arm at another size, and single precision, which the limits of a proof leave room for at an
# arm's rest length, grows with it.
_LENGTHS = (n.UPPER_LENGTH, n.FOREARM_LENGTH)
_CARRIERS = ("torso", "root")
_HOLDS = ("hand_hold", "elbow_hold")

# (setting, how many coordinates it takes)
AXES: tuple[tuple[str, int], ...] = (
    *((name, 6) for name in (*_CARRIERS, *_HOLDS)),
    ("aim", 3),
    *((name, 3) for name in CHANNELS),
    *((name, 1) for name in DIAL_KEYS),
)
DIMENSIONS = sum(count for _, count in AXES)


def unswept() -> tuple[str, ...]:
    """Settings that a sweep leaves as they are at rest."""
    swept = {name for name, _ in AXES}
    return tuple(item.name for item in fields(ArmSettings) if item.name not in swept)


def settings_at(geometry: ArmGeometry, cube: Array) -> ArmSettings:
    """Settings of N poses for points (N, DIMENSIONS) of the unit cube."""
    count = len(cube)
    parts = dict(zip((name for name, _ in AXES), np.split(cube, _ends(), axis=1), strict=True))
    rest = rest_settings(geometry, count)
    size = arm_length(geometry)
    found: dict[str, Array] = {}
    for name in _CARRIERS:
        turns = euler_to_matrix((2.0 * parts[name][:, :3] - 1.0) * TURN, "XYZ") @ getattr(rest, name)[:, :3, :3]
        travel = (2.0 * parts[name][:, 3:] - 1.0) * (TRAVEL * size)
        found[name] = _frames(turns, getattr(rest, name)[:, :3, 3] + travel)
    if np.array_equal(geometry.root, np.eye(4)):
        # A rig without a root: see ArmGeometry.
        found["root"] = rest.root
    for name, most in CHANNELS.items():
        found[name] = _single((2.0 * parts[name] - 1.0) * most)
    for name, key in DIAL_KEYS.items():
        found[name] = _single(np.interp(parts[name][:, 0], *_knots(geometry, key)))
    shoulder = shoulder_point(geometry, found["torso"])
    whole = geometry.upper_length * found["upper_length"] + geometry.forearm_length * found["forearm_length"]
    for name, span, unit in (("hand_hold", HAND, whole), ("elbow_hold", ELBOW, geometry.upper_length)):
        turns = euler_to_matrix((2.0 * parts[name][:, :3] - 1.0) * (math.pi, 0.5 * math.pi, math.pi), "XYZ")
        found[name] = _frames(turns, shoulder + _around(parts[name][:, 3:], span, unit))
    found["aim"] = shoulder + _around(parts["aim"], AIM, size)
    return replace(rest, **found)


def between(first: ArmSettings, second: ArmSettings, share: Array) -> ArmSettings:
    """Settings at `share` (N,) of the way from one to the other: numbers and points straight, frames by slerp."""
    found: dict[str, Array] = {}
    for item in fields(ArmSettings):
        one, other = getattr(first, item.name), getattr(second, item.name)
        part = share.reshape(-1, *[1] * (one.ndim - 1))
        straight = one + part * (other - one)
        if one.ndim == 3:
            turns = slerp(matrix_to_quat(one[:, :3, :3]), matrix_to_quat(other[:, :3, :3]), share)
            straight = _frames(quat_to_matrix(turns), straight[:, :3, 3])
        found[item.name] = straight
    return ArmSettings(**found)


def take(settings: Any, which: Any) -> Any:
    """Some of the poses of a dataclass of arrays whose first axis is the pose."""
    return type(settings)(**{item.name: getattr(settings, item.name)[which] for item in fields(settings)})


def _ends() -> list[int]:
    return list(itertools.accumulate(count for _, count in AXES))[:-1]


def _knots(geometry: ArmGeometry, key: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Coordinate and value of a dial where its map has corners: flat at each end, and at rest if that lies between."""
    default, low, high = next((default, low, high) for name, default, low, high, _ in DIALS if name == key)
    if key in _LENGTHS:
        low, high = geometry.options.shortest, geometry.options.longest
    if low < default < high:
        return (0.2, 0.4, 0.6, 0.8), (low, default, default, high)
    return (1.0 / 3.0, 2.0 / 3.0), (low, high)


def _around(part: Array, span: tuple[float, float], unit: Array | float) -> Array:
    """Displacements (N, 3), even over the sphere and at even distances within `span` times `unit`."""
    height, angle = 2.0 * part[:, 0] - 1.0, 2.0 * math.pi * part[:, 1]
    flat = np.sqrt(np.maximum(1.0 - height * height, 0.0))
    far = (span[0] + (span[1] - span[0]) * part[:, 2]) * unit
    return np.asarray(np.stack([flat * np.cos(angle), flat * np.sin(angle), height], axis=1) * far[:, None])


def _frames(turns: Array, heads: Array) -> Array:
    out = np.zeros((len(heads), 4, 4))
    out[:, :3, :3], out[:, :3, 3], out[:, 3, 3] = turns, heads, 1.0
    return out


def _single(values: Array) -> Array:
    return np.asarray(values.astype(np.float32).astype(np.float64))
