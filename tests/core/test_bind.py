"""Sharing weights along a segment, and guessing which old bones lie along which part of an arm."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from armwright.core.bind.mapping import Stretch, check_mapping, guess_mapping, read_mapping
from armwright.core.bind.shares import along, overlap_shares, split
from armwright.core.errors import BindError

SEED = 31


@pytest.mark.parametrize("count", range(1, 9))
def test_shares_add_up_to_one_and_only_neighbours_overlap(count: int) -> None:
    place = np.linspace(0.0, 1.0, 997)
    shares = overlap_shares(place, count)
    assert shares.shape == (997, count)
    assert shares.min() >= 0.0
    np.testing.assert_allclose(shares.sum(axis=1), 1.0, atol=1e-15)
    assert ((shares > 0.0).sum(axis=1) <= 2).all()
    # The middle of what a bone carries moves along with the place.
    centre = shares @ np.arange(count)
    assert (np.diff(centre) >= -1e-12).all()


@pytest.mark.parametrize("count", range(2, 9))
def test_at_the_boundary_between_two_bones_both_have_half(count: int) -> None:
    for boundary in range(1, count):
        shares = overlap_shares(np.array([boundary / count]), count)[0]
        assert shares[boundary - 1] == pytest.approx(0.5, abs=1e-12)
        assert shares[boundary] == pytest.approx(0.5, abs=1e-12)
    middles = overlap_shares((np.arange(count) + 0.5) / count, count)
    np.testing.assert_allclose(middles, np.eye(count), atol=1e-12)


@pytest.mark.parametrize("count", [1, 3, 8])
def test_split_weights_keep_their_sum(count: int) -> None:
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    weights = rng.uniform(0.0, 1.0, 5000).astype(np.float32)
    parts = split(weights, overlap_shares(rng.uniform(0.0, 1.0, 5000), count))
    assert parts.dtype == np.float32
    assert np.abs(parts.astype(float).sum(axis=1) - weights).max() < 1e-6


def test_places_beyond_the_ends_count_as_the_ends() -> None:
    points = np.array([[-1.0, 5.0, 0.0], [0.5, -3.0, 1.0], [9.0, 0.0, 0.0]])
    np.testing.assert_allclose(along(points, np.zeros(3), np.array([2.0, 0.0, 0.0])), [0.0, 0.25, 1.0])


def stretch(head: tuple[float, float, float], tail: tuple[float, float, float], joint: str = "") -> Stretch:
    return Stretch(np.array(head), np.array(tail), joint)


PARTS = {
    "clavicle.L": stretch((0.03, 0.0, 1.4), (0.2, 0.0, 1.42), "tail"),
    "upper_arm.L": stretch((0.2, 0.0, 1.42), (0.5, 0.0, 1.4)),
    "forearm.L": stretch((0.5, 0.0, 1.4), (0.76, -0.03, 1.39)),
    "hand.L": stretch((0.76, -0.03, 1.39), (0.94, -0.04, 1.38), "head"),
    "upper_arm.R": stretch((-0.2, 0.0, 1.42), (-0.5, 0.0, 1.4)),
}


def test_old_bones_are_mapped_to_the_part_that_they_lie_along() -> None:
    old = {
        "collar": stretch((0.06, 0.01, 1.38), (0.19, 0.01, 1.41)),
        "humerus": stretch((0.2, 0.01, 1.41), (0.34, 0.01, 1.41)),
        "humerus_roll": stretch((0.34, 0.01, 1.41), (0.49, 0.01, 1.4)),
        "radius": stretch((0.5, 0.01, 1.4), (0.75, -0.02, 1.39)),
        "palm": stretch((0.75, -0.02, 1.39), (0.84, -0.02, 1.37)),
        "index": stretch((0.85, -0.05, 1.38), (0.9, -0.06, 1.37)),
        "spine": stretch((0.0, 0.0, 1.0), (0.0, 0.0, 1.4)),
        "other_humerus": stretch((-0.2, 0.0, 1.42), (-0.5, 0.0, 1.4)),
    }
    assert guess_mapping(old, PARTS) == {
        "collar": "clavicle.L",
        "humerus": "upper_arm.L",
        "humerus_roll": "upper_arm.L",
        "radius": "forearm.L",
        "palm": "hand.L",
        "other_humerus": "upper_arm.R",
    }


def test_a_bone_that_points_the_other_way_is_no_part_of_the_arm() -> None:
    assert guess_mapping({"back": stretch((0.5, 0.0, 1.4), (0.2, 0.0, 1.42))}, PARTS) == {}
    assert guess_mapping({"dot": stretch((0.5, 0.0, 1.4), (0.5, 0.0, 1.4))}, PARTS) == {}


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ({}, "say which group goes where"),
        ({"no": "upper_arm.L"}, "no mesh has a vertex group named 'no'; there is: humerus"),
        ({"humerus": "leg.L"}, "mapped to 'leg.L', which is no part of an arm"),
    ],
)
def test_a_mapping_that_can_not_be_followed_is_refused(mapping: dict[str, str], words: str) -> None:
    with pytest.raises(BindError, match=words):
        check_mapping(mapping, ["humerus"], ["upper_arm.L"])


def test_a_mapping_is_read_from_json_and_a_bad_one_refused(tmp_path: Path) -> None:
    path = tmp_path / "map.json"
    path.write_text('{"humerus": "upper_arm.L"}', encoding="utf-8")
    assert read_mapping(path) == {"humerus": "upper_arm.L"}
    for text in ('{"humerus": 3}', "[1]", "{", '{"humerus": null}', '{"a": "hand.L", "a": "hand.R"}'):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(BindError):
            read_mapping(path)
    with pytest.raises(BindError):
        read_mapping(tmp_path / "none.json")
