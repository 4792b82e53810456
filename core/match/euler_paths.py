"""Euler channels along a motion: the branch and the whole turns that make them continuous.

Each orientation has two Euler triples within whole turns: (i, j, k) in the order of application, and
(i + π, π - j, k + π). Where the middle angle is a quarter turn, only the sum or difference of the outer two is given.
"""

from __future__ import annotations

import numpy as np

from ..rotations import AXES, axis_matrix
from ..solve.settings import Array

TURN = 2.0 * np.pi
# Below this cosine of the middle angle the outer two are not told apart: the first follows the frame before. The
# orientation is then given to as much.
SINGULAR = 1e-12


def euler_near(matrices: Array, order: str, near: Array) -> Array:
    """Channels (N, 3), as (x, y, z), of orientations (N, 3, 3), each frame for itself nearest to `near` (N, 3)."""
    i = AXES[order[0]]
    first = _triples(matrices, order, near[:, i])
    second = _other(first, order)
    near_first, near_second = _wound(first, near), _wound(second, near)
    flip = _far(near_second - near) < _far(near_first - near)
    return np.where(flip[:, None], near_second, near_first)


def euler_path(matrices: Array, order: str, start: Array) -> Array:
    """Channels (N, 3), as (x, y, z), of orientations (N, 3, 3) in time, without jumps of whole turns or of the branch.

    The first frame is nearest to `start` (3,), every other one to the frame before it. Of a path through the singular
    orientation the outer two angles may turn fast there, as they must; their values are still those of the orientation.
    """
    count = len(matrices)
    if count == 0:
        return np.zeros((0, 3))
    i = AXES[order[0]]
    first = _triples(matrices, order, np.full(count, start[i]))
    singular = _middle_cosine(matrices, order) < SINGULAR
    if singular.any():
        # The first angle of the last frame before that has one.
        last = np.maximum.accumulate(np.where(singular, -1, np.arange(count)))
        first = _triples(matrices, order, np.where(last < 0, start[i], first[last, i]))
    second = _other(first, order)
    # The two branches keep their distance: a frame changes branch where the other is nearer to the frame before.
    before, ours, other = first[:-1], first[1:], second[1:]
    change = _far(_wound(other, before) - before) < _far(_wound(ours, before) - before)
    at_start = euler_near(matrices[:1], order, start[None])[0]
    start_first = _far(_wound(first[0], at_start) - at_start)
    start_second = _far(_wound(second[0], at_start) - at_start)
    flips = np.concatenate([[start_second < start_first], change])
    flip = np.cumsum(flips) % 2 == 1
    path = np.unwrap(np.where(flip[:, None], second, first), axis=0)
    return np.asarray(path + TURN * np.round((at_start - path[0]) / TURN))


def _middle_cosine(m: Array, order: str) -> Array:
    i, j, _ = (AXES[axis] for axis in order)
    return np.asarray(np.hypot(m[:, i, i], m[:, j, i]))


def _triples(m: Array, order: str, singular_first: Array) -> Array:
    """The triple (N, 3) whose middle angle lies within a quarter turn.

    The last two angles are read after the first is taken off, so that next to the singular orientation, where the
    first is rounded coarsely, the triple still gives the orientation to the last digit.
    """
    i, j, k = (AXES[axis] for axis in order)
    sign = 1.0 if (j - i) % 3 == 1 else -1.0
    out = np.empty((len(m), 3))
    regular = _middle_cosine(m, order) >= SINGULAR
    out[:, i] = np.where(regular, np.arctan2(sign * m[:, k, j], m[:, k, k]), singular_first)
    rest = m @ np.swapaxes(axis_matrix(order[0], out[:, i]), -1, -2)
    out[:, k] = np.arctan2(-sign * rest[:, i, j], rest[:, j, j])
    middle = np.swapaxes(axis_matrix(order[2], out[:, k]), -1, -2) @ rest
    out[:, j] = np.arctan2(sign * middle[:, i, k], middle[:, i, i])
    return out


def _other(triples: Array, order: str) -> Array:
    """The second triple of the same orientation."""
    out = triples + np.pi
    j = AXES[order[1]]
    out[:, j] = np.pi - triples[:, j]
    return out


def _wound(angles: Array, near: Array) -> Array:
    return np.asarray(angles - TURN * np.round((angles - near) / TURN))


def _far(steps: Array) -> Array:
    return np.asarray(np.sum(steps * steps, -1))
