"""The one shape that every measure of the sweep has, and how it is read off a look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..proof.measures import SLIDE_LIMIT
from .look import Look

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def nowhere(look: Look) -> Mask:
    """No pose."""
    return np.zeros(len(look.settings.ik), dtype=bool)


def everywhere(look: Look) -> Mask:
    """Every pose."""
    return ~nowhere(look)


@dataclass(frozen=True)
class Measure:
    """One quantity of a pose.

    Attributes:
        name: unique.
        requirement: the row of the proof's table that it belongs to.
        unit: "L", "deg" or "1".
        limit: largest value that passes; None for a distance out of reach, which is told and is no failure.
        value: (N,) of the poses of a look, 0 is perfect; -inf where it turns out to be at a singular set.
        applies: which poses it has something to say about, (N,).
        left_out: which poses are in or at a singular set that makes it meaningless, (N,).
        tolerance: how far the host's value may be from the solver's, in the unit.
        pair: whether it compares the settings with those beside.
        search: whether it depends on the settings by design: what is 0 by design is searched only where it is not.
    """

    name: str
    requirement: str
    unit: str
    limit: float | None
    value: Callable[[Look], Array]
    applies: Callable[[Look], Mask] = everywhere
    left_out: Callable[[Look], Mask] = nowhere
    tolerance: float = SLIDE_LIMIT
    pair: bool = False
    search: bool = False


def read(measure: Measure, look: Look) -> tuple[Array, int, int]:
    """Values (N,), -inf where there is none and inf where it is no number; how many poses were looked at, and how many
    were left out for the singular set."""
    asked = measure.applies(look)
    looked = asked & ~measure.left_out(look)
    values = np.full(len(asked), -np.inf)
    if looked.any():
        found = measure.value(look if looked.all() else look.only(looked))
        values[looked] = np.where(np.isnan(found), np.inf, np.where(found == -np.inf, found, np.abs(found)))
    count = int((values > -np.inf).sum())
    return values, count, int(asked.sum()) - count
