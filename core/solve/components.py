"""Vectors and turns as component arrays, for speed: axis 0 holds the components, axis 1 the poses.

A vector is (3, N), a quaternion (4, N), w first; a constant one is (3, 1) or (4, 1). Each component is contiguous, so
every operation runs over plain rows; a turn costs 4 numbers instead of 9. Quaternions are units throughout.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AXES = {"X": 1, "Y": 2, "Z": 3}
TINY = 1e-300
# Directions whose sine is below this are taken for opposite: the smallest turn between them has no axis.
OPPOSITE = 1e-12


def components(values: Array) -> Array:
    """Component rows (K, N) of N vectors (N, K)."""
    return np.ascontiguousarray(values.T)


def frame_rows(frames: Array) -> Array:
    """The upper three rows of frames (N, 4, 4) as rows (12, N): element [i, j] is row 4 i + j."""
    return np.ascontiguousarray(frames.reshape(len(frames), 16)[:, :12].T)


def frame_turn(rows: Array) -> Array:
    """Quaternions of the rotations in `frame_rows`."""
    return turn_of_columns(rows[0:12:4], rows[1:12:4], rows[2:12:4])


def frame_head(rows: Array) -> Array:
    """Positions (3, N) in `frame_rows`."""
    return np.asarray(rows[3:12:4])


def frame_rotate(rows: Array, vector: Array) -> Array:
    """A constant vector (3,) in the axes of `frame_rows`, (3, N)."""
    return np.asarray(rows[0:12:4] * vector[0] + rows[1:12:4] * vector[1] + rows[2:12:4] * vector[2])


def dot(first: Array, second: Array) -> Array:
    """Dot products (N,) of vectors or quaternions."""
    product = first * second
    total = product[0] + product[1]
    for row in product[2:]:
        total += row
    return np.asarray(total)


def cross(first: Array, second: Array) -> Array:
    """Cross products (3, N)."""
    out = np.empty(np.broadcast_shapes(first.shape, second.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(first[j], second[k], out=out[i])
        out[i] -= first[k] * second[j]
    return out


def length(vectors: Array) -> Array:
    """Lengths (N,)."""
    return np.asarray(np.sqrt(dot(vectors, vectors)))


def unit(vectors: Array) -> Array:
    """Units; a zero vector gives NaN, which no check lets pass."""
    return np.asarray(vectors / length(vectors))


def after(second: Array, first: Array) -> Array:
    """Products second·first: in matrices acting on columns, `first` is applied first."""
    w, x, y, z = (row * first for row in second)
    out: Array = np.empty_like(w)
    np.subtract(w[0], x[1], out=out[0])
    out[0] -= y[2]
    out[0] -= z[3]
    np.add(w[1], x[0], out=out[1])
    out[1] += y[3]
    out[1] -= z[2]
    np.subtract(w[2], x[3], out=out[2])
    out[2] += y[0]
    out[2] += z[1]
    np.add(w[3], x[2], out=out[3])
    out[3] -= y[1]
    out[3] += z[0]
    return out


def turn_about_x(angle: Array) -> Array:
    """Turns about the X axis."""
    out = np.zeros((4, len(angle)))
    half = 0.5 * angle
    np.cos(half, out=out[0])
    np.sin(half, out=out[1])
    return out


def turn_about_y(angle: Array) -> Array:
    """Turns about the Y axis."""
    out = np.zeros((4, len(angle)))
    half = 0.5 * angle
    np.cos(half, out=out[0])
    np.sin(half, out=out[2])
    return out


def euler_turn(angles: Array, order: str) -> Array:
    """Turns of Euler angles (3, N), as (x, y, z): the product of three half-angle quaternions, multiplied out."""
    i, j, k = (AXES[axis] for axis in order)
    half = 0.5 * angles
    c, s = np.cos(half), np.sin(half)
    ci, si, cj, sj, ck, sk = c[i - 1], s[i - 1], c[j - 1], s[j - 1], c[k - 1], s[k - 1]
    if (j - i) % 3 != 1:
        # An odd order is an even one seen in a mirror: the middle axis turns the other way.
        sj = -sj
    cc, ss, cs, sc = cj * ck, sj * sk, cj * sk, sj * ck
    out = np.empty((4, angles.shape[1]))
    out[0] = ci * cc + si * ss
    out[i] = si * cc - ci * ss
    out[j] = ci * sc + si * cs
    out[k] = ci * cs - si * sc
    if (j - i) % 3 != 1:
        np.negative(out[j], out=out[j])
    return out


def turn_of_columns(x: Array, y: Array, z: Array) -> Array:
    """Turns whose rotated axes are the units `x`, `y`, `z` (3, N).

    Of the four ways to the quaternion the one whose divisor is at least 1 is taken, pose by pose.
    """
    d0, d1, d2 = x[0], y[1], z[2]
    low, across, against = d2 < 0.0, d0 > d1, d0 < -d1
    yz, zx, xy = y[2] - z[1], z[0] - x[2], x[1] - y[0]
    yz_sum, zx_sum, xy_sum = y[2] + z[1], z[0] + x[2], x[1] + y[0]
    use_x, use_z = low & across, ~low & against
    use_y = low & ~across
    out = np.empty((4, x.shape[1]))
    for row, (from_w, from_x, from_y, from_z) in enumerate(
        (
            (1.0 + d0 + d1 + d2, yz, zx, xy),
            (yz, 1.0 + d0 - d1 - d2, xy_sum, zx_sum),
            (zx, xy_sum, 1.0 - d0 + d1 - d2, yz_sum),
            (xy, zx_sum, yz_sum, 1.0 - d0 - d1 + d2),
        )
    ):
        out[row] = from_w
        np.copyto(out[row], from_x, where=use_x)
        np.copyto(out[row], from_y, where=use_y)
        np.copyto(out[row], from_z, where=use_z)
    out /= length(out)
    return out


def y_axis(turn: Array) -> Array:
    """The rotated Y axis (3, N)."""
    w, x, y, z = turn
    out = np.empty((3, turn.shape[1]))
    out[0] = x * y - w * z
    out[0] *= 2.0
    out[1] = x * x + z * z
    out[1] *= -2.0
    out[1] += 1.0
    out[2] = y * z + w * x
    out[2] *= 2.0
    return out


def write_matrices(turn: Array, out: Array) -> None:
    """Rotation matrices of `turn` into `out` (N, 3, 3)."""
    w, x, y, z = turn
    double = 2.0 * turn[1:]
    x2, y2, z2 = double
    xx, yy, zz = x * x2, y * y2, z * z2
    xy, xz, yz = x * y2, x * z2, y * z2
    wx, wy, wz = w * x2, w * y2, w * z2
    np.subtract(1.0 - yy, zz, out=out[:, 0, 0])
    np.subtract(1.0 - xx, zz, out=out[:, 1, 1])
    np.subtract(1.0 - xx, yy, out=out[:, 2, 2])
    np.subtract(xy, wz, out=out[:, 0, 1])
    np.add(xy, wz, out=out[:, 1, 0])
    np.add(xz, wy, out=out[:, 0, 2])
    np.subtract(xz, wy, out=out[:, 2, 0])
    np.subtract(yz, wx, out=out[:, 1, 2])
    np.add(yz, wx, out=out[:, 2, 1])


def slerp(first: Array, second: Array, share: Array) -> Array:
    """Turns at `share` (N,) of the short way from `first` to `second`.

    cos(t ω) first + sin(t ω) n, with n the unit at right angles to `first` towards `second`: exact next to ω = 0, where
    the usual weights sin((1 - t) ω) / sin ω cancel.
    """
    cosine = dot(first, second)
    rest = second * np.copysign(1.0, cosine)
    cosine = np.abs(cosine)
    rest -= first * cosine
    sine = length(rest)
    part = np.arctan2(sine, cosine)
    part *= share
    out: Array = first * np.cos(part)
    rest *= np.sin(part) / np.maximum(sine, TINY)
    out += rest
    return out


def swing_share(turn: Array, target: Array, share: Array) -> Array:
    """`turn` swung by `share` (N,) of the smallest turn that takes its Y axis to the direction `target` (3, N).

    A target without a direction (zero) swings nothing.
    """
    y = y_axis(turn)
    axis = cross(y, target)
    sine, cosine = length(axis), dot(y, target)
    axis, sine = _mend_opposite(y, axis, sine, cosine)
    half = np.arctan2(sine, cosine)
    half *= 0.5 * share
    by = np.empty_like(turn)
    np.cos(half, out=by[0])
    np.multiply(axis, np.sin(half) / np.maximum(sine, TINY), out=by[1:])
    return after(by, turn)


def swing_whole(turn: Array, target: Array) -> Array:
    """`swing_share` at 1, without angles."""
    y = y_axis(turn)
    axis = cross(y, target)
    sine, cosine = length(axis), dot(y, target)
    axis, sine = _mend_opposite(y, axis, sine, cosine)
    by = np.empty_like(turn)
    far = np.sqrt(sine * sine + cosine * cosine)
    # Half the angle has the cosine and sine (far + cosine, sine) up to a common factor.
    by[0] = np.where(far > 0.0, far + cosine, 1.0)
    by[1:] = axis
    by /= length(by)
    return after(by, turn)


def swung_axis(y: Array, target: Array, share: Array) -> Array:
    """Directions (3, N) at `share` of the great circle from the units `y` to the direction `target` (3, N)."""
    axis = cross(y, target)
    sine, cosine = length(axis), dot(y, target)
    axis, sine = _mend_opposite(y, axis, sine, cosine)
    part = np.arctan2(sine, cosine)
    part *= share
    out = cross(axis, y)
    out *= np.sin(part) / np.maximum(sine, TINY)
    out += y * np.cos(part)
    return out


def angle(first: Array, second: Array) -> Array:
    """Angles (N,) between directions, accurate next to 0 and next to half a turn."""
    return np.asarray(np.arctan2(length(cross(first, second)), dot(first, second)))


def _mend_opposite(y: Array, axis: Array, sine: Array, cosine: Array) -> tuple[Array, Array]:
    """Where the target is exactly opposite: some axis at right angles to `y`, so short that the angle stays."""
    opposite = sine < -OPPOSITE * cosine
    if not opposite.any():
        return axis, sine
    at = np.flatnonzero(opposite)
    some = y[:, at]
    aside = unit(cross(some, np.eye(3)[:, np.argmin(np.abs(some), axis=0)]))
    axis, sine = axis.copy(), sine.copy()
    sine[at] = -OPPOSITE * cosine[at]
    axis[:, at] = aside * sine[at]
    return axis, sine
