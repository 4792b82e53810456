"""From poses in armature space to a bone's own transform and back, batched."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Axes whose cosine is less are at right angles for the host.
SQUARE = 1e-4


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


def without_scale(turns: Array) -> Array:
    """What a bone that takes no scale from its parent takes of the parent's axes (..., 3, 3): unit and square.

    The host's rule, measured: the Y axis keeps its direction; X and Z are brought to right angles with it, and then
    each by half to right angles with the other, unless they are so within SQUARE. A mirror image stays one.
    """
    y = _unit(turns[..., :, 1])
    x, z = (_unit(axis - y * np.sum(axis * y, -1, keepdims=True)) for axis in (turns[..., :, 0], turns[..., :, 2]))
    askew = np.abs(np.sum(x * z, -1, keepdims=True)) > SQUARE
    # Half way between the two, and across it: these two are at right angles whatever the angle was.
    between, beside = _unit(x + z), _unit(x - z)
    half = np.sqrt(0.5)
    x, z = np.where(askew, (between + beside) * half, x), np.where(askew, (between - beside) * half, z)
    return np.stack([x, y, z], axis=-1)


def unscaled_basis(parents: Array, rest: Array, poses: Array) -> Array:
    """Own transforms (N, 4, 4), rigid, that give a bone without inherited scale `poses` (N, 4, 4) under `parents`.

    `rest` (4, 4): the bone's rest frame in its parent's. A parent's scale carries the bone's place, and turns nothing.
    """
    out = np.linalg.inv(parents @ rest) @ poses
    carried = without_scale(parents[..., :3, :3]) @ rest[:3, :3]
    out[..., :3, :3] = rigid_turns(np.swapaxes(carried, -1, -2) @ rigid_turns(poses[..., :3, :3]))
    return out


def unscaled_poses(parents: Array, rest: Array, basis: Array) -> Array:
    """The poses (N, 4, 4) that own transforms `basis` give under `parents`: the inverse of `unscaled_basis`."""
    out = parents @ rest @ basis
    out[..., :3, :3] = without_scale(parents[..., :3, :3]) @ rest[:3, :3] @ basis[..., :3, :3]
    return np.asarray(out)


def rigid_turns(turns: Array) -> Array:
    """The orthonormal axes nearest to `turns` (..., 3, 3): for the host's single precision and scaled controls."""
    left, _, right = np.linalg.svd(turns)
    return np.asarray(left @ right)


def _unit(vectors: Array) -> Array:
    sizes = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.where(sizes > 0.0, sizes, 1.0))
