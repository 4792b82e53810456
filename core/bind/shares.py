"""How a vertex's weight is shared by the skin bones of a segment, from its place along the segment."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TINY = 1e-12


def along(points: Array, head: Array, tail: Array) -> Array:
    """Place of `points` (V, 3) along the segment from `head` to `tail` (3,): 0 to 1, held at the ends, (V,)."""
    line = tail - head
    return np.asarray(np.clip((points - head) @ line / max(float(line @ line), TINY), 0.0, 1.0))


def overlap_shares(place: Array, count: int) -> Array:
    """Shares (V, K) of `count` equal bones at `place` (V,), 0 to 1 along their segment; each row adds up to 1.

    A bone has all of it in its middle and half of it at either boundary; between the middles of neighbours it runs
    linearly, and the outer halves of the first and the last bone are theirs alone.
    """
    middle = np.clip(place * count - 0.5, 0.0, count - 1.0)
    return np.asarray(np.maximum(1.0 - np.abs(middle[:, None] - np.arange(count)), 0.0))


def split(weights: NDArray[np.float32], shares: Array) -> NDArray[np.float32]:
    """`weights` (V,) by `shares` (V, K) in the host's single precision; a row's sum differs by its rounding alone."""
    return np.asarray(weights.astype(np.float64)[:, None] * shares, np.float32)
