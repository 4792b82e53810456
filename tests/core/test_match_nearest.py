"""Where a match can not be exact it finds the nearest pose and says how far it is, checked by searching."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm, assert_close, picked, random_settings
from scipy.optimize import minimize

from armwright.core.match.match import match
from armwright.core.match.target import Target
from armwright.core.rotations import angle_between
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry, ArmPose, ArmSettings

SEED = 20240613
COUNT = 200
UPPER, FORE = 0.31, 0.26


@pytest.fixture
def rng() -> np.random.Generator:
    print(f"seed {SEED}")
    return np.random.default_rng(SEED)


@pytest.fixture(params=["L", "R"])
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return arm(45.0, side=request.param)


def stretched_ik(rng: np.random.Generator, geometry: ArmGeometry) -> ArmSettings:
    """Hands held out of reach by an arm that stretches, its length dials at 1."""
    ones, zeros = np.ones(COUNT), np.zeros(COUNT)
    s = random_settings(rng, geometry, COUNT)
    s = replace(s, ik=ones, elbow=zeros, stretch=ones, soft=zeros, upper_length=ones, forearm_length=ones)
    hold = s.hand_hold.copy()
    shoulder = solve(geometry, s).shoulder
    hold[:, :3, 3] = shoulder + (hold[:, :3, 3] - shoulder) / np.linalg.norm(
        hold[:, :3, 3] - shoulder, axis=1, keepdims=True
    ) * rng.uniform(0.64, 0.8, (COUNT, 1))
    return replace(s, hand_hold=hold)


def gap(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    return np.linalg.norm(first - second, axis=-1)


def searched(pose: ArmPose, index: int, a: float, b: float, rng: np.random.Generator) -> tuple[float, float]:
    """The least distance of the wrist, and of the elbow among poses that keep it, by descent from many starts."""
    shoulder, elbow, wrist = pose.shoulder[index], pose.elbow[index], pose.wrist[index]

    def direction(angles: np.ndarray) -> np.ndarray:
        return np.array(
            [np.cos(angles[0]) * np.cos(angles[1]), np.sin(angles[0]) * np.cos(angles[1]), np.sin(angles[1])]
        )

    def miss(angles: np.ndarray) -> tuple[float, float]:
        new_elbow = shoulder + a * direction(angles[:2])
        end = new_elbow + b * direction(angles[2:])
        return float(np.linalg.norm(end - wrist)), float(np.linalg.norm(new_elbow - elbow))

    best_wrist, best_elbow = np.inf, np.inf
    for _ in range(6):
        found = minimize(lambda x: miss(x)[0] ** 2, rng.uniform(-1.5, 1.5, 4), tol=1e-14)
        best_wrist = min(best_wrist, miss(found.x)[0])
    for _ in range(6):
        start = rng.uniform(-1.5, 1.5, 4)
        for weight in (1e-1, 1e-3, 1e-5):
            start = minimize(lambda x, w=weight: miss(x)[0] ** 2 + w * miss(x)[1] ** 2, start, tol=1e-15).x
        off = miss(start)
        if off[0] < best_wrist + 1e-5:
            best_elbow = min(best_elbow, off[1])
    return best_wrist, best_elbow


def test_a_stretched_hand_goes_over_to_fk_that_may_not_stretch_as_near_as_it_reaches(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = stretched_ik(rng, geometry)
    matched = match(geometry, before, Target(ik=0.0, free_lengths=False), in_time=False)
    old, new = solve(geometry, before), solve(geometry, matched.settings)
    # Straight at the wrist: what is missing is the distance less the arm's length.
    missing = gap(old.wrist, old.shoulder) - (UPPER + FORE)
    assert_close(gap(new.wrist, old.wrist), missing, atol=1e-9)
    assert_close(matched.position_error, np.maximum(missing, gap(new.elbow, old.elbow)), atol=1e-9)
    assert_close(matched.settings.upper_length, 1.0)
    assert_close(matched.settings.forearm_length, 1.0)
    assert_close(angle_between(old.hand, new.hand), 0.0, atol=1e-9)
    assert not matched.exact.any()


def test_the_same_pose_is_exact_where_the_length_dials_may_change(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    matched = match(geometry, stretched_ik(rng, geometry), Target(ik=0.0), in_time=False)
    assert matched.exact.all()
    assert np.all(matched.settings.upper_length > 1.0)


@pytest.mark.parametrize("reach", ["wrist within reach", "wrist out of reach"])
def test_no_arm_of_the_same_lengths_comes_nearer(geometry: ArmGeometry, rng: np.random.Generator, reach: str) -> None:
    before = random_settings(rng, geometry, 400)
    lengths = rng.uniform(1.1, 1.6, (2, 400))
    before = replace(before, ik=np.zeros(400), elbow=np.zeros(400), upper_length=lengths[0], forearm_length=lengths[1])
    pose = solve(geometry, before)
    # The dials say other lengths than the pose has: as if they had been set back by hand after it was made.
    stretched = replace(before, ik=np.ones(400), stretch=np.ones(400), soft=np.zeros(400))
    hold = before.hand_hold.copy()
    hold[:, :3, 3] = pose.wrist
    held = before.elbow_hold.copy()
    held[:, :3, 3] = pose.elbow
    ones = np.ones(400)
    stretched = replace(
        stretched, hand_hold=hold, elbow_hold=held, elbow=ones, upper_length=ones, forearm_length=ones, lift=0 * ones
    )
    pose = solve(geometry, stretched)
    far = gap(pose.wrist, pose.shoulder)
    fits = (far < 0.95 * (UPPER + FORE)) if reach == "wrist within reach" else (far > 1.05 * (UPPER + FORE))
    usable = np.flatnonzero(fits & (far > 0.15))[:5]
    assert len(usable) == 5
    before = picked(stretched, usable)
    matched = match(geometry, before, Target(ik=0.0, elbow=0.0, free_lengths=False), in_time=False)
    old, new = solve(geometry, before), solve(geometry, matched.settings)
    for index in range(5):
        wrist, elbow = searched(old, index, UPPER, FORE, rng)
        assert_close(gap(new.wrist, old.wrist)[index], wrist, atol=2e-5)
        assert_close(gap(new.elbow, old.elbow)[index], elbow, atol=2e-3)


def test_a_held_elbow_goes_as_far_as_its_limits_and_says_what_is_missing(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = random_settings(rng, geometry, COUNT)
    many = np.full(COUNT, 3.0)
    before = replace(before, ik=np.zeros(COUNT), elbow=np.zeros(COUNT), upper_length=many)
    matched = match(geometry, before, Target(elbow=1.0), in_time=False)
    old, new = solve(geometry, before), solve(geometry, matched.settings)
    # Three lengths asked, two allowed (docs/arm.md, longest): one is missing, along the upper arm.
    assert_close(matched.position_error, UPPER, atol=1e-9)
    assert_close(gap(new.elbow, old.elbow), UPPER, atol=1e-9)
    assert_close(gap(new.wrist, old.wrist), 0.0, atol=1e-9)
    assert_close(angle_between(new.upper_arm, old.upper_arm), 0.0, atol=1e-9)


def test_a_held_elbow_stays_held_when_the_forearm_may_no_longer_stretch(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = random_settings(rng, geometry, COUNT)
    ones = np.ones(COUNT)
    before = replace(before, ik=ones, elbow=ones, stretch=ones, forearm_length=ones)
    for ik in (0.0, 1.0):
        matched = match(geometry, before, Target(ik=ik, stretch=0.0, free_lengths=False), in_time=False)
        old, new = solve(geometry, before), solve(geometry, matched.settings)
        assert_close(gap(new.elbow, old.elbow), 0.0, atol=1e-9)
        lost = np.abs(old.forearm_factor - 1.0) * FORE
        assert lost.max() > 0.05
        assert_close(matched.position_error, lost, atol=1e-9)


def test_ik_that_may_not_stretch_points_at_the_hand_that_it_can_not_reach(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = stretched_ik(rng, geometry)
    matched = match(geometry, before, Target(stretch=0.0, free_lengths=False), in_time=False)
    old, new = solve(geometry, before), solve(geometry, matched.settings)
    missing = gap(old.wrist, old.shoulder) - (UPPER + FORE)
    assert_close(gap(new.wrist, old.wrist), missing, atol=1e-9)
    assert np.all(matched.position_error >= missing - 1e-12)
