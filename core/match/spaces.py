"""A hold's own channels under the space that carries it, and back: so that changing the space keeps the pose.

All frames are rigid and in armature space. A space is a pose (N, 4, 4) of what carries the hold and its rest frame
(4, 4); both None where nothing carries it. With its channels 0 the hold is where its rest frame is carried.
"""

from __future__ import annotations

import numpy as np

from ..posing import basis_of, rigid_inverse
from ..rotations import matrix_to_quat
from ..solve.settings import Array


def in_space(poses: Array, rest: Array, space: Array | None = None, space_rest: Array | None = None) -> Array:
    """The hold's own transform (N, 4, 4), in its rest axes, that gives it `poses` (N, 4, 4) under the space."""
    return basis_of(poses, rest, space, space_rest)


def from_space(basis: Array, rest: Array, space: Array | None = None, space_rest: Array | None = None) -> Array:
    """The poses (N, 4, 4) that own transforms `basis` (N, 4, 4) give under the space: the inverse of `in_space`."""
    if space is None or space_rest is None:
        return np.asarray(rest @ basis)
    return np.asarray(space @ rigid_inverse(space_rest) @ rest @ basis)


def hold_channels(basis: Array, near: Array | None = None) -> tuple[Array, Array]:
    """Location (N, 3) and quaternion (N, 4) channels of own transforms in time, the quaternion's sign continuous.

    `near` (4,) chooses the sign of the first frame; without it w is positive there.
    """
    quats = matrix_to_quat(basis[:, :3, :3])
    if len(quats):
        if near is not None and float(quats[0] @ near) < 0.0:
            quats[0] *= -1.0
        along = np.sum(quats[1:] * quats[:-1], axis=1)
        quats[1:] *= np.cumprod(np.where(along < 0.0, -1.0, 1.0))[:, None]
    return basis[:, :3, 3].copy(), quats
