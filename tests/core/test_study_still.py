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


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
def test_the_thresholds_rise_with_the_noise_of_the_recording(rate: float) -> None:
    # 6 mm a sample: at 24 Hz its speed alone is 8 cm/s, as fast as what ends a rest in a recording without noise.
    seeds = range(4)
    made = [holds_and_moves(rate, seed, 3.0 * NOISE) for seed in seeds]
    found = both = true = 0
    for points, rests in made:
        still = np.zeros(len(points), bool)
        for span in stillness(points, rate, SIZE).spans:
            still[span.first : span.last + 1] = True
        found, both, true = found + still.sum(), both + (still & rests).sum(), true + rests.sum()
    assert both / max(found, 1) >= 0.9 and both / true >= 0.9, f"{seeds}: {both / max(found, 1):.3f}, {both / true:.3f}"


def swayed(rate: float, reach: float, hertz: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """A point that comes from 0.3 m away, stays about its place for 2 s, `reach` metres to and fro, and goes on."""
    time = np.arange(0.0, 4.0, 1.0 / rate)
    share = np.clip(np.minimum(time, 4.0 - time), 0.0, 1.0)
    near = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    inside = (time >= 1.0) & (time <= 3.0)
    sway = np.where(inside, reach * np.sin(2.0 * np.pi * hertz * (time - 1.0)), 0.0)
    return np.stack([0.3 * near, sway, 0.0 * time], axis=1), inside


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize(("reach", "hertz"), [(0.002, 1.0), (0.0017, 2.0)], ids=["13 mm/s", "21 mm/s"])
def test_a_point_that_creeps_or_trembles_in_its_place_stands_still_in_one_span(
    rate: float, reach: float, hertz: float
) -> None:
    points, inside = swayed(rate, reach, hertz)
    spans = stillness(points, rate, SIZE).spans
    assert len(spans) == 1
    assert abs(spans[0].first - int(np.argmax(inside))) <= 0.1 * rate
    assert abs(spans[0].last - int(np.flatnonzero(inside)[-1])) <= 0.1 * rate


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
def test_a_point_that_sways_further_than_a_planted_one_does_not_stand_still(rate: float) -> None:
    points, _ = swayed(rate, 0.03, 0.8)
    assert stillness(points, rate, SIZE).spans == ()


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
def test_the_place_of_a_smaller_arm_is_as_much_smaller(rate: float) -> None:
    points, _ = swayed(rate, 0.002, 1.0)
    assert len(stillness(0.25 * points, rate, 0.25 * SIZE).spans) == 1
    assert stillness(points, rate, 0.05 * SIZE).spans == ()
