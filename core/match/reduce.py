"""The fewest keys that give a channel's values back by straight interpolation, within a tolerance on the values."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MatchError
from ..solve.settings import Array


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
    if count > 1 and _one_line(rows, limit):
        return np.array([0, count - 1], np.intp)
    keys = np.full(count, count + 1)
    keys[0] = 1
    previous = np.zeros(count, np.intp)
    starts, ends = _feasible_steps(rows, limit)
    bounds = np.searchsorted(starts, np.arange(count))
    for start in range(count - 1):
        reached = ends[bounds[start] : bounds[start + 1]]
        better = reached[keys[start] + 1 < keys[reached]]
        keys[better] = keys[start] + 1
        previous[better] = start
    kept = [count - 1]
    while kept[-1] > 0:
        kept.append(int(previous[kept[-1]]))
    return np.array(kept[::-1], np.intp)


def _one_line(rows: Array, limit: Array) -> bool:
    """Whether the straight line from the first row to the last passes all of them, which is quicker told on its own."""
    share = np.linspace(0.0, 1.0, len(rows))[:, None]
    return bool(np.all(np.abs(rows[0] + share * (rows[-1] - rows[0]) - rows) <= limit))


def _feasible_steps(rows: Array, limit: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every feasible straight step, as its first and its last frame, (S,) each, by first frame.

    The cones of all frames are narrowed at once, one frame further at a time, as long as they are open.
    """
    count = len(rows)
    first = np.arange(count - 1)
    low, high = np.full((count - 1, rows.shape[1]), -np.inf), np.full((count - 1, rows.shape[1]), np.inf)
    size = np.abs(rows).max(axis=1, initial=0.0)
    largest = np.zeros(count - 1)
    found: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    span = 0
    while len(first):
        span += 1
        later = rows[first + span] - rows[first]
        low, high = np.maximum(low, (later - limit) / span), np.minimum(high, (later + limit) / span)
        # Rounding of the slopes must not lose a straight line at tolerance 0.
        largest = np.maximum(largest, np.abs(later).max(axis=1, initial=0.0))
        slack = (8.0 * np.finfo(float).eps * (size[first] + largest))[:, None]
        slope = later / span
        fits = np.all((slope >= low - slack / span) & (slope <= high + slack / span), axis=1)
        found.append((first[fits], first[fits] + span))
        open_still = np.all(low <= high + 2.0 * slack, axis=1) & (first + span + 1 < count)
        first, low, high, largest = first[open_still], low[open_still], high[open_still], largest[open_still]
    starts = np.concatenate([np.zeros(0, np.intp), *(pair[0] for pair in found)])
    ends = np.concatenate([np.zeros(0, np.intp), *(pair[1] for pair in found)])
    order = np.argsort(starts, kind="stable")
    return starts[order], ends[order]
