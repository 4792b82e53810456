"""The chain of bones that carries the arms, so that the last one has a wanted pose: heading below, tilt shared."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..posing import chain_poses
from ..rotations import matrix_to_quat, quat_to_matrix, slerp, swing_twist

Array = NDArray[np.float64]


def chain_for(rests: Array, torso: Array, up: Array) -> Array:
    """Poses (N, K, 4, 4) of a chain of rest frames (K, 4, 4), lowest first, whose last bone has the poses `torso`.

    The turn about `up` (3,) is the lowest bone's; what is left, a lean, is shared evenly (common practice). The lowest
    bone travels so that the last one is exactly in its place.
    """
    count = len(rests)
    moved = matrix_to_quat(torso[:, :3, :3] @ rests[-1, :3, :3].T)
    lean, heading = swing_twist(moved, up)
    still = np.zeros_like(lean)
    still[:, 0] = 1.0
    part = quat_to_matrix(slerp(still, lean, 1.0 / count))
    about = quat_to_matrix(heading)
    turns = np.stack([part @ about, *[about.swapaxes(-1, -2) @ part @ about] * (count - 1)], axis=1)
    out = chain_poses(rests, turns, np.zeros((len(torso), 3)))
    out[:, :, :3, 3] += (torso[:, :3, 3] - out[:, -1, :3, 3])[:, None]
    return out
