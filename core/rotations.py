"""Rotations in batches.

Conventions of the whole project: quaternions w first; matrices act on columns; angles in radians; leading axes are
batch axes. An Euler order is the host's: in "XYZ" the turn about X is applied first, so the matrix is Rz·Ry·Rx; the
three angles are always given as (x, y, z), whatever the order.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AXES = {"X": 0, "Y": 1, "Z": 2}


def unit(vectors: Array) -> Array:
    """Vectors (..., K) made units. A zero vector gives NaN, which no check lets pass."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def axis_matrix(axis: str, angles: Array) -> Array:
    """Turns (..., 3, 3) by `angles` (...) about "X", "Y" or "Z"."""
    first = (AXES[axis] + 1) % 3
    second = (AXES[axis] + 2) % 3
    angles = np.asarray(angles, float)
    out = np.zeros((*angles.shape, 3, 3))
    cosine, sine = np.cos(angles), np.sin(angles)
    out[..., AXES[axis], AXES[axis]] = 1.0
    out[..., first, first] = out[..., second, second] = cosine
    out[..., second, first], out[..., first, second] = sine, -sine
    return out


def euler_to_matrix(angles: Array, order: str) -> Array:
    """Matrices (..., 3, 3) of Euler angles (..., 3)."""
    angles = np.asarray(angles, float)
    one, two, three = (axis_matrix(axis, angles[..., AXES[axis]]) for axis in order)
    return np.asarray(three @ two @ one)


def matrix_to_euler(matrices: Array, order: str) -> Array:
    """Euler angles (..., 3), as (x, y, z), of matrices (..., 3, 3); the middle angle lies within a quarter turn.

    At the singular set (middle angle a quarter turn) the last applied angle is 0.
    """
    i, j, k = (AXES[axis] for axis in order)
    # In an even order such as XYZ, R = Rk·Rj·Ri has R[k, i] = -sin(middle); an odd order flips the sign.
    sign = 1.0 if (j - i) % 3 == 1 else -1.0
    m = np.asarray(matrices, float)
    cosine = np.hypot(m[..., i, i], m[..., j, i])
    out = np.empty((*m.shape[:-2], 3))
    out[..., j] = np.arctan2(-sign * m[..., k, i], cosine)
    regular = cosine > 1e-9
    out[..., i] = np.where(
        regular, np.arctan2(sign * m[..., k, j], m[..., k, k]), np.arctan2(-sign * m[..., j, k], m[..., j, j])
    )
    out[..., k] = np.where(regular, np.arctan2(sign * m[..., j, i], m[..., i, i]), 0.0)
    return out


def nearest_euler(angles: Array, near: Array) -> Array:
    """Equal Euler angles (..., 3) moved by whole turns to be nearest to `near`, component by component."""
    turn = 2.0 * np.pi
    return np.asarray(angles - turn * np.round((angles - near) / turn))


def quat_to_matrix(quats: Array) -> Array:
    """Matrices (..., 3, 3) of unit quaternions (..., 4)."""
    w, x, y, z = (quats[..., index] for index in range(4))
    out = np.empty((*quats.shape[:-1], 3, 3))
    out[..., 0, 0] = 1.0 - 2.0 * (y * y + z * z)
    out[..., 1, 1] = 1.0 - 2.0 * (x * x + z * z)
    out[..., 2, 2] = 1.0 - 2.0 * (x * x + y * y)
    out[..., 0, 1], out[..., 1, 0] = 2.0 * (x * y - w * z), 2.0 * (x * y + w * z)
    out[..., 0, 2], out[..., 2, 0] = 2.0 * (x * z + w * y), 2.0 * (x * z - w * y)
    out[..., 1, 2], out[..., 2, 1] = 2.0 * (y * z - w * x), 2.0 * (y * z + w * x)
    return out


def matrix_to_quat(matrices: Array) -> Array:
    """Unit quaternions (..., 4) with w ≥ 0 of rotation matrices (..., 3, 3).

    Each is taken from the largest of the four components, so that nothing is divided by a small number.
    """
    m = np.asarray(matrices, float)
    d0, d1, d2 = m[..., 0, 0], m[..., 1, 1], m[..., 2, 2]
    a, b, c = m[..., 2, 1] - m[..., 1, 2], m[..., 0, 2] - m[..., 2, 0], m[..., 1, 0] - m[..., 0, 1]
    p, q, r = m[..., 1, 0] + m[..., 0, 1], m[..., 0, 2] + m[..., 2, 0], m[..., 2, 1] + m[..., 1, 2]
    rows = np.stack(
        [
            np.stack([1.0 + d0 + d1 + d2, a, b, c], -1),
            np.stack([a, 1.0 + d0 - d1 - d2, p, q], -1),
            np.stack([b, p, 1.0 - d0 + d1 - d2, r], -1),
            np.stack([c, q, r, 1.0 - d0 - d1 + d2], -1),
        ],
        -2,
    )
    largest = np.argmax(np.stack([rows[..., n, n] for n in range(4)], -1), -1)
    picked = unit(np.take_along_axis(rows, largest[..., None, None], -2)[..., 0, :])
    return np.asarray(np.where(picked[..., :1] < 0.0, -picked, picked))


