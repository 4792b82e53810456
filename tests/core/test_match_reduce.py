"""Keys are as few as can be, and straight lines between them stay within the tolerance."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from armwright.core.errors import MatchError
from armwright.core.match.reduce import kept_frames

SEED = 20240619


def worst(values: np.ndarray, kept: np.ndarray) -> np.ndarray:
    rows = values if values.ndim == 2 else values[:, None]
    frames = np.arange(len(rows))
    lines = np.stack([np.interp(frames, kept, rows[kept, channel]) for channel in range(rows.shape[1])], axis=1)
    return np.abs(lines - rows).max(axis=0)


def test_a_straight_line_needs_its_ends_only() -> None:
    values = np.linspace(0.3, 7.1, 400)
    assert kept_frames(values, 0.0).tolist() == [0, 399]


def test_a_still_channel_needs_its_ends_only() -> None:
    assert kept_frames(np.full((100, 3), 2.5), 0.0).tolist() == [0, 99]


def test_a_zigzag_needs_a_key_at_each_corner() -> None:
    corners = [0, 7, 30, 31, 90, 120]
    values = np.interp(np.arange(121), corners, [0.0, 1.0, -2.0, 4.0, 3.0, 9.0])
    assert kept_frames(values, 1e-9).tolist() == corners


def test_corners_of_all_channels_are_kept() -> None:
    frames = np.arange(41)
    values = np.stack([np.abs(frames - 10.0), np.abs(frames - 25.0)], axis=1)
    assert kept_frames(values, 1e-9).tolist() == [0, 10, 25, 40]


def test_a_channel_with_a_wide_tolerance_asks_for_no_keys() -> None:
    frames = np.arange(41)
    values = np.stack([np.abs(frames - 10.0), np.abs(frames - 25.0)], axis=1)
    assert kept_frames(values, [1e-9, 100.0]).tolist() == [0, 10, 40]


@pytest.mark.parametrize("tolerance", [0.0, 0.05, 0.3, 1.0])
def test_no_fewer_keys_stay_within_the_tolerance(tolerance: float) -> None:
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    for _ in range(25):
        values = np.cumsum(rng.normal(size=(11, 2)), axis=0) * 0.4
        kept = kept_frames(values, tolerance)
        assert worst(values, kept).max() <= tolerance + 1e-12
        for fewer in range(len(kept) - 2):
            for inner in combinations(range(1, 10), fewer):
                assert worst(values, np.array([0, *inner, 10])).max() > tolerance


def test_a_long_motion_stays_within_each_channel_s_tolerance() -> None:
    frames = np.arange(1000)
    values = np.stack([np.sin(frames / 40.0), 3.0 * np.cos(frames / 17.0), frames * 0.01], axis=1)
    limits = np.array([0.01, 0.05, 0.0001])
    kept = kept_frames(values, limits)
    assert np.all(worst(values, kept) <= limits + 1e-12)
    assert kept[0] == 0 and kept[-1] == 999
    assert len(kept) < 200


def test_one_frame_is_one_key_and_none_is_none() -> None:
    assert kept_frames(np.zeros((1, 4)), 0.1).tolist() == [0]
    assert kept_frames(np.zeros((0, 4)), 0.1).tolist() == []


@pytest.mark.parametrize("tolerance", [-1.0, float("nan"), [0.1, 0.1]])
def test_a_tolerance_that_is_none_is_refused(tolerance: object) -> None:
    with pytest.raises(MatchError, match="tolerance"):
        kept_frames(np.zeros((5, 3)), tolerance)  # type: ignore[arg-type]


def test_values_that_are_not_finite_are_refused() -> None:
    with pytest.raises(MatchError, match="finite"):
        kept_frames([0.0, float("inf"), 1.0], 0.1)
