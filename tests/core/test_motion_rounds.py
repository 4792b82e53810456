"""Rounds of hand and aim: where they go, and that together they leave no part of the sphere out."""

from __future__ import annotations

import numpy as np
import pytest

from armwright.core.errors import MotionError
from armwright.core.motion.rounds import (
    AIM,
    AIM_DISTANCE,
    BEYOND,
    FURTHEST,
    HAND,
    NEAREST,
    PASSING,
    Round,
    aim_round,
    both_round,
    hand_round,
)

SEED = 7
SHARES = np.arange(8) / 8.0


def directions(points: np.ndarray) -> np.ndarray:
    return points / np.linalg.norm(points, axis=1, keepdims=True)


def degrees_apart(found: Round) -> np.ndarray:
    cosine = np.sum(directions(found.hand) * directions(found.aim), axis=1)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def widest_gap(paths: list[np.ndarray]) -> float:
    """Largest angle, degrees, from any direction to the nearest of the paths; over 4,000 drawn directions."""
    print(f"seed {SEED}")
    drawn = directions(np.random.default_rng(SEED).normal(size=(4000, 3)))
    nearest = (drawn @ directions(np.concatenate(paths)).T).max(axis=1)
    return float(np.degrees(np.arccos(nearest.min())))


def test_hand_rounds_of_all_shares_come_near_every_direction() -> None:
    assert widest_gap([hand_round(200, share).hand for share in SHARES]) < 14.0


def test_aim_rounds_of_every_other_share_come_near_every_direction_of_the_aim() -> None:
    # The cap that is left out about the hand's line has 11 degrees.
    assert widest_gap([aim_round(172, share).aim for share in SHARES[::2]]) < 20.0


def test_rounds_of_both_turn_hand_and_aim_by_a_whole_circle_each() -> None:
    for share in SHARES[::2]:
        found = both_round(170, share)
        for path in (found.hand, found.aim):
            assert path[0] == pytest.approx(path[-1], abs=1e-6)
            steps = np.linalg.norm(np.diff(directions(path), axis=0), axis=1)
            assert steps.sum() == pytest.approx(2.0 * np.pi, rel=1e-3)


@pytest.mark.parametrize("furthest", [FURTHEST, BEYOND])
@pytest.mark.parametrize("cycles", [1, 2])
def test_a_hand_round_passes_both_ends_of_the_aims_line_near_by_and_goes_out_and_back(
    furthest: float, cycles: int
) -> None:
    found = hand_round(200, 0.3, furthest, cycles)
    apart = degrees_apart(found)
    assert np.ptp(found.aim, axis=0).max() == 0.0
    assert directions(found.aim)[0] == pytest.approx(AIM / np.linalg.norm(AIM))
    for close in (apart, 180.0 - apart):
        assert close.min() == pytest.approx(PASSING, abs=0.01)
        # A whole turn past it.
        assert (close < PASSING + 0.1).sum() > 5
    far = np.linalg.norm(found.hand, axis=1)
    assert [far[0], far[-1]] == pytest.approx([NEAREST, NEAREST], abs=1e-6)
    assert far.max() == pytest.approx(furthest, abs=0.02)
    peaks = (far[1:-1] > far[:-2]) & (far[1:-1] >= far[2:]) & (far[1:-1] > furthest - 0.05)
    assert peaks.sum() == cycles


def test_an_aim_round_goes_from_one_end_of_the_hands_line_to_the_other() -> None:
    found = aim_round(172, 0.6)
    apart = degrees_apart(found)
    assert directions(found.hand)[0] == pytest.approx(HAND / np.linalg.norm(HAND))
    assert apart[[0, -1]] == pytest.approx([PASSING, 180.0 - PASSING], abs=1e-6)
    assert (np.diff(apart) > 0.0).all()
    assert np.linalg.norm(found.aim, axis=1) == pytest.approx(np.full(172, AIM_DISTANCE), abs=1e-6)


@pytest.mark.parametrize("make", [hand_round, aim_round, both_round])
def test_a_round_of_one_frame_is_refused(make: object) -> None:
    with pytest.raises(MotionError, match="1 frames go nowhere"):
        make(1, 0.0)  # type: ignore[operator]