def quat_multiply(first: Array, second: Array) -> Array:
    """Products (..., 4): the turn `second`, then the turn `first`."""
    a, b, c, d = (first[..., index] for index in range(4))
    w, x, y, z = (second[..., index] for index in range(4))
    return np.stack(
        [
            a * w - b * x - c * y - d * z,
            a * x + b * w + c * z - d * y,
            a * y - b * z + c * w + d * x,
            a * z + b * y - c * x + d * w,
        ],
        -1,
    )


def quat_conjugate(quats: Array) -> Array:
    """Inverses of unit quaternions (..., 4)."""
    return np.asarray(quats * np.array([1.0, -1.0, -1.0, -1.0]))


def slerp(first: Array, second: Array, share: Array | float) -> Array:
    """Unit quaternions (..., 4) at `share` (...) of the short way from `first` to `second`."""
    share = np.asarray(share, float)[..., None]
    cosine = np.sum(first * second, -1, keepdims=True)
    second = np.where(cosine < 0.0, -second, second)
    # The angle from the chord and its complement: accurate next to 0 and next to half a turn.
    angle = 2.0 * np.arctan2(
        np.linalg.norm(second - first, axis=-1, keepdims=True), np.linalg.norm(second + first, axis=-1, keepdims=True)
    )
    close = angle < 1e-9
    sine = np.where(close, 1.0, np.sin(angle))
    weight_first = np.where(close, 1.0 - share, np.sin((1.0 - share) * angle) / sine)
    weight_second = np.where(close, share, np.sin(share * angle) / sine)
    return unit(weight_first * first + weight_second * second)


def slerp_matrices(first: Array, second: Array, share: Array | float) -> Array:
    """`slerp` of rotation matrices (..., 3, 3)."""
    return quat_to_matrix(slerp(matrix_to_quat(first), matrix_to_quat(second), share))


def between(start: Array, end: Array) -> Array:
    """Smallest turns (..., 4) that take directions `start` to directions `end` (..., 3); they need not be units.

    Exactly opposite directions have no smallest turn: one about some axis at right angles is given.
    """
    start, end = unit(start), unit(end)
    half = start + end
    length = np.linalg.norm(half, axis=-1, keepdims=True)
    opposite = length[..., 0] < 1e-12
    middle = half / np.where(length == 0.0, 1.0, length)
    out = np.concatenate([np.sum(start * middle, -1, keepdims=True), np.cross(start, middle)], -1)
    if np.any(opposite):
        smallest = np.eye(3)[np.argmin(np.abs(start), -1)]
        aside = unit(np.cross(start, smallest))
        half_turn = np.concatenate([np.zeros((*aside.shape[:-1], 1)), aside], -1)
        out = np.where(opposite[..., None], half_turn, out)
    return unit(out)


def swing(matrices: Array, target: Array, share: Array | float = 1.0) -> Array:
    """Orientations (..., 3, 3) turned by `share` (...) of the smallest turn that takes their Y to `target` (..., 3)."""
    whole = between(matrices[..., :, 1], target)
    still = np.zeros_like(whole)
    still[..., 0] = 1.0
    return np.asarray(quat_to_matrix(slerp(still, whole, share)) @ matrices)


def swing_twist(quats: Array, axis: Array) -> tuple[Array, Array]:
    """Splits turns (..., 4) into swing and twist, q = swing·twist.

    The twist is about the unit `axis` (3,), the swing about an axis at right angles to it.
    """
    along = np.sum(quats[..., 1:] * axis, -1, keepdims=True)
    twist = np.concatenate([quats[..., :1], along * axis], -1)
    length = np.linalg.norm(twist, axis=-1, keepdims=True)
    still = np.zeros_like(twist)
    still[..., 0] = 1.0
    # A half-turn swing leaves the twist open: it is then none.
    twist = np.where(length < 1e-12, still, twist / np.where(length == 0.0, 1.0, length))
    return quat_multiply(quats, quat_conjugate(twist)), twist


def angle_between(first: Array, second: Array) -> Array:
    """Angles (...) between orientations (..., 3, 3), radians, accurate next to 0 and next to half a turn."""
    turn = np.swapaxes(first, -1, -2) @ second
    skew = np.stack(
        [turn[..., 2, 1] - turn[..., 1, 2], turn[..., 0, 2] - turn[..., 2, 0], turn[..., 1, 0] - turn[..., 0, 1]], -1
    )
    trace = turn[..., 0, 0] + turn[..., 1, 1] + turn[..., 2, 2]
    return np.asarray(np.arctan2(np.linalg.norm(skew, axis=-1), trace - 1.0))
