"""When a move from one rest to another begins and ends, to less than a frame, where its ends are too slow to be seen.

A limb that turns from rest to rest follows the integral of t^p·(1 - t)^q, t from 0 to 1: p = q = 2 is minimum jerk
(Flash & Hogan 1985), others begin or end more abruptly or more gently, down to p = q = 0, a constant speed. The
beginning, the end and both rests are fitted together to all the frames by least squares, which is maximum likelihood
under white noise: a move is told by its fast middle, so its ends are found though the noise hides them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MINIMUM_JERK, CONSTANT_SPEED = (2, 2), (0, 0)
# The highest p and q.
STEEPEST = 3
# A move that no shape follows to within this part of its size, and to within so many deviations of the rests' noise,
# is not one move from rest to rest.
FOLLOWS, FOLLOWS_NOISE = 0.02, 1.5
# Deviations of the noise that a move has to be large: less is none.
SEEN = 5.0
# How much less likely than the one before a shape is by each step of p or q away from minimum jerk.
RARER = 0.5
# Part of a move's size up to which no two errors differ: rounding.
LEAST_ERROR = 1e-9
# Steps of the fit at most, and the part of the move below which one ends it.
STEPS, SETTLED = 30, 1e-3


@dataclass(frozen=True)
class Move:
    """Attributes:
    begins, ends: in frames, with their parts.
    shape: the likeliest (p, q).
    error: deviation of what that one leaves, in the values' unit.
    """

    begins: float
    ends: float
    shape: tuple[int, int]
    error: float


def move_between(values: Array, begins: float, ends: float) -> Move | None:
    """The move in `values` (M,), which rest before and after it; None where they are no single move.

    Args:
        begins, ends: a first guess, in frames from the first value.

    Beginning and end are the means over the shapes, each weighed by how likely it makes the values and how likely it is
    beforehand, RARER for each step away from minimum jerk (Bayesian model averaging): noise often leaves several.
    """
    count = len(values)
    if count < 8 or ends - begins < 2.0:
        return None
    best = _fitted(values, begins, ends, MINIMUM_JERK)
    if best is None:
        return None
    fits, tried = [best], {MINIMUM_JERK}
    while near := [shape for shape in (*_neighbours(best.shape), CONSTANT_SPEED) if shape not in tried]:
        tried.update(near)
        fits += [fit for shape in near if (fit := _fitted(values, best.begins, best.ends, shape)) is not None]
        likeliest = min(fits, key=lambda fit: fit.error)
        if likeliest is best:
            break
        best = likeliest
    before, after = values[: int(best.begins) + 1], values[int(np.ceil(best.ends)) :]
    if min(len(before), len(after)) < 2:
        return None
    squares = np.sum((before - before.mean()) ** 2) + np.sum((after - after.mean()) ** 2)
    noise = float(np.sqrt(squares / (len(before) + len(after) - 2)))
    size = abs(float(after.mean() - before.mean()))
    if best.error > FOLLOWS * size + FOLLOWS_NOISE * noise or size <= SEEN * noise:
        return None
    least = max(best.error, LEAST_ERROR * size)
    weights = np.array([(max(fit.error, least) / least) ** -count * RARER ** _steps(fit.shape) for fit in fits])
    begins, ends = (weights / weights.sum()) @ np.array([[fit.begins, fit.ends] for fit in fits])
    return Move(float(begins), float(ends), best.shape, best.error)


def _steps(shape: tuple[int, int]) -> int:
    """From minimum jerk."""
    return sum(abs(one - other) for one, other in zip(shape, MINIMUM_JERK, strict=True))


def _neighbours(shape: tuple[int, int]) -> list[tuple[int, int]]:
    p, q = shape
    steps = ((p + 1, q + 1), (p - 1, q - 1), (p + 1, q), (p - 1, q), (p, q + 1), (p, q - 1))
    return [near for near in steps if min(near) >= 0 and max(near) <= STEEPEST]


def _fitted(values: Array, begins: float, ends: float, shape: tuple[int, int]) -> Move | None:
    """Least squares by Levenberg's steps over begin and end; the rests' own values are eliminated (linear)."""
    count = len(values)
    frames = np.arange(count, dtype=float)
    curve = _curve(shape)
    own = values - values.mean()

    def left(at: Array) -> Array:
        share = np.polyval(curve, np.clip((frames - at[0]) / (at[1] - at[0]), 0.0, 1.0))
        share -= share.sum() / count
        return np.asarray(own - share * (share @ own) / max(float(share @ share), 1e-300))

    def allowed(at: Array) -> bool:
        return bool(at[0] >= 0.0 and at[1] <= count - 1.0 and at[1] - at[0] >= 2.0)

    at = np.array([max(begins, 0.0), min(ends, count - 1.0)])
    if not allowed(at):
        return None
    rest = left(at)
    error, damping = float(rest @ rest), 1e-3
    small = 1e-3 * np.eye(2)
    for _ in range(STEPS):
        slopes = np.stack([(left(at + small[side]) - rest) / 1e-3 for side in range(2)], axis=1)
        normal = slopes.T @ slopes
        normal += np.diag(np.diag(normal)) * damping + 1e-300 * np.eye(2)
        step = -np.linalg.solve(normal, slopes.T @ rest)
        trial = at + step
        if allowed(trial):
            new = left(trial)
            if float(new @ new) < error:
                at, rest, error, damping = trial, new, float(new @ new), damping * 0.2
                if np.abs(step).max() < SETTLED * (at[1] - at[0]):
                    break
                continue
        damping = max(damping, 1e-4) * 8.0
        if damping > 1e8:
            break
    return Move(float(at[0]), float(at[1]), shape, float(np.sqrt(error / count)))


def _curve(shape: tuple[int, int]) -> Array:
    """Coefficients, highest power first, of the integral of t^p·(1 - t)^q, 1 at t = 1."""
    p, q = shape
    powers = np.zeros(p + q + 2)
    for k in range(q + 1):
        powers[p + k + 1] = comb(q, k) * (-1.0) ** k / (p + k + 1)
    return np.asarray(powers[::-1] / powers.sum())
