"""Where a point stands still, against motions that are made here and whose holds are known frame by frame."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from armwright.core.study.still import noise_of, stillness

SIZE = 0.6  # metres, an arm
NOISE = 0.002  # metres, along each axis
SECONDS = 20.0


def holds_and_moves(rate: float, seed: int, noise: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Points (N, 3), metres, that rest 0.4 to 2 s and move 0.3 to 0.9 s by minimum jerk; and whether each rests."""
    rng = np.random.default_rng(seed)
    here, points, rests, time = np.zeros(3), [], [], 0.0
    while time < SECONDS:
        hold, move = rng.uniform(0.4, 2.0), rng.uniform(0.3, 0.9)
        there = here
        while np.linalg.norm(there - here) < 0.12:
            there = here + rng.normal(size=3) * 0.25
        count, steps = max(1, round(hold * rate)), max(2, round(move * rate))
        share = np.arange(1, steps + 1) / (steps + 1)
        share = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
        arc = np.array([0.0, 0.0, 0.1]) * np.sin(np.pi * share)[:, None]
        points += [np.tile(here, (count, 1)), here + share[:, None] * (there - here) + arc]
        rests += [np.ones(count, bool), np.zeros(steps, bool)]
        here, time = there, time + hold + move
    made = np.concatenate(points)
    return made + rng.normal(size=made.shape) * noise, np.concatenate(rests)


@pytest.mark.parametrize("noise", [0.0, NOISE])
@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
def test_still_frames_are_found_with_few_missed_and_few_too_many(rate: float, noise: float) -> None:
    for seed in range(10):
        points, rests = holds_and_moves(rate, seed, noise)
        found = np.zeros(len(points), bool)
        for span in stillness(points, rate, SIZE).spans:
            found[span.first : span.last + 1] = True
        both = (found & rests).sum()
        assert both / max(found.sum(), 1) >= 0.95, f"precision, seed {seed}"
        assert both / rests.sum() >= 0.95, f"recall, seed {seed}"


def test_the_noise_of_a_recording_is_read_from_it() -> None:
    points, _ = holds_and_moves(60.0, 3, NOISE)
    assert noise_of(points, 60.0) == pytest.approx(NOISE, rel=0.2)
    assert noise_of(holds_and_moves(60.0, 3, 0.0)[0], 60.0) < 1e-9


def test_a_point_that_never_rests_has_no_still_span() -> None:
    time = np.arange(0.0, 5.0, 1.0 / 60.0)
    circle = np.stack([np.cos(2.0 * time), np.sin(2.0 * time), 0.0 * time], axis=1) * 0.3
    assert stillness(circle, 60.0, SIZE).spans == ()
