"""From poses in armature space to a bone's own transform and back, batched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def rigid_inverse(frames: Array) -> Array:
    """Inverse of rigid frames, (..., 4, 4)."""
    out = np.zeros_like(frames)
    out[..., :3, :3] = np.swapaxes(frames[..., :3, :3], -1, -2)
    out[..., :3, 3] = -np.einsum("...ij,...j->...i", out[..., :3, :3], frames[..., :3, 3])
    out[..., 3, 3] = 1.0
    return out


def basis_of(poses: Array, rest: Array, parent_poses: Array | None, parent_rest: Array | None) -> Array:
    """A bone's own transform (N, 4, 4), in its rest axes, that gives it `poses` under `parent_poses`.

    `poses`, `parent_poses` (N, 4, 4) and the rest frames (4, 4) are in armature space; None for a bone without a
    parent.
    """
    if parent_poses is None or parent_rest is None:
        return np.asarray(rigid_inverse(rest) @ poses)
    carried = parent_poses @ (rigid_inverse(parent_rest) @ rest)
    return np.asarray(rigid_inverse(carried) @ poses)


def inherited_turns(carriers: Array) -> Array:
    """Orientations (..., 3, 3) that a bone without inherited scale takes from `carriers` (..., 4, 4), scaled or not.

    The host keeps the direction of Y and brings the other two axes to right angles with it, and then, by as much each,
    with one another (measured in 4.5.15 and 5.2.3, within 3e-7).
    """
    x, y, z = (_unit(carriers[..., :3, axis]) for axis in range(3))
    x, z = (_unit(axis - y * np.sum(axis * y, axis=-1, keepdims=True)) for axis in (x, z))
    between, across = _unit(x + z), _unit(x - z)
    half = np.sqrt(0.5)
    return np.stack([half * (between + across), y, half * (between - across)], axis=-1)


def own_under(carriers: Array, poses: Array) -> Array:
    """Own transforms (..., 4, 4) that give a bone without inherited scale the rigid `poses` on `carriers`."""
    out = np.linalg.inv(carriers) @ poses
    out[..., :3, :3] = np.swapaxes(inherited_turns(carriers), -1, -2) @ poses[..., :3, :3]
    return np.asarray(out)


def poses_under(carriers: Array, own: Array) -> Array:
    """The inverse of `own_under`: rigid poses (..., 4, 4) from own transforms."""
    out = carriers @ own
    out[..., :3, :3] = inherited_turns(carriers) @ own[..., :3, :3]
    return np.asarray(out)


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def chain_poses(rests: Array, turns: Array, travel: Array, outside: Array | None = None) -> Array:
    """Poses (N, K, 4, 4) of a chain of K bones, armature space.

    `rests` (K, 4, 4): rest frames, lowest first, each the next one's parent. `turns` (N, K, 3, 3): rotation of each
    bone against its parent, about axes of armature space at rest. `travel` (N, 3): displacement of the lowest, metres.
    `outside` (N, 4, 4): motion of what carries the lowest, as a displacement from rest; None for none.
    """
    frames, count = turns.shape[:2]
    out = np.zeros((frames, count, 4, 4))
    moved = np.broadcast_to(np.eye(4), (frames, 4, 4)) if outside is None else outside
    for index in range(count):
        pivot = rests[index, :3, 3]
        local = np.zeros((frames, 4, 4))
        local[:, :3, :3] = turns[:, index]
        local[:, :3, 3] = pivot - turns[:, index] @ pivot + (travel if index == 0 else 0.0)
        local[:, 3, 3] = 1.0
        moved = moved @ local
        out[:, index] = moved @ rests[index]
    return out
