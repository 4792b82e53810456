"""Measures that the requirements share: distances in arm lengths, angles that stay exact near zero, joints of a run.

Positions are metres in armature space, (N, 3); orientations (N, 3, 3); results are (N,).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..posing import rigid_inverse
from ..rotations import euler_to_matrix
from ..solve.settings import ArmGeometry
from .samples import ArmRun

Array = NDArray[np.float64]

SLIDE_LIMIT = 2e-6  # L, design's limit for everything that is held
TURN_LIMIT = 1e-3  # degrees, design's limit for drift and for what a channel says
LENGTH_LIMIT = 1e-5  # of a rest length, design's limit for lengths and volume

LENGTHS = "L"
DEGREES = "deg"
FACTOR = "1"


@dataclass(frozen=True, eq=False)
class Measured:
    """One measure over the frames of a run, before it is judged.

    Attributes:
        measure: its name, such as "wrist-slide".
        unit: "L", "deg" or "1".
        values: (N,), 0 is perfect; what is not finite fails.
        limit: largest value that passes, in the unit.
        wanted, found: (N, 3) points of interest, or None.
        note: for people.
        missing: (N,), how far the wanted point is out of the arm's reach by docs/arm.md, in the unit; None where
            nothing can be out of reach.
        misplaced: (N,), how far the joint is from where docs/arm.md puts it when the point is out of reach.
        not_applicable: the rig gives nothing to measure; `note` says why.
    """

    measure: str
    unit: str
    values: Array
    limit: float
    wanted: Array | None = None
    found: Array | None = None
    note: str = ""
    missing: Array | None = None
    misplaced: Array | None = None
    not_applicable: bool = False


def at(frames: Array) -> Array:
    """Positions of frames (..., 4, 4)."""
    return frames[..., :3, 3]


def turn(frames: Array) -> Array:
    """Orientations of frames (..., 4, 4)."""
    return frames[..., :3, :3]


def distance(one: Array, other: Array) -> Array:
    """Distance between points (..., 3), metres."""
    return np.asarray(np.linalg.norm(one - other, axis=-1))


def unit(vectors: Array) -> Array:
    """Vectors (..., 3) over their length; a zero vector stays zero."""
    size = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(size, 1e-300))


def turn_error(one: Array, other: Array) -> Array:
    """Angle of the rotation between orientations (..., 3, 3), degrees.

    From |A - B| = 2 sqrt(2) sin(angle / 2) (Frobenius norm), which keeps its digits near zero, where the arc cosine of
    the trace loses half of them. A matrix that is no rotation (scale, shear) reads as an angle as well.
    """
    gap = np.linalg.norm(one - other, axis=(-2, -1)) / (2.0 * np.sqrt(2.0))
    return np.asarray(np.degrees(2.0 * np.arcsin(np.minimum(gap, 1.0))))


def arm_length(geometry: ArmGeometry) -> float:
    """L, metres."""
    return geometry.upper_length + geometry.forearm_length


def carried(pose: Array, rest: Array, what: Array) -> Array:
    """Orientation of `what` as a bone takes it along, (N, 3, 3): `pose` (N, 4, 4), `rest`, `what` (4, 4)."""
    return np.asarray(turn(pose) @ turn(rest).T @ turn(what))


def shoulder_point(geometry: ArmGeometry, torso: Array) -> Array:
    """Where the torso alone carries the shoulder, (N, 3), for its poses (N, 4, 4): S0 of docs/arm.md, 3."""
    return point_with_torso(geometry, torso, at(geometry.upper_arm))


def point_with_torso(geometry: ArmGeometry, torso: Array, point: Array) -> Array:
    """A point (3,) at rest, carried by the torso: (N, 3)."""
    local = rigid_inverse(geometry.torso) @ np.append(point, 1.0)
    return np.asarray((torso @ local)[:, :3])


def clavicle_control(run: ArmRun) -> Array:
    """Orientation that the clavicle's control should have, (N, 3, 3): docs/arm.md, 1, from torso and channels."""
    geometry, settings = run.geometry, run.settings
    channels = euler_to_matrix(settings.clavicle, geometry.rotation_orders[0])
    return np.asarray(carried(settings.torso, geometry.torso, geometry.clavicle) @ channels)


def held_arm(run: ArmRun) -> tuple[Array, Array]:
    """Orientations of forearm and hand in the elbow hold's frame, (N, 3, 3) each: docs/arm.md, 9 and 12 at elbow 1."""
    geometry, settings = run.geometry, run.settings
    fore = carried(settings.elbow_hold, geometry.upper_arm, geometry.forearm) @ euler_to_matrix(
        settings.forearm, geometry.rotation_orders[2]
    )
    hand = (
        fore
        @ (turn(geometry.forearm).T @ turn(geometry.hand))
        @ euler_to_matrix(settings.hand, geometry.rotation_orders[3])
    )
    return np.asarray(fore), np.asarray(hand)


def slide(
    run: ArmRun, measure: str, found: Array, wanted: Array, missing: Array | None = None, placed: Array | None = None
) -> Measured:
    """A held point: `found` against `wanted`, and against `placed`, where docs/arm.md has it when out of reach."""
    size = arm_length(run.geometry)
    return Measured(
        measure,
        LENGTHS,
        distance(found, wanted) / size,
        SLIDE_LIMIT,
        wanted,
        found,
        missing=None if missing is None else missing / size,
        misplaced=None if placed is None else distance(found, placed) / size,
    )


def drift(measure: str, found: Array, wanted: Array) -> Measured:
    """An orientation against the one that it should have."""
    return Measured(measure, DEGREES, turn_error(found, wanted), TURN_LIMIT)
