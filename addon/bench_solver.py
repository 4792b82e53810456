"""Rate of the reference solver. It needs no host; it stands here beside the other measurements."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np

from ..core.proof.synthetic import guide_geometry
from ..core.solve.arm import solve
from ..core.solve.settings import ArmGeometry, ArmSettings
from ..core.stature import guide_from_stature

BATCH = 20_000
SINGLE = 400


def rows(effort: float, row: Callable[..., Any]) -> list[Any]:
    """Poses a second in batches, and over a loop of single poses."""
    geometry = guide_geometry(guide_from_stature(1.7, "Wren"), "L")
    settings = _settings(np.random.default_rng(5), geometry, BATCH)
    repeats = max(2, int(7 * effort))
    batch = min(_seconds(lambda: solve(geometry, settings)) for _ in range(repeats)) / BATCH
    singles = [_cut(settings, index) for index in range(SINGLE)]
    single = min(_seconds(lambda: [solve(geometry, one) for one in singles]) for _ in range(repeats)) / SINGLE
    return [
        row("reference solver, poses a second (one thread)", 1.0 / batch, ">=", 300_000.0),
        row("reference solver: batch over a loop of single poses", single / batch),
    ]


def _seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def _cut(settings: ArmSettings, index: int) -> ArmSettings:
    return ArmSettings(**{field.name: getattr(settings, field.name)[index : index + 1] for field in fields(settings)})


def _settings(rng: np.random.Generator, geometry: ArmGeometry, count: int) -> ArmSettings:
    """Random settings of every dial."""

    def frames(at: np.ndarray) -> np.ndarray:
        turn, _ = np.linalg.qr(rng.normal(size=(count, 3, 3)))
        turn *= np.sign(np.linalg.det(turn))[:, None, None]
        out = np.tile(np.eye(4), (count, 1, 1))
        out[:, :3, :3], out[:, :3, 3] = turn, at
        return out

    shoulder = geometry.upper_arm[:3, 3]
    near = shoulder + rng.uniform(-0.4, 0.4, (count, 3))
    dials = {
        name: rng.uniform(0.0, 1.0, count) for name in ("ik", "elbow", "isolate", "lift", "stretch", "soft", "volume")
    }
    return ArmSettings(
        torso=frames(geometry.torso[:3, 3] + rng.uniform(-0.2, 0.2, (count, 3))),
        root=frames(rng.uniform(-0.2, 0.2, (count, 3))),
        clavicle=rng.uniform(-0.5, 0.5, (count, 3)),
        upper_arm=rng.uniform(-2.0, 2.0, (count, 3)),
        forearm=rng.uniform(-2.0, 2.0, (count, 3)),
        hand=rng.uniform(-1.0, 1.0, (count, 3)),
        hand_hold=frames(near),
        elbow_hold=frames(shoulder + rng.uniform(-0.3, 0.3, (count, 3))),
        aim=shoulder + rng.uniform(-1.0, 1.0, (count, 3)),
        upper_length=rng.uniform(0.6, 1.5, count),
        forearm_length=rng.uniform(0.6, 1.5, count),
        upper_roll=rng.uniform(-np.pi, np.pi, count),
        hand_roll=rng.uniform(-np.pi / 2.0, np.pi, count),
        hand_side=rng.uniform(-np.pi / 2.0, np.pi / 2.0, count),
        hand_spin=rng.uniform(-np.pi, np.pi, count),
        finger_bend=rng.uniform(0.0, np.pi / 2.0, count),
        **dials,
    )
