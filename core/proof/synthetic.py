"""Samples that a perfect host would show: the reference solver's answer, for measures without a host."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..rotations import euler_to_matrix
from ..solve.arm import solve
from ..solve.settings import ArmGeometry, ArmSettings
from .measures import at, carried, turn
from .samples import ArmSamples

Array = NDArray[np.float64]


def solved_samples(geometry: ArmGeometry, settings: ArmSettings) -> ArmSamples:
    """The arm as `solve` has it, as bones, (N, 4, 4) each."""
    pose = solve(geometry, settings)
    torso = settings.torso
    control = carried(torso, geometry.torso, geometry.clavicle) @ euler_to_matrix(
        settings.clavicle, geometry.rotation_orders[0]
    )
    local = np.linalg.solve(geometry.torso, np.append(at(geometry.clavicle), 1.0))
    head = (torso @ local)[:, :3]
    still = np.broadcast_to(np.eye(3), (len(head), 3, 3))
    return ArmSamples(
        torso=torso.copy(),
        root=settings.root.copy(),
        fk_clavicle=_frames(control, head),
        clavicle=_frames(pose.clavicle, head),
        upper_arm=_frames(pose.upper_arm, pose.shoulder),
        elbow=_frames(pose.upper_arm, pose.elbow),
        forearm=_frames(pose.forearm, pose.elbow),
        wrist=_frames(pose.forearm, pose.wrist),
        hand=_frames(pose.hand, pose.wrist),
        hand_hold=settings.hand_hold.copy(),
        elbow_hold=settings.elbow_hold.copy(),
        elbow_aim=_frames(still, settings.aim),
        skin_upper_arm=_skin(pose.upper_arm, pose.shoulder, pose.upper_width, pose.upper_factor),
        skin_forearm=_skin(pose.forearm, pose.elbow, pose.forearm_width, pose.forearm_factor),
    )


def _frames(turns: Array, heads: Array) -> Array:
    out = np.zeros((len(heads), 4, 4))
    out[:, :3, :3], out[:, :3, 3], out[:, 3, 3] = turns, heads, 1.0
    return out


def _skin(turns: Array, heads: Array, width: Array, length: Array) -> Array:
    return _frames(turn(_frames(turns, heads)) * np.stack([width, length, width], axis=-1)[:, None, :], heads)
