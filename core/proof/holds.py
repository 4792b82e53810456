"""Places for held points: in reach of a moving shoulder in every frame of a run, or out of it for a part.

All points are armature space, metres. Everything is deterministic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from .measures import unit

Array = NDArray[np.float64]

# In units of L. A place with this much room at both ends of the reach is good enough: the nearest natural one is taken.
COMFORTABLE = 0.05
# Without this much room rounding decides whether a point is in reach.
LEAST = 0.002
# Grid of candidates about the natural place, and the finest step of the search, units of L.
SPAN, STEP, FINEST = 1.0, 0.2, 0.01
# Sine of the angle, seen from the shoulder, that a place keeps from the elbow aim: nearer, the aim says nothing.
OFF_AIM = 0.2
# How far beyond its furthest reach a point goes in a run out of reach, over that reach.
BEYOND = 1.25


@dataclass(frozen=True, eq=False)
class Reach:
    """Where a point can be held, seen from the shoulder.

    Attributes:
        shoulder: (N, 3), over the run.
        moves: (N, 3), the held point's displacement from its place.
        nearest, furthest: (N,), limits of its distance from the shoulder.
        size: L.
        aim: (N, 3), the elbow aim that the place keeps away from; None for a place that does not mind.
    """

    shoulder: Array
    moves: Array
    nearest: Array
    furthest: Array
    size: float
    aim: Array | None = None


def room(reach: Reach, places: Array) -> Array:
    """Smallest distance over the run from either end of the reach, (K,), units of L, for places (K, 3).

    Below 0 a place is out of reach; a place on the line to the aim is as bad as one that misses by L.
    """
    moves = reach.moves - reach.shoulder
    # |p + m|² = |p|² + 2 p·m + |m|², as products of matrices: thousands of places against hundreds of frames.
    square = np.sum(places * places, axis=1)[:, None] + 2.0 * places @ moves.T + np.sum(moves * moves, axis=1)
    far = np.sqrt(np.maximum(square, 0.0))
    least = np.minimum(far - reach.nearest, reach.furthest - far).min(axis=1) / reach.size
    if reach.aim is None:
        return np.asarray(least)
    aim = unit(reach.aim - reach.shoulder)
    cosine = (places @ aim.T + np.sum(moves * aim, axis=1)) / np.maximum(far, 1e-12)
    on_aim = (1.0 - cosine * cosine < OFF_AIM**2).any(axis=1)
    return np.asarray(np.where(on_aim, np.minimum(least, -1.0), least))


def near_place(reach: Reach, natural: Array, what: str) -> Array:
    """Place (3,) in reach in every frame: the nearest to `natural` (3,) with comfortable room, else the one with most.

    Raises ProofError, with the missing distance, where the search finds none.
    """
    if room(reach, natural[None])[0] >= COMFORTABLE:
        return natural
    ticks = np.arange(-SPAN, SPAN + STEP / 2.0, STEP)
    grid = np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)
    best = _best(reach, natural, natural + grid * reach.size)
    step = STEP / 2.0
    around = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    while step >= FINEST:
        moved = _best(reach, natural, best + around * step * reach.size)
        if np.array_equal(moved, best):
            step /= 2.0
        best = moved
    least = float(room(reach, best[None])[0])
    if not least >= LEAST:
        raise ProofError(
            f"{what}: no place stays in reach through the whole motion; the best misses by "
            f"{(LEAST - least) * reach.size:.4f} m: "
            "use a motion with less travel or turn, or wider limits of the segments' lengths"
        )
    return best


def far_place(reach: Reach, near: Array, beyond: float = BEYOND) -> Array:
    """`near` (3,) moved away from the shoulder until the point is at `beyond` times its furthest reach once."""
    out = near - (reach.shoulder - reach.moves).mean(axis=0)
    out = out / max(float(np.linalg.norm(out)), 1e-9)

    def most(distance: float) -> float:
        away = near + out * distance + reach.moves - reach.shoulder
        return float((np.linalg.norm(away, axis=1) / reach.furthest).max())

    low, high = 0.0, 8.0 * float(reach.furthest.max())
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if most(middle) < beyond else (low, middle)
    return np.asarray(near + out * high)


def _best(reach: Reach, natural: Array, places: Array) -> Array:
    """The nearest to `natural` of those with comfortable room, or the one with most room."""
    rooms = room(reach, places)
    away = np.linalg.norm(places - natural, axis=1)
    good = rooms >= COMFORTABLE
    # Of equal ones the first: argmin and argmax are deterministic.
    return np.asarray(places[int(np.argmin(np.where(good, away, np.inf)) if good.any() else np.argmax(rooms))])
