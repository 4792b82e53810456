"""What a sweep draws: points known by their number, evenly spread, and settings that an arm can have."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from arm_cases import arm

from armwright.core.options import ArmOptions
from armwright.core.proof.measures import at, distance, shoulder_point
from armwright.core.solve.settings import ArmSettings
from armwright.core.sweep import space
from armwright.core.sweep.sequence import directions, points
from armwright.core.sweep.space import DIMENSIONS, settings_at

POSES = 4000
SEED = 3


def test_a_point_depends_on_seed_and_number_alone() -> None:
    whole = points(SEED, 0, 1000, DIMENSIONS)
    assert np.array_equal(whole[317:400], points(SEED, 317, 83, DIMENSIONS))
    assert np.array_equal(whole, points(SEED, 0, 1000, DIMENSIONS))
    assert np.abs(whole - points(SEED + 1, 0, 1000, DIMENSIONS)).mean() > 0.1
    assert np.abs(points(SEED, 10**6, 4, DIMENSIONS) - whole[:4]).max() > 0.1


def test_points_fill_every_cell_of_every_line_and_planes_evenly() -> None:
    found = points(SEED, 0, POSES, DIMENSIONS)
    assert found.min() >= 0.0 and found.max() < 1.0
    for column in found.T:
        counts = np.histogram(column, bins=100, range=(0.0, 1.0))[0]
        # Random points would have 40 give or take 6: some cell of a line would have less than 25.
        assert counts.min() >= 30 and counts.max() <= 50
    for one, other in ((0, 1), (5, 30), (47, 48)):
        counts = np.histogram2d(found[:, one], found[:, other], bins=10, range=[[0, 1], [0, 1]])[0]
        # Random points would have 40 give or take 6 here too, and between 22 and 60 over a hundred cells.
        assert counts.min() >= 20 and counts.max() <= 75


def test_ways_are_units_and_differ_from_shard_to_shard() -> None:
    found = directions(SEED, 2, 50, DIMENSIONS)
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-12)
    assert np.array_equal(found, directions(SEED, 2, 50, DIMENSIONS))
    assert np.abs(found - directions(SEED, 3, 50, DIMENSIONS)).max() > 0.1


def test_settings_are_rigid_finite_in_their_ranges_and_reach_both_ends() -> None:
    geometry = arm()
    settings = settings_at(geometry, points(SEED, 0, POSES, DIMENSIONS))
    for item in fields(ArmSettings):
        values = getattr(settings, item.name)
        assert values.shape[0] == POSES and np.isfinite(values).all()
        if values.ndim == 3:
            turns = values[:, :3, :3]
            np.testing.assert_allclose(
                np.swapaxes(turns, 1, 2) @ turns, np.broadcast_to(np.eye(3), turns.shape), atol=1e-12
            )
            assert (np.linalg.det(turns) > 0.0).all()
    for name in ("ik", "elbow", "isolate", "lift", "stretch", "soft", "volume"):
        dial = getattr(settings, name)
        assert dial.min() == 0.0 and dial.max() == 1.0
        for part in (dial == 0.0, dial == 1.0, (dial > 0.0) & (dial < 1.0)):
            assert part.mean() == pytest.approx(1 / 3, abs=0.03)
    for name in ("upper_length", "forearm_length"):
        dial = getattr(settings, name)
        assert (dial.min(), dial.max()) == (geometry.options.shortest, geometry.options.longest)
        assert (dial == 1.0).mean() == pytest.approx(0.2, abs=0.03)
    for name, low, high in (
        ("hand_roll", -np.pi / 2, np.pi),
        ("hand_side", -np.pi / 2, np.pi / 2),
        ("hand_spin", -np.pi, np.pi),
    ):
        dial = getattr(settings, name)
        assert (dial.min(), dial.max()) == (np.float32(low), np.float32(high))
        for part in (dial == np.float32(low), (dial > low) & (dial < 0.0), dial == 0.0, dial > 0.0):
            assert part.mean() > 0.15
    assert (settings.finger_bend == 0.0).any() and settings.finger_bend.max() == np.float32(np.pi / 2)
    far = distance(at(settings.elbow_hold), shoulder_point(geometry, settings.torso))
    assert (
        space.ELBOW[0] * 0.999
        < far.min() / geometry.upper_length
        < far.max() / geometry.upper_length
        < space.ELBOW[1] * 1.001
    )


def test_the_root_of_a_rig_without_one_stays_where_it_is() -> None:
    cube = points(SEED, 0, 50, DIMENSIONS)
    assert np.array_equal(
        settings_at(replace(arm(), root=np.eye(4)), cube).root, np.broadcast_to(np.eye(4), (50, 4, 4))
    )
    assert np.ptp(settings_at(arm(), cube).root, axis=0).max() > 0.1


def test_the_rigger_s_limits_are_the_range_of_the_lengths() -> None:
    options = replace(ArmOptions(), shortest=0.8, longest=1.25)
    found = settings_at(arm(options=options), points(SEED, 0, 500, DIMENSIONS)).upper_length
    assert (found.min(), found.max()) == (np.float32(0.8), 1.25)


def test_channels_and_dials_are_what_single_precision_holds() -> None:
    settings = settings_at(arm(), points(SEED, 0, 200, DIMENSIONS))
    for name in ("upper_arm", "hand", "isolate", "upper_length", "upper_roll"):
        values = getattr(settings, name)
        assert np.array_equal(values, values.astype(np.float32))


def test_settings_change_little_where_the_cube_does() -> None:
    # A search walks in the cube: the map may have no steps.
    geometry, cube = arm(), points(SEED, 0, 500, DIMENSIONS)
    step = 1e-4
    for coordinate in range(DIMENSIONS):
        near = np.clip(cube + step * np.eye(DIMENSIONS)[coordinate], 0.0, 1.0)
        one, other = settings_at(geometry, cube), settings_at(geometry, near)
        moved = [np.abs(getattr(one, item.name) - getattr(other, item.name)).reshape(500, -1) for item in fields(one)]
        most = np.concatenate(moved, axis=1).max(axis=1)
        # The steepest of all: a roll goes from rest to half a turn over a fifth of its coordinate, pi / 0.2. Directions
        # next to a pole go by the square root.
        assert np.quantile(most, 0.98) < 16.0 * step and most.max() < 4.0 * np.sqrt(step)


def test_every_setting_has_coordinates() -> None:
    swept = {name for name, _ in space.AXES}
    assert swept <= {item.name for item in fields(ArmSettings)}
    assert space.unswept() == ()
    assert set(space.unswept()) | swept == {item.name for item in fields(ArmSettings)}


def test_a_setting_that_has_lost_its_coordinates_stays_at_rest_and_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(space, "DIAL_KEYS", {key: of for key, of in space.DIAL_KEYS.items() if key != "hand_spin"})
    monkeypatch.setattr(space, "AXES", tuple(axis for axis in space.AXES if axis[0] != "hand_spin"))
    assert space.unswept() == ("hand_spin",)
    settings = settings_at(arm(), points(SEED, 0, 50, DIMENSIONS - 1))
    assert not settings.hand_spin.any() and settings.hand_roll.any()
