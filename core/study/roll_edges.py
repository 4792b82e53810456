"""When a roll begins and ends between two rests of the hand: as far as its turn goes, seen or not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..rotations import matrix_to_quat, unit
from .motion import ArmMotion
from .moves import move_between
from .still import Span

Array = NDArray[np.float64]

# Frames that a rest has to have on either side, and seconds of it that are looked at: a plant's hand need not stand
# like a rock for longer.
LEAST_REST, REST = 3, 0.5


def turning_span(arm: ArmMotion, tip: Array, rate: float, before: Span, roll: Span, after: Span) -> Span | None:
    """The frames in which the hand turns from its rest `before` to its rest `after`; None where that is not told.

    Args:
        tip: (N, 3), end of the hand.
        before, roll, after: of frames, one right after the other.
    """
    most = round(REST * rate)
    before = Span(max(before.first, before.last + 1 - most), before.last)
    after = Span(after.first, min(after.last, after.first - 1 + most))
    if min(before.frames, after.frames) < LEAST_REST:
        return None
    first = before.first
    inside = slice(first, after.last + 1)
    resting = slice(0, before.frames), slice(after.first - first, None)
    turns = _turn(arm.hand[inside], *resting) if arm.hand is not None else _aim((tip - arm.wrist)[inside], *resting)
    move = move_between(turns, roll.first - first - 0.5, roll.last - first + 0.5)
    if move is None:
        return None
    # The frames next to beginning and end are the rests': half a frame on, nothing has turned yet that could be seen.
    return Span(first + round(move.begins) + 1, first + round(move.ends) - 1)


def _turn(turns: Array, before: slice, after: slice) -> Array:
    """Radians (M,) of orientations (M, 3, 3) about the axis on which they turn from one rest to the other."""
    inside = turns[before]
    away = matrix_to_quat(np.swapaxes(inside[len(inside) // 2], 0, 1) @ turns)
    size = np.linalg.norm(away[:, 1:], axis=1)
    # For small turns the vector part is half of the angle.
    scale = np.where(size < 1e-9, 2.0, 2.0 * np.arctan2(size, away[:, 0]) / np.maximum(size, 1e-12))
    vectors = away[:, 1:] * scale[:, None]
    return np.asarray(vectors @ unit(vectors[after].mean(axis=0)))


def _aim(lines: Array, before: slice, after: slice) -> Array:
    """Radians (M,) of directions (M, 3) in the plane of both rests' directions, from the first."""
    start, end = unit(lines[before].mean(axis=0)), unit(lines[after].mean(axis=0))
    side = unit(end - start * float(start @ end))
    return np.asarray(np.arctan2(lines @ side, lines @ start))
