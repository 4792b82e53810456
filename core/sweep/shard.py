"""One shard of a sweep: its poses are drawn, shown by the reference solver and measured; the worst few are kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..solve.settings import ArmSettings
from .job import SHARD, Job
from .look import solved_look
from .measure import read
from .measures.catalogue import MEASURES
from .measures.jump import WAY
from .sequence import directions, points
from .space import DIMENSIONS, settings_at

Array = NDArray[np.float64]

# The worst poses that a local search starts from, for each measure and arm.
STARTS = 12


@dataclass(frozen=True)
class Found:
    """A pose by its number and its value; None is worse than any number."""

    pose: int
    value: float | None


@dataclass(frozen=True)
class Tally:
    """What a measure found on one arm.

    Attributes:
        measure, arm: which.
        looked: poses that it had something to say about.
        left_out: poses in or at the singular set.
        worst: the worst of them, the worst first, STARTS at most.
    """

    measure: str
    arm: str
    looked: int
    left_out: int
    worst: tuple[Found, ...]


def tally_shard(job: Job, shard: int) -> tuple[Tally, ...]:
    """Every measure of every arm over one shard. It depends on job and shard alone."""
    first, count = shard * SHARD, job.size(shard)
    cube = points(job.seed, first, count, DIMENSIONS)
    way = directions(job.seed, shard, count, DIMENSIONS)
    found = []
    for place, (arm, geometry) in enumerate(job.arms):
        numbers = np.flatnonzero((first + np.arange(count)) % len(job.arms) == place)
        settings = settings_at(geometry, cube[numbers])
        look = solved_look(geometry, settings, beside(job, arm, cube[numbers], way[numbers]))
        for measure in MEASURES:
            values, looked, left_out = read(measure, look)
            # Of equal ones the first: a stable order is the same everywhere.
            order = np.argsort(-values, kind="stable")[: min(STARTS, looked)]
            worst = tuple(Found(first + int(numbers[at]), _finite(values[at])) for at in order)
            found.append(Tally(measure.name, arm, looked, left_out, worst))
    return tuple(found)


def beside(job: Job, arm: str, cube: Array, way: Array) -> ArmSettings:
    """The settings a little way from points (N, D) of the cube, along unit vectors `way` (N, D)."""
    return settings_at(job.geometry(arm), np.clip(cube + WAY * way, 0.0, 1.0))


def drawn(job: Job, pose: int) -> tuple[Array, Array]:
    """Point and way (1, D) of one pose, by its number."""
    shard = pose // SHARD
    row = pose - shard * SHARD
    way = directions(job.seed, shard, job.size(shard), DIMENSIONS)
    return points(job.seed, pose, 1, DIMENSIONS), way[row : row + 1]


def together(first: Tally, second: Tally) -> Tally:
    """Two tallies of one measure and arm as one; the order in which they come does not matter."""
    worst = sorted((*first.worst, *second.worst), key=lambda item: (-_height(item), item.pose))
    return Tally(
        first.measure,
        first.arm,
        first.looked + second.looked,
        first.left_out + second.left_out,
        tuple(worst[:STARTS]),
    )


def _height(found: Found) -> float:
    return float("inf") if found.value is None else found.value


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
