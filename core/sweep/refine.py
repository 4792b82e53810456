"""Local search from the worst poses: how bad it gets next to what was drawn.

A compass search in the unit cube: all neighbours a step along one coordinate up or down are looked at, and the place to
which all of those that are worse lead together; the worst becomes the new place, and where none is worse the step is
halved. It is deterministic, needs no derivative, keeps within the
ranges, and never enters a singular set, because what is left out there has no value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .job import Job
from .look import solved_look
from .measure import Measure, read
from .measures.catalogue import measure_named
from .shard import Found, Tally, beside, drawn
from .space import DIMENSIONS, settings_at

Array = NDArray[np.float64]

FIRST_STEP, LAST_STEP = 0.08, 0.002
# What is 0 by design is searched from this part of the limit on: below it is rounding, where a search finds nothing. A
# host's rest frames are in single precision, of which measures show up to a third of a slide's limit.
ROUNDING = 0.5


@dataclass(frozen=True, eq=False)
class Refined:
    """The end of a search.

    Attributes:
        pose: number of the pose that it started from.
        value: at the end; None where there is no number.
        cube, way: point and way, (1, D).
        moved: whether the search found anything worse than where it started.
    """

    pose: int
    value: float | None
    cube: Array
    way: Array
    moved: bool


def worth_refining(measure: Measure, found: Found) -> bool:
    """Whether a search makes sense: there is a limit, a number, and more than rounding."""
    if measure.limit is None or found.value is None:
        return False
    return found.value > 0.0 if measure.search else found.value > ROUNDING * measure.limit


def searches(tallies: tuple[Tally, ...]) -> list[tuple[str, str, tuple[Found, ...]]]:
    """(measure, arm, poses to start from) of every search that makes sense."""
    found = []
    for tally in tallies:
        measure = measure_named(tally.measure)
        starts = tuple(item for item in tally.worst if worth_refining(measure, item))
        if starts:
            found.append((tally.measure, tally.arm, starts))
    return found


def refine(job: Job, name: str, arm: str, starts: tuple[Found, ...]) -> Refined:
    """Search from drawn poses of `arm` for larger values of the measure called `name`; the worst of all ends.

    The searches do not know of each other: they go in step, because many poses at once cost little more than few.
    """
    measure = measure_named(name)
    begun = [drawn(job, found.pose) for found in starts]
    cube, way = (np.concatenate(column) for column in zip(*begun, strict=True))
    first = values_at(job, measure, arm, cube, way)
    value, step = first.copy(), np.full(len(cube), FIRST_STEP)
    sides = np.concatenate([np.eye(DIMENSIONS), -np.eye(DIMENSIONS)])
    for _ in range(job.rounds):
        on = np.flatnonzero((step >= LAST_STEP) & np.isfinite(value))
        if len(on) == 0:
            break
        around = np.clip(cube[on, None] + step[on, None, None] * sides, 0.0, 1.0)
        values = _values(job, measure, arm, around, way[on])
        up, down = np.split(values, 2, axis=1)
        # All that helps at once goes further than the best of it; it may be too far, or into a singular set.
        helps = np.where(np.maximum(up, down) > value[on, None], np.where(up >= down, 1.0, -1.0), 0.0)
        ahead = np.clip(cube[on, None] + (step[on, None] * helps)[:, None] * np.array([1.0, 0.5])[:, None], 0.0, 1.0)
        around = np.concatenate([around, ahead], axis=1)
        values = np.concatenate([values, _values(job, measure, arm, ahead, way[on])], axis=1)
        best = np.argmax(values, axis=1)
        rows = np.arange(len(on))
        worse = values[rows, best] > value[on]
        cube[on[worse]], value[on[worse]] = around[rows, best][worse], values[rows, best][worse]
        step[on[~worse]] /= 2.0
    return worst_of(
        [
            Refined(found.pose, _number(value[at]), cube[at : at + 1], way[at : at + 1], bool(value[at] > first[at]))
            for at, found in enumerate(starts)
        ]
    )


def values_at(job: Job, measure: Measure, arm: str, cube: Array, way: Array) -> Array:
    """The measure at points (N, D) of the cube, (N,); -inf where it has nothing to say, inf where it is no number."""
    geometry = job.geometry(arm)
    settings = settings_at(geometry, cube)
    return read(measure, solved_look(geometry, settings, beside(job, arm, cube, way) if measure.pair else settings))[0]


def worst_of(refined: list[Refined]) -> Refined:
    """The worst of several searches; of equal ones that of the lowest pose."""
    return min(refined, key=lambda item: (-(np.inf if item.value is None else item.value), item.pose))


def _values(job: Job, measure: Measure, arm: str, cube: Array, way: Array) -> Array:
    """`values_at` for places (K, P, D) of K searches with their ways (K, D): (K, P)."""
    searches, places = cube.shape[:2]
    flat = cube.reshape(searches * places, -1)
    return values_at(job, measure, arm, flat, np.repeat(way, places, axis=0)).reshape(searches, places)


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
