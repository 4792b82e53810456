"""What to set so that upper arm and wrist roll about their own axes in every mode, the joints where they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..rotations import axis_matrix, matrix_to_euler, swing
from ..solve.arm import solve
from ..solve.settings import ArmGeometry, ArmSettings
from ..solve.twist import twist_angle

Array = NDArray[np.float64]


def rolled(settings: ArmSettings, roll: Array, geometry: ArmGeometry) -> ArmSettings:
    """`settings` with the upper arm rolled by `roll` (N,), radians, and the wrist against the forearm by as much.

    The upper arm rolls by its channels and by the roll dial of the held arm, from no roll; the hand by its hold and,
    free, with the forearm by the forearm's own channel. The forearm of a held elbow turns in the hold's frame: there
    the upper arm alone rolls against it, the other way.
    """
    turned = axis_matrix("Y", roll)
    free = _upper_arm_channels(settings, roll, geometry)
    forearm = settings.forearm.copy()
    forearm[:, 1] = np.where((settings.elbow > 0.0) & (settings.ik == 0.0), forearm[:, 1], roll)
    settings = replace(settings, upper_arm=free, forearm=forearm, upper_roll=np.zeros_like(roll))
    # An IK arm has a roll of its own at 0 of its dial: the dial starts from what takes it off.
    pose = solve(geometry, settings)
    own = np.where(settings.ik > 0.0, _upper_roll(geometry, pose.clavicle, pose.upper_arm), 0.0)
    settings = replace(settings, upper_roll=np.where(settings.ik > 0.0, _wrapped(roll - own), 0.0))
    pose = solve(geometry, settings)
    bent = geometry.upper_arm[:3, :3].T @ geometry.forearm[:3, :3]
    unrolled = swing(pose.upper_arm @ bent, pose.forearm[..., 1])
    hold = settings.hand_hold.copy()
    hold[:, :3, :3] = unrolled @ turned @ (geometry.forearm[:3, :3].T @ geometry.hand[:3, :3])
    return replace(settings, hand_hold=hold)


def _upper_arm_channels(settings: ArmSettings, roll: Array, geometry: ArmGeometry) -> Array:
    """Channels (N, 3) of an upper arm that points where `settings` have it, rolled by `roll` off the smallest swing."""
    carried = replace(settings, ik=np.zeros_like(roll), elbow=np.zeros_like(roll))
    pose = solve(geometry, carried)
    socket = solve(geometry, replace(carried, upper_arm=np.zeros_like(settings.upper_arm))).upper_arm
    at_shoulder = pose.clavicle @ (geometry.clavicle[:3, :3].T @ geometry.upper_arm[:3, :3])
    wanted = swing(at_shoulder, pose.upper_arm[..., 1]) @ axis_matrix("Y", roll)
    return matrix_to_euler(np.swapaxes(socket, -1, -2) @ wanted, geometry.rotation_orders[1])


def _upper_roll(geometry: ArmGeometry, clavicle: Array, upper_arm: Array) -> Array:
    at_shoulder = clavicle @ (geometry.clavicle[:3, :3].T @ geometry.upper_arm[:3, :3])
    return twist_angle(swing(at_shoulder, upper_arm[..., 1]), upper_arm)


def _wrapped(angle: Array) -> Array:
    return np.asarray(np.arctan2(np.sin(angle), np.cos(angle)))
