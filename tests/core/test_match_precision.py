"""Matching for who evaluates with less precision: straight arms keep their elbow's side and their reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm, random_turns

from armwright.core.match.match import match
from armwright.core.match.target import Target
from armwright.core.rotations import swing
from armwright.core.solve.arm import solve
from armwright.core.solve.rest import rest_settings

SEED = 606
PRECISION = 4e-7


def _straight(count: int, height: float) -> tuple:
    """Straight FK arms anyhow, their elbows off the line by up to `height` arm lengths to any side."""
    geometry = arm(bend=8.0)
    rng = np.random.default_rng(SEED)
    length = geometry.upper_length + geometry.forearm_length
    settings = rest_settings(geometry, count)
    upper = rng.uniform(-1.0, 1.0, (count, 3))
    fore = np.tile([-np.radians(8.0), 0.0, 0.0], (count, 1))
    most = height * length * length / (geometry.upper_length * geometry.forearm_length)
    fore[:, 0] += rng.uniform(-most, most, count)
    fore[:, 2] += rng.uniform(-most, most, count)
    return geometry, length, replace(settings, upper_arm=upper, forearm=fore)


@pytest.mark.parametrize("height", [0.0, 1e-8, 1e-7, 1e-6])
def test_a_straight_arm_reaches_less_than_its_hold_is_away_and_bends_by_its_hinge(height: float) -> None:
    print("seed", SEED)
    geometry, length, settings = _straight(400, height)
    before = solve(geometry, settings)
    matched = match(geometry, settings, Target(ik=1.0, elbow=0.0), precision=PRECISION, in_time=False)
    after = matched.settings
    assert matched.position_error.max() / length < 5e-6
    reach = geometry.upper_length * after.upper_length + geometry.forearm_length * after.forearm_length
    away = np.linalg.norm(after.hand_hold[:, :3, 3] - before.shoulder, axis=1)
    assert ((away - reach) / length > PRECISION).all()
    # Nearer by a tenth, the elbow goes to the side that the hinge says.
    nearer = after.hand_hold.copy()
    nearer[:, :3, 3] += 0.1 * (before.shoulder - nearer[:, :3, 3])
    bent = solve(geometry, replace(after, hand_hold=nearer))
    side = np.sum((bent.elbow - before.elbow) * -before.upper_arm[:, :, 2], axis=1)
    assert (side / np.linalg.norm(bent.elbow - before.elbow, axis=1) > 0.9).all()


def test_the_pose_that_is_shown_is_the_one_that_is_kept() -> None:
    print("seed", SEED)
    geometry, length, settings = _straight(200, 0.0)
    held = match(geometry, settings, Target(ik=1.0, elbow=0.0), in_time=False).settings
    pose = solve(geometry, held)
    # As a host shows it that has rounded the reach: the elbow off the line by 2e-4 arm lengths.
    off = pose.upper_arm[:, :, 0] * (2e-4 * length)
    elbow = pose.elbow + off
    shown = replace(
        pose,
        elbow=elbow,
        upper_arm=swing(pose.upper_arm, elbow - pose.shoulder),
        forearm=swing(pose.forearm, pose.wrist - elbow),
    )
    for target in (Target(ik=0.0, elbow=0.0), Target(ik=1.0, elbow=1.0), Target(ik=0.0, elbow=1.0)):
        after = match(geometry, held, target, in_time=False, shown=shown)
        made = solve(geometry, after.settings)
        assert np.abs(made.elbow - shown.elbow).max() / length < 1e-6
        assert np.abs(made.wrist - shown.wrist).max() / length < 1e-6


def test_without_a_precision_matches_are_exact() -> None:
    geometry, _, settings = _straight(100, 1e-3)
    turned = replace(settings, torso=settings.torso.copy())
    turned.torso[:, :3, :3] = random_turns(np.random.default_rng(SEED), 100, 0.5) @ turned.torso[:, :3, :3]
    assert match(geometry, turned, Target(ik=1.0, elbow=0.0), in_time=False).exact.all()
