"""When a move between two rests begins and ends, against moves whose velocity is summed up here, step by step."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from armwright.core.study.moves import Move, move_between

Array = NDArray[np.float64]

STEPS = 20_001


def moved(count: int, begins: float, ends: float, p: int, q: int, size: float = 1.0) -> Array:
    """(count,) values that go from 0.3 by `size` with a velocity of t^p·(1 - t)^q: the trapezoidal rule."""
    time = np.linspace(0.0, 1.0, STEPS)
    speed = time**p * (1.0 - time) ** q
    way = np.concatenate([[0.0], np.cumsum(speed[1:] + speed[:-1])])
    return 0.3 + size * np.interp((np.arange(count) - begins) / (ends - begins), time, way / way[-1])


def fitted(values: Array, begins: float, ends: float) -> Move:
    """By a guess that sees no more than the middle of the move."""
    found = move_between(values, begins + 0.15 * (ends - begins), ends - 0.15 * (ends - begins))
    assert found is not None
    return found


@pytest.mark.parametrize("shape", [(p, q) for p in range(4) for q in range(4)])
@pytest.mark.parametrize(("begins", "ends"), [(12.0, 36.0), (12.37, 33.81), (30.6, 141.2)])
def test_a_move_without_noise_is_given_back_to_a_tenth_of_a_frame(
    shape: tuple[int, int], begins: float, ends: float
) -> None:
    found = fitted(moved(round(ends) + 14, begins, ends, *shape), begins, ends)
    assert (found.begins, found.ends) == pytest.approx((begins, ends), abs=0.1)
    assert found.shape == shape


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0, 120.0])
def test_ends_that_noise_hides_are_told_by_the_middle(rate: float) -> None:
    # Noise of a hand's direction: 2 mm at either end of 0.19 m. It hides the first eighth of a minimum jerk.
    seed = 41
    rng = np.random.default_rng(seed)
    off = []
    for _ in range(60):
        begins, long = rng.uniform(0.4, 0.5) * rate, rng.uniform(0.7, 1.2) * rate
        values = moved(int(begins + long + 0.45 * rate), begins, begins + long, 2, 2, rng.uniform(0.7, 1.2))
        found = fitted(values + rng.normal(size=len(values)) * 0.0149, begins, begins + long)
        off.append([(found.begins - begins) / long, (found.ends - begins - long) / long])
    assert np.abs(np.mean(off, axis=0)).max() <= 0.02, f"seed {seed}: {np.mean(off, axis=0)}"
    assert np.sqrt(np.mean(np.square(off))) <= 0.05, f"seed {seed}: {np.sqrt(np.mean(np.square(off)))}"


def test_what_is_no_single_move_is_none() -> None:
    one = moved(120, 20.0, 60.0, 2, 2)
    assert move_between(one, 26.0, 54.0) is not None
    # Half-way it rests; it goes there and back; it only trembles; it stands; it never comes to rest.
    assert move_between(one + moved(120, 75.0, 100.0, 2, 2), 26.0, 95.0) is None
    assert move_between(one - moved(120, 60.0, 100.0, 2, 2), 26.0, 95.0) is None
    assert move_between(np.random.default_rng(5).normal(size=120) * 0.01, 26.0, 54.0) is None
    assert move_between(np.ones(120), 26.0, 54.0) is None
    assert move_between(np.sin(np.arange(120) * 0.2), 26.0, 54.0) is None


@pytest.mark.parametrize("values", [np.zeros(0), np.arange(7.0), np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0])])
def test_too_few_values_tell_nothing(values: Array) -> None:
    assert move_between(values, 2.0, 3.0) is None


def test_a_move_is_the_same_backwards_in_any_unit_and_from_any_place() -> None:
    rng = np.random.default_rng(8)
    values = moved(90, 20.3, 60.9, 2, 1) + rng.normal(size=90) * 0.005
    found = fitted(values, 20.3, 60.9)
    back = fitted(values[::-1], 89.0 - 60.9, 89.0 - 20.3)
    assert (89.0 - back.ends, 89.0 - back.begins) == pytest.approx((found.begins, found.ends), abs=0.05)
    other = fitted(7.0 - 1000.0 * values, 20.3, 60.9)
    assert (other.begins, other.ends) == pytest.approx((found.begins, found.ends), abs=1e-3)
