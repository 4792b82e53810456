"""Fingers in a proof: how they move while the torso does, and what the host showed of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..solve.fingers import FingerGeometry, FingerSettings

Array = NDArray[np.float64]

# Largest channels about hinge, roll and aside, radians: plainly more than a limit could hide, less than a finger folds.
CHANNELS = np.array([0.6, 0.2, 0.3])
# The dial of all and a finger's own go beyond their sum's ends together, so that the caps are looked at as well.
CURL, OWN = (-0.4, 1.0), (-0.4, 0.6)
# Frames of the slowest movement; the golden ratio's multiples keep any two bones out of step.
PERIOD, GOLDEN = 120.0, 0.618033988749895


@dataclass(frozen=True, eq=False)
class FingerRun:
    """The fingers of one hand through one run.

    Attributes:
        geometry: the fingers at rest.
        settings: what was set, frame by frame.
        base_turn: (N,), how far the fingers' base is to be turned about the hand's X at the knuckles, radians.
        poses: evaluated skin bones, (N, K, 4, 4), by the finger's name.
    """

    geometry: FingerGeometry
    settings: FingerSettings
    base_turn: Array
    poses: Mapping[str, Array]


def moving_fingers(geometry: FingerGeometry, frames: int) -> FingerSettings:
    """Every dial and every channel in movement, each in its own time: (frames,) and (frames, K, 3)."""
    time = np.arange(frames) / PERIOD
    count = 0

    def wave() -> Array:
        nonlocal count
        count += 1
        phase = (count * GOLDEN) % 1.0
        return np.asarray(np.sin(2.0 * np.pi * (time * (1.0 + phase) + phase)))

    def within(low: float, high: float) -> Array:
        return low + (high - low) * 0.5 * (1.0 + wave())

    return FingerSettings(
        curl=within(*CURL),
        spread=wave(),
        own={finger.name: within(*OWN) for finger in geometry.fingers},
        channels={
            finger.name: np.stack(
                [np.stack([wave(), wave(), wave()], axis=-1) * CHANNELS for _ in finger.frames], axis=1
            )
            for finger in geometry.fingers
        },
    )
