"""What the reference solver's dials do: stretch, soft reach, fold limit, volume, lift, the blend."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm, assert_close, mirrored_arm, moved, random_settings, random_turns

from armwright.core.options import ArmOptions
from armwright.core.rotations import angle_between, axis_matrix
from armwright.core.solve.arm import scapula_turn, solve
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmSettings

SEED = 20240502
LEFT = arm(45.0)
GEOMETRIES = {"left": LEFT, "right": mirrored_arm(LEFT), "hanging": arm(90.0)}
METRES = 1e-12


@pytest.fixture(params=GEOMETRIES.values(), ids=GEOMETRIES.keys())
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return request.param


@pytest.fixture
def rng() -> np.random.Generator:
    print("seed", SEED)
    return np.random.default_rng(SEED)


def norm(vectors: np.ndarray) -> np.ndarray:
    return np.linalg.norm(vectors, axis=-1)


def length(geometry: ArmGeometry) -> float:
    return geometry.upper_length + geometry.forearm_length


def ik_towards(geometry: ArmGeometry, distances: np.ndarray, **dials: float) -> ArmSettings:
    """The hand hold at `distances` from the shoulder, straight ahead, in IK; the elbow aim below."""
    count = len(distances)
    settings = rest_settings(geometry, count)
    hold = settings.hand_hold.copy()
    shoulder = geometry.upper_arm[:3, 3]
    hold[:, :3, 3] = shoulder + distances[:, None] * np.array([0.0, -1.0, 0.0])
    return replace(
        settings,
        hand_hold=hold,
        aim=np.tile(shoulder + np.array([0.0, -0.3, -1.0]), (count, 1)),
        ik=np.ones(count),
        **{name: np.full(count, value) for name, value in dials.items()},
    )


def test_without_stretch_an_arm_points_straight_at_a_target_too_far_and_says_what_is_missing(
    geometry: ArmGeometry,
) -> None:
    distances = length(geometry) * np.array([1.01, 1.3, 2.0, 10.0])
    pose = solve(geometry, ik_towards(geometry, distances))
    assert_close(pose.wrist - pose.shoulder, [[0.0, -length(geometry), 0.0]] * 4, atol=METRES)
    assert_close(pose.hand_missing, distances - length(geometry), atol=METRES * 10)
    assert_close([pose.upper_factor, pose.forearm_factor], 1.0, atol=METRES)


def test_with_stretch_an_arm_reaches_up_to_the_limit_and_no_further(geometry: ArmGeometry) -> None:
    distances = length(geometry) * np.array([0.8, 1.0, 1.2, 1.49, 1.6, 3.0])
    settings = ik_towards(geometry, distances, stretch=1.0)
    pose = solve(geometry, settings)
    reached = np.minimum(distances, 1.5 * length(geometry))
    # At the straight arm the elbow is sensitive; the wrist is not.
    assert_close(norm(pose.wrist - pose.shoulder), reached, atol=METRES)
    assert_close(pose.hand_missing, distances - reached, atol=METRES)
    assert_close(pose.upper_factor[2:], np.minimum(distances[2:] / length(geometry), 1.5), atol=METRES)
    assert_close(pose.forearm_factor[2:], np.minimum(distances[2:] / length(geometry), 1.5), atol=1e-11)
    assert_close(pose.upper_factor[:1], 1.0, atol=METRES)


def test_stretch_in_between_goes_that_share_of_the_way(geometry: ArmGeometry) -> None:
    distances = np.full(11, 1.3 * length(geometry))
    share = np.linspace(0.0, 1.0, 11)
    pose = solve(geometry, replace(ik_towards(geometry, distances), stretch=share))
    assert_close(pose.upper_factor, 1.0 + 0.3 * share, atol=METRES)


@pytest.mark.parametrize("soft", [0.05, 0.5, 1.0])
def test_soft_reach_is_continuous_monotone_and_never_straight(geometry: ArmGeometry, soft: float) -> None:
    distances = np.linspace(0.5, 2.0, 4001) * length(geometry)
    pose = solve(geometry, ik_towards(geometry, distances, soft=soft))
    reach = norm(pose.wrist - pose.shoulder)
    step = distances[1] - distances[0]
    growth = np.diff(reach)
    assert np.all(growth > -1e-15)
    assert np.all(growth <= step * (1 + 1e-9))
    knee = length(geometry) * (1.0 - 0.2 * soft)
    # Thirty of the softness's own lengths on, what is left of the slack drowns in rounding.
    resolved = distances < knee + 30.0 * (length(geometry) - knee)
    assert np.all(reach[resolved] < length(geometry))
    # No snap: the elbow's speed stays bounded, which without softness it does not.
    hard = solve(geometry, ik_towards(geometry, distances))
    largest = np.max(norm(np.diff(pose.elbow, axis=0))) / step
    assert largest < 0.5 * np.max(norm(np.diff(hard.elbow, axis=0))) / step
    assert_close(reach[distances < knee], distances[distances < knee], atol=METRES)


def test_soft_reach_does_not_stretch_short_of_the_target_when_stretch_is_on(geometry: ArmGeometry) -> None:
    distances = np.linspace(0.5, 1.3, 400) * length(geometry)
    pose = solve(geometry, ik_towards(geometry, distances, soft=1.0, stretch=1.0))
    assert_close(norm(pose.wrist - pose.shoulder), distances, atol=METRES)


@pytest.mark.parametrize("limit", [150.0, 170.0])
def test_the_elbow_folds_to_its_limit_and_no_further(limit: float) -> None:
    geometry = arm(45.0, options=ArmOptions(fold_limit=np.radians(limit)))
    distances = np.geomspace(1e-4, 1.0, 200) * length(geometry)
    pose = solve(geometry, ik_towards(geometry, distances))
    nearest = np.sqrt(
        geometry.upper_length**2
        + geometry.forearm_length**2
        + 2 * geometry.upper_length * geometry.forearm_length * np.cos(np.radians(limit))
    )
    upper, toward = pose.elbow - pose.shoulder, np.array([0.0, -1.0, 0.0])
    # The law of cosines, with the reach that the target or the limit allows.
    reach = np.maximum(distances, nearest)
    cosine = (geometry.upper_length**2 + reach**2 - geometry.forearm_length**2) / (2 * geometry.upper_length * reach)
    assert_close(upper @ toward / geometry.upper_length, np.minimum(cosine, 1.0), atol=1e-12)
    near = distances < nearest
    assert near.any()
    flexion = np.arccos(
        np.clip(np.sum(upper * (pose.wrist - pose.elbow), 1) / norm(upper) / geometry.forearm_length, -1, 1)
    )
    # The forearm still looks at the target; nothing folds beyond what the upper arm's place asks of it.
    assert_close(np.degrees(flexion[~near]).max(), limit, atol=3.0)
    assert np.all(np.degrees(flexion[~near]) <= limit + 1e-6)


@pytest.mark.parametrize("ik", [0.0, 0.4, 1.0])
def test_at_volume_1_width_squared_times_length_is_1(
    geometry: ArmGeometry, rng: np.random.Generator, ik: float
) -> None:
    settings = replace(random_settings(rng, geometry, 300), volume=np.ones(300), ik=np.full(300, ik))
    pose = solve(geometry, settings)
    assert np.ptp(pose.upper_factor) > 0.3
    assert_close(pose.upper_width**2 * pose.upper_factor, 1.0, atol=1e-14)
    assert_close(pose.forearm_width**2 * pose.forearm_factor, 1.0, atol=1e-14)
    thin = solve(geometry, replace(settings, volume=np.zeros(300)))
    np.testing.assert_array_equal([thin.upper_width, thin.forearm_width], 1.0)


def test_length_factors_are_the_distances_between_the_joints(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    pose = solve(geometry, random_settings(rng, geometry, 500))
    assert_close(norm(pose.elbow - pose.shoulder), pose.upper_factor * geometry.upper_length, atol=METRES)
    assert_close(norm(pose.wrist - pose.elbow), pose.forearm_factor * geometry.forearm_length, atol=METRES)
    along = (pose.elbow - pose.shoulder) / norm(pose.elbow - pose.shoulder)[:, None]
    assert_close(pose.upper_arm[:, :, 1], along, atol=1e-12)


def test_the_rhythm_is_continuous_with_its_speed_and_monotone() -> None:
    theta = np.linspace(0.0, np.pi, 20001)
    turn = scapula_turn(theta)
    speed = np.diff(turn) / np.diff(theta)
    assert turn[0] == 0.0
    assert np.all(speed > 0.0)
    assert np.all(speed < 1.0 / 3.0 + 1e-9)
    # A jump of the speed would show as a difference that does not shrink with the step.
    assert np.max(np.abs(np.diff(speed))) < 1e-4
    # 2:1 after the first 30 degrees (Inman, Saunders & Abbott 1944): 60 degrees of 180 are the scapula's, less the 10.
    assert_close(np.degrees(scapula_turn(np.radians([60.0, 90.0, 120.0, 180.0]))), [10, 20, 30, 50], atol=1e-13)


def raised(geometry: ArmGeometry, angles: np.ndarray, axis: str, lift: float = 1.0) -> ArmSettings:
    """FK settings with the upper arm turned by `angles` about its `axis`."""
    channels = np.zeros((len(angles), 3))
    channels[:, "XYZ".index(axis)] = angles
    return replace(rest_settings(geometry, len(angles)), upper_arm=channels, lift=np.full(len(angles), lift))


def test_the_lift_raises_the_shoulder_steadily_with_the_arm_on_either_side() -> None:
    hanging = arm(90.0)
    angles = np.radians(np.linspace(0.0, 179.0, 300))
    for geometry in (hanging, mirrored_arm(hanging)):
        side = 1.0 if geometry is hanging else -1.0
        for axis, sign in (("X", 1.0), ("Z", side)):
            pose = solve(geometry, raised(geometry, sign * angles, axis))
            assert_close(pose.elevation, angles, atol=1e-7)
            assert np.all(np.diff(pose.shoulder[:, 2]) > 0.0)
            assert pose.lift[0] == pytest.approx(0.0, abs=1e-12)


def test_the_lift_turns_the_clavicle_about_its_own_x_and_turns_no_arm(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = replace(random_settings(rng, geometry, 300), ik=np.zeros(300), elbow=np.zeros(300))
    without, half, whole = (solve(geometry, replace(settings, lift=np.full(300, value))) for value in (0.0, 0.5, 1.0))
    np.testing.assert_array_equal(without.lift, 0.0)
    assert_close(half.lift, 0.5 * whole.lift, atol=1e-15)
    assert np.max(angle_between(whole.clavicle, without.clavicle @ axis_matrix("X", whole.lift))) < 1e-14
    for name in ("upper_arm", "forearm", "hand"):
        assert_close(getattr(whole, name), getattr(without, name), atol=1e-15)
    assert_close(whole.elbow - whole.shoulder, without.elbow - without.shoulder, atol=1e-14)


def test_the_lift_asks_the_arm_against_the_torso_and_not_against_the_world(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    channels = np.tile(rng.uniform(-1, 1, 3), (100, 1))
    settings = replace(rest_settings(geometry, 100), upper_arm=channels, lift=np.ones(100))
    upright = solve(geometry, settings)
    torso = moved(geometry.torso, random_turns(rng, 100), rng.uniform(-1, 1, (100, 3)))
    tilted = solve(geometry, replace(settings, torso=torso))
    assert_close(tilted.elevation, upright.elevation, atol=1e-13)
    assert_close(tilted.lift, upright.lift, atol=1e-13)


def test_the_lift_of_an_ik_arm_follows_its_hand(geometry: ArmGeometry) -> None:
    """A hold swept from low to overhead, in front: the arm that reaches for it rises with it."""
    angles = np.linspace(0.1, np.pi - 0.1, 400)
    settings = ik_towards(geometry, np.full(400, 0.98 * length(geometry)), lift=1.0)
    hold = settings.hand_hold.copy()
    direction = np.stack([np.zeros(400), -np.sin(angles), -np.cos(angles)], axis=1)
    hold[:, :3, 3] = geometry.upper_arm[:3, 3] + 0.98 * length(geometry) * direction
    aim = geometry.upper_arm[:3, 3] + np.tile([2.0 * np.sign(geometry.upper_arm[0, 3]), 0.0, 0.0], (400, 1))
    pose = solve(geometry, replace(settings, hand_hold=hold, aim=aim))
    assert np.all(np.diff(pose.lift) > 0.0)
    assert np.max(np.abs(np.diff(pose.lift, 2))) < 1e-3


def test_the_blend_keeps_the_joints_together_and_runs_from_fk_to_ik(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = random_settings(rng, geometry, 200)
    fk, ik = (solve(geometry, replace(settings, ik=np.full(200, value))) for value in (0.0, 1.0))
    near_fk, near_ik = (solve(geometry, replace(settings, ik=np.full(200, value))) for value in (1e-9, 1.0 - 1e-9))
    held = settings.elbow == 0.0
    for name in ("upper_arm", "forearm", "hand"):
        assert_close(getattr(near_fk, name)[held], getattr(fk, name)[held], atol=1e-7)
        assert_close(getattr(near_ik, name)[held], getattr(ik, name)[held], atol=1e-7)


def test_a_blend_s_orientations_divide_the_angle_between_fk_and_ik(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    share = rng.uniform(size=200)
    settings = replace(random_settings(rng, geometry, 200), elbow=np.zeros(200), lift=np.zeros(200))
    fk, ik = (solve(geometry, replace(settings, ik=np.full(200, value))) for value in (0.0, 1.0))
    mixed = solve(geometry, replace(settings, ik=share))
    for name in ("upper_arm", "forearm", "hand"):
        whole = angle_between(getattr(fk, name), getattr(ik, name))
        clear = whole < np.pi - 0.05
        assert clear.mean() > 0.9
        part = angle_between(getattr(fk, name), getattr(mixed, name))
        assert_close(part[clear], (share * whole)[clear], atol=1e-12)


def test_every_dial_moves_the_arm_continuously(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    """Away from the singular sets: the median pose's step shrinks with the dial's step."""
    settings = random_settings(rng, geometry, 300)
    for dial in ("ik", "elbow", "isolate", "lift", "stretch", "soft", "upper_length", "forearm_length"):
        middle = np.clip(getattr(settings, dial), 0.1, 0.9)
        steps = []
        for step in (1e-3, 1e-5):
            one, two = (solve(geometry, replace(settings, **{dial: middle + sign * step})) for sign in (-1, 1))
            steps.append(norm(two.wrist - one.wrist))
        moving = steps[0] > 1e-8
        assert moving.any(), dial
        ratio = steps[1][moving] / steps[0][moving]
        # A step a hundred times smaller; 5 % of the draws may straddle a corner or lie next to a singular set.
        assert np.mean(ratio < 0.02) > 0.95, dial
