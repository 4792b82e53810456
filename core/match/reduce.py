"""The fewest keys that give a channel's values back by straight interpolation, within a tolerance on the values."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MatchError
from ..solve.settings import Array

# Frames looked at first from a key; twice as many as long as the step may still go on.
FIRST_LOOK = 16


def kept_frames(values: ArrayLike, tolerance: ArrayLike) -> NDArray[np.intp]:
    """Indices of the frames to key, the first and the last among them, so few that no smaller number would do.

    Args:
        values: channel values per frame, (N, C) or (N,). A key has its frame's exact values.
        tolerance: how far a channel's value between two keys may be off, 0 or more: one number, or (C,).

    A step from one key to a later one is feasible if the straight line between them passes all frames in between
    within the tolerance: if its slope lies in the cone that those frames leave open. The keys are a shortest path over
    feasible steps, found with the cones of each frame: a longer step may be feasible where a shorter one is not, so
    going as far as possible each time would not always be best. Raises MatchError for values or a tolerance that are
    no finite numbers.
    """
    rows = np.asarray(values, float)
    rows = rows[:, None] if rows.ndim == 1 else rows
    limit = np.asarray(tolerance, float)
    if rows.ndim != 2 or not np.isfinite(rows).all():
        raise MatchError("reduce: the values are no finite (frames, channels) table; mend the channel that is not")
    if limit.shape not in ((), rows.shape[1:]) or not np.all(np.isfinite(limit) & (limit >= 0.0)):
        raise MatchError(f"reduce: tolerance {tolerance!r}; give one number of 0 or more, or one a channel")
    count = len(rows)
    if count == 0:
        return np.zeros(0, np.intp)
    keys = np.full(count, count + 1)
    keys[0] = 1
    previous = np.zeros(count, np.intp)
    for start in range(count - 1):
        ends = start + 1 + _feasible_steps(rows, start, limit)
        better = ends[keys[start] + 1 < keys[ends]]
        keys[better] = keys[start] + 1
        previous[better] = start
    kept = [count - 1]
    while kept[-1] > 0:
        kept.append(int(previous[kept[-1]]))
    return np.array(kept[::-1], np.intp)


def _feasible_steps(rows: Array, start: int, limit: Array) -> NDArray[np.intp]:
    """Offsets from the frame after `start` of the frames to which a straight step is feasible."""
    look = FIRST_LOOK
    while True:
        later = rows[start + 1 : start + 1 + look] - rows[start]
        span = np.arange(1, len(later) + 1)[:, None]
        low = np.maximum.accumulate((later - limit) / span, axis=0)
        high = np.minimum.accumulate((later + limit) / span, axis=0)
        slope = later / span
        # Rounding of the slopes must not lose a straight line at tolerance 0.
        slack = 8.0 * np.finfo(float).eps * (np.abs(rows[start]) + np.abs(later)).max(initial=0.0)
        fits = np.all((slope >= low - slack / span) & (slope <= high + slack / span), axis=1)
        closed = np.any(low > high + 2.0 * slack, axis=1)
        if closed.any() or start + 1 + look >= len(rows):
            return np.flatnonzero(fits)
        look *= 2
