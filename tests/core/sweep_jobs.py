"""Sweeps of Wren's arms for the tests, and looks at a few hundred of their poses."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from armwright.core.proof.synthetic import solved_samples
from armwright.core.stature import guide_from_stature
from armwright.core.sweep.job import Job, job_of_guide
from armwright.core.sweep.look import Look, solved_look
from armwright.core.sweep.sequence import directions, points
from armwright.core.sweep.shard import beside
from armwright.core.sweep.space import DIMENSIONS, settings_at

SEED = 7


def job(poses: int, seed: int = SEED, rounds: int = 0) -> Job:
    return job_of_guide(guide_from_stature(1.7, "Wren"), seed, poses, rounds)


@cache
def look(poses: int, arm: str = "L") -> Look:
    """The first poses of a sweep, all of one arm, through the solver."""
    print("seed", SEED)
    of = job(poses)
    cube, way = points(SEED, 0, poses, DIMENSIONS), directions(SEED, 0, poses, DIMENSIONS)
    return solved_look(of.geometry(arm), settings_at(of.geometry(arm), cube), beside(of, arm, cube, way))


def shown_by(of: Look, change: Any) -> Look:
    """The look as a rig with a defect would give it: `change` takes settings and sound bones and gives its own."""

    def show(settings: Any) -> Any:
        return change(settings, solved_samples(of.geometry, settings))

    return Look(of.geometry, of.settings, of.beside, show(of.settings), show)


def moved(frames: np.ndarray, by: Any) -> np.ndarray:
    out = frames.copy()
    out[:, :3, 3] += by
    return out


def turned(frames: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Frames turned in their own axes."""
    out = frames.copy()
    out[:, :3, :3] = out[:, :3, :3] @ turn
    return out
