"""The skin bones of upper arm and forearm from a solved pose: docs/arm.md, 19, in closed form, batched.

It knows nothing of plans, bones or constraints. Shapes as in settings.py: N poses of one arm, metres, radians,
armature space; K skin bones of a segment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..rotations import axis_matrix, matrix_to_quat, swing, swing_twist
from .settings import ArmGeometry, ArmPose, Array

Y = np.array([0.0, 1.0, 0.0])


@dataclass(frozen=True)
class SkinPose:
    """The skin bones of one segment.

    Attributes:
        orientation: (N, K, 3, 3).
        place: of their heads, (N, K, 3).
        width, factor: of all of them, across and along over rest, (N,).
        roll: the whole roll that they share, radians, -π to π, (N,).
        swing: how far the bones' end has swung off the direction that the roll is measured from, radians, (N,); at π
            the roll has no value.
    """

    orientation: Array
    place: Array
    width: Array
    factor: Array
    roll: Array
    swing: Array


def skin_poses(geometry: ArmGeometry, pose: ArmPose) -> tuple[SkinPose, SkinPose]:
    """Upper arm and forearm, `geometry.options.twist_bones` bones each."""
    g, count = geometry, geometry.options.twist_bones
    at_shoulder = pose.clavicle @ (g.clavicle[:3, :3].T @ g.upper_arm[:3, :3])
    upper_start = swing(at_shoulder, pose.upper_arm[..., 1])
    at_elbow = pose.upper_arm @ (g.upper_arm[:3, :3].T @ g.forearm[:3, :3])
    fore_start = swing(at_elbow, pose.forearm[..., 1])
    with_hand = pose.hand @ (g.hand[:3, :3].T @ g.forearm[:3, :3])
    upper_roll, fore_roll = twist_angle(upper_start, pose.upper_arm), twist_angle(fore_start, with_hand)
    return (
        SkinPose(
            _rolled(upper_start, upper_roll, count),
            _places(pose.shoulder, pose.elbow, count),
            pose.upper_width,
            pose.upper_factor,
            upper_roll,
            _angle(at_shoulder[..., 1], pose.upper_arm[..., 1]),
        ),
        SkinPose(
            _rolled(fore_start, fore_roll, count),
            _places(pose.elbow, pose.wrist, count),
            pose.forearm_width,
            pose.forearm_factor,
            fore_roll,
            np.maximum(_angle(at_elbow[..., 1], pose.forearm[..., 1]), _angle(with_hand[..., 1], pose.forearm[..., 1])),
        ),
    )


def shares(count: int) -> Array:
    """Share of the roll of each of `count` bones: evenly from none to all; a single bone has all, (K,)."""
    return np.linspace(0.0, 1.0, count) if count > 1 else np.ones(1)


def twist_angle(start: Array, end: Array) -> Array:
    """Angle (N,), -π to π, of the twist about Y in the turn from `start` to `end` (N, 3, 3), q = swing·twist.

    A swing of half a turn leaves it open: it is then 0.
    """
    _, twist = swing_twist(matrix_to_quat(np.swapaxes(start, -1, -2) @ end), Y)
    angle = 2.0 * np.arctan2(twist[..., 2], twist[..., 0])
    return np.asarray(np.arctan2(np.sin(angle), np.cos(angle)))


def _rolled(start: Array, roll: Array, count: int) -> Array:
    return np.asarray(start[:, None] @ axis_matrix("Y", roll[:, None] * shares(count)))


def _places(near: Array, far: Array, count: int) -> Array:
    steps = np.arange(count)[:, None] / count
    return np.asarray(near[:, None] + steps * (far - near)[:, None])


def _angle(first: Array, second: Array) -> Array:
    aside = np.linalg.norm(np.cross(first, second), axis=-1)
    return np.asarray(np.arctan2(aside, np.sum(first * second, axis=-1)))
