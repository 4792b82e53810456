"""A match gives the same pose in another mode, under other dials, for arms of both sides."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import product

import numpy as np
import pytest
from arm_cases import (
    ORIENTATIONS,
    POINTS,
    arm,
    assert_close,
    mirrored_arm,
    mirrored_settings,
    picked,
    random_settings,
)

from armwright.core.errors import MatchError
from armwright.core.match.match import ArmToMatch, match, match_arms
from armwright.core.match.target import Matched, Target
from armwright.core.rotations import angle_between
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry, ArmSettings

SEED = 20240611
COUNT = 300
ARMS = {"A-pose": arm(45.0), "A-pose-right": arm(45.0, side="R"), "straight": arm(30.0, bend=0.0)}
MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}
SIZE = 0.57
POP = 1e-9


@pytest.fixture
def rng() -> np.random.Generator:
    print(f"seed {SEED}")
    return np.random.default_rng(SEED)


@pytest.fixture(params=ARMS.values(), ids=ARMS.keys())
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return request.param


def flexion(geometry: ArmGeometry, settings: ArmSettings) -> np.ndarray:
    pose = solve(geometry, settings)
    y = np.array([0.0, 1.0, 0.0])
    return np.degrees(np.arccos(np.clip(np.sum((pose.upper_arm @ y) * (pose.forearm @ y), -1), -1.0, 1.0)))


def ends(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.integers(0, 2, count).astype(float)


def hinged(rng: np.random.Generator, geometry: ArmGeometry, mode: str, count: int = COUNT) -> ArmSettings:
    """Poses whose elbow is a hinge that both segments share, bent by 5 to 165 degrees: any mode makes them."""
    ik, elbow = MODES[mode]
    s = random_settings(rng, geometry, 4 * count, planted=True)
    many = 4 * count
    forearm = np.zeros((many, 3))
    forearm[:, 0] = rng.uniform(0.1, 2.6, many)
    forearm[:, 1] = rng.uniform(-1.2, 1.2, many)
    s = replace(
        s,
        forearm=forearm,
        ik=np.full(many, ik),
        elbow=np.full(many, elbow),
        isolate=ends(rng, many),
        stretch=ends(rng, many),
        soft=np.zeros(many) if mode == "none" else s.soft,
    )
    holds = s.elbow_hold.copy()
    holds[:, :3, :3] = solve(geometry, s).upper_arm
    s = replace(s, elbow_hold=holds)
    if mode == "both":
        # In the plane of hand, elbow and shoulder, whatever the shoulder does.
        elbow_at, hand_at = s.elbow_hold[:, :3, 3], s.hand_hold[:, :3, 3]
        s = replace(s, aim=elbow_at + 0.7 * (elbow_at - hand_at))
    pose, bent = solve(geometry, s), flexion(geometry, s)
    usable = np.flatnonzero((bent > 5.0) & (bent < 165.0) & (np.abs(pose.upper_factor - 1.25) < 0.74))
    assert len(usable) >= count
    return picked(s, usable[:count])


def pops(geometry: ArmGeometry, before: ArmSettings, after: ArmSettings) -> tuple[np.ndarray, np.ndarray]:
    """The largest jump of a joint and of an orientation, (N,) each, reckoned here."""
    old, new = solve(geometry, before), solve(geometry, after)
    moved = [np.linalg.norm(getattr(old, name) - getattr(new, name), axis=1) for name in POINTS]
    turned = [angle_between(getattr(old, name), getattr(new, name)) for name in ORIENTATIONS]
    return np.max(moved, axis=0), np.max(turned, axis=0)


def assert_no_pop(geometry: ArmGeometry, before: ArmSettings, matched: Matched) -> None:
    moved, turned = pops(geometry, before, matched.settings)
    assert_close(moved, 0.0, atol=POP * SIZE)
    assert_close(turned, 0.0, atol=POP)
    assert matched.exact.all()


@pytest.mark.parametrize(("source", "goal"), list(product(MODES, MODES)))
def test_every_mode_goes_over_into_every_other_without_a_pop(
    geometry: ArmGeometry, rng: np.random.Generator, source: str, goal: str
) -> None:
    before = hinged(rng, geometry, source)
    ik, elbow = MODES[goal]
    target = Target(
        ik, elbow, isolate=ends(rng, COUNT), lift=rng.uniform(0, 1, COUNT), stretch=rng.uniform(0, 1, COUNT), soft=0.0
    )
    matched = match(geometry, before, target, in_time=False)
    assert_no_pop(geometry, before, matched)
    assert_close(matched.settings.ik, ik)
    assert_close(matched.settings.elbow, elbow)
    assert_close(matched.settings.isolate, target.isolate)
    assert_close(matched.settings.lift, target.lift)
    assert_close(matched.settings.stretch, target.stretch)


@pytest.mark.parametrize("stretch", [0.0, 0.4, 1.0])
def test_a_soft_reach_is_matched_exactly_where_the_arm_is_bent(
    geometry: ArmGeometry, rng: np.random.Generator, stretch: float
) -> None:
    before = hinged(rng, geometry, "none")
    # 15 degrees need a hold no further than an arm's length past the wrist.
    before = picked(before, flexion(geometry, before) > 15.0)
    soft = rng.uniform(0.0, 1.0, len(before.ik))
    matched = match(geometry, before, Target(ik=1.0, stretch=stretch, soft=soft), in_time=False)
    assert_no_pop(geometry, before, matched)
    # Some lie in the soft zone, or this would test nothing new.
    plain = match(geometry, before, Target(ik=1.0, stretch=stretch, soft=0.0), in_time=False).settings
    assert pops(geometry, before, replace(plain, soft=soft))[0].max() > 1e-3


def test_a_straight_arm_keeps_its_bend_plane_in_ik(rng: np.random.Generator) -> None:
    geometry = ARMS["straight"]
    before = replace(hinged(rng, geometry, "none"), forearm=np.zeros((COUNT, 3)))
    assert_no_pop(geometry, before, match(geometry, before, Target(ik=1.0), in_time=False))


def test_a_straight_arm_under_a_soft_reach_says_how_far_off_it_is(rng: np.random.Generator) -> None:
    geometry = ARMS["straight"]
    before = replace(hinged(rng, geometry, "none"), forearm=np.zeros((COUNT, 3)))
    matched = match(geometry, before, Target(ik=1.0, soft=1.0), in_time=False)
    moved, turned = pops(geometry, before, matched.settings)
    assert_close(matched.position_error, moved, atol=1e-15)
    assert_close(matched.angle_error, turned, atol=1e-15)
    assert not matched.exact.any()
    at_wrist = replace(matched.settings, hand_hold=before.hand_hold.copy())
    at_wrist.hand_hold[:, :3, 3] = solve(geometry, before).wrist
    assert np.all(moved < pops(geometry, before, at_wrist)[0])


@pytest.mark.parametrize("elbow", [0.0, 1.0])
def test_a_pose_blended_from_all_dials_in_between_is_matched_by_fk(
    geometry: ArmGeometry, rng: np.random.Generator, elbow: float
) -> None:
    before = random_settings(rng, geometry, 3000, planted=True)
    usable = np.abs(solve(geometry, before).upper_factor - 1.25) < 0.74
    before = picked(before, usable)
    assert len(before.ik) > 1000
    matched = match(geometry, before, Target(ik=0.0, elbow=elbow, isolate=0.0, lift=1.0), in_time=False)
    assert_no_pop(geometry, before, matched)


def test_isolation_and_lift_change_under_dials_in_between_without_a_pop(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = random_settings(rng, geometry, 2000, planted=True)
    matched = match(geometry, before, Target(isolate=0.3, lift=0.8), in_time=False)
    assert_no_pop(geometry, before, matched)
    for name in ("hand_hold", "elbow_hold", "aim", "forearm", "hand", "upper_length", "forearm_length"):
        assert_close(getattr(matched.settings, name), getattr(before, name))


@pytest.mark.parametrize("elbow", [0.0, 1.0])
def test_any_pose_of_a_free_arm_is_held_whatever_its_upper_arm_has_rolled(
    geometry: ArmGeometry, rng: np.random.Generator, elbow: float
) -> None:
    before = random_settings(rng, geometry, 2000, planted=True)
    before = replace(before, ik=np.zeros(2000), elbow=np.zeros(2000))
    bent = flexion(geometry, before)
    assert bent.max() < 170.0
    matched = match(geometry, before, Target(ik=1.0, elbow=elbow, soft=0.0), in_time=False)
    assert_no_pop(geometry, before, matched)
    roll = matched.settings.upper_roll
    assert np.abs(roll).max() <= np.pi
    # An elbow that is bent sideways or backwards needs any roll there is.
    assert np.histogram(roll, 8, (-np.pi, np.pi))[0].min() > 20


def test_a_forearm_s_own_roll_is_kept_in_ik(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    before = hinged(rng, geometry, "none")
    # The forearm's order is YZX: a turn about its own length comes first.
    roll = rng.uniform(-1.2, 1.2, (COUNT, 1)) * [0.0, 1.0, 0.0]
    before = replace(before, forearm=before.forearm + roll)
    for elbow in (0.0, 1.0):
        matched = match(geometry, before, Target(ik=1.0, elbow=elbow, soft=0.0), in_time=False)
        assert_no_pop(geometry, before, matched)
        assert_close(matched.settings.forearm, before.forearm, atol=1e-9)


def test_a_held_upper_arm_that_has_rolled_off_its_hinge_keeps_its_roll_when_the_elbow_is_let_go(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = hinged(rng, geometry, "both")
    # An aim out of the plane of the joints rolls the held upper arm against it.
    before = replace(before, aim=before.aim + rng.uniform(-0.3, 0.3, (COUNT, 3)))
    matched = match(geometry, before, Target(elbow=0.0, soft=0.0), in_time=False)
    assert_no_pop(geometry, before, matched)
    pose = solve(geometry, before)
    hinge = np.cross(pose.elbow - pose.shoulder, pose.wrist - pose.elbow)
    hinge /= np.linalg.norm(hinge, axis=1, keepdims=True)
    x, y = pose.upper_arm[:, :, 0], pose.upper_arm[:, :, 1]
    roll = np.arctan2(np.sum(np.cross(hinge, x) * y, axis=1), np.sum(x * hinge, axis=1))
    assert np.ptp(roll) > 1.0
    off = np.abs(matched.settings.upper_roll - roll)
    assert_close(np.minimum(off, 2.0 * np.pi - off), 0.0, atol=1e-8)


def test_an_arm_that_is_bent_by_its_hinge_is_held_without_a_roll(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = hinged(rng, geometry, "none")
    for elbow in (0.0, 1.0):
        matched = match(geometry, before, Target(ik=1.0, elbow=elbow, soft=0.0), in_time=False)
        assert_close(matched.settings.upper_roll, 0.0, atol=1e-9)


def test_the_upper_arm_s_roll_stays_as_it_is_where_the_mode_does_or_fk_is_asked_for(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    for source in MODES:
        before = hinged(rng, geometry, source)
        for target in (Target(lift=1.0, isolate=1.0), Target(ik=0.0)):
            after = match(geometry, before, target, in_time=False).settings
            assert_close(after.upper_roll, before.upper_roll)


def test_a_roll_of_half_a_turn_stays_on_the_side_that_it_was_on(rng: np.random.Generator) -> None:
    geometry = ARMS["A-pose"]
    forearm = np.column_stack([rng.uniform(-2.0, -0.5, COUNT), np.zeros((COUNT, 2))])
    before = replace(hinged(rng, geometry, "none"), forearm=forearm)
    for side in (-1.0, 1.0):
        # An elbow that is bent backwards hinges about the opposite axis.
        rolled = replace(before, upper_roll=np.full(COUNT, 2.0 * side))
        matched = match(geometry, rolled, Target(ik=1.0, soft=0.0), in_time=False)
        assert_no_pop(geometry, before, matched)
        assert_close(matched.settings.upper_roll, side * np.pi)


def test_an_fk_forearm_keeps_its_channels_when_its_elbow_becomes_held(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = hinged(rng, geometry, "none")
    after = match(geometry, before, Target(elbow=1.0), in_time=False).settings
    assert_close(after.forearm, before.forearm, atol=1e-12)
    assert_close(after.hand, before.hand, atol=1e-12)


def test_what_the_new_mode_does_not_read_stays_as_it_is(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    before = hinged(rng, geometry, "hand")
    to_fk = match(geometry, before, Target(ik=0.0), in_time=False).settings
    for name in ("hand_hold", "elbow_hold", "aim", "torso", "root", "volume"):
        assert_close(getattr(to_fk, name), getattr(before, name))
    before = hinged(rng, geometry, "none")
    to_ik = match(geometry, before, Target(ik=1.0), in_time=False).settings
    for name in ("hand", "elbow_hold", "torso", "root", "volume"):
        assert_close(getattr(to_ik, name), getattr(before, name))
    # Of the forearm's channels IK reads the roll.
    assert_close(to_ik.forearm[:, [0, 2]], before.forearm[:, [0, 2]])


def test_a_hold_out_of_reach_stays_there_while_the_lift_changes(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = random_settings(rng, geometry, COUNT, planted=True)
    far = before.hand_hold.copy()
    far[:, :3, 3] += 5.0
    before = replace(before, hand_hold=far, ik=np.ones(COUNT), elbow=np.zeros(COUNT), soft=np.zeros(COUNT))
    matched = match(geometry, before, Target(lift=1.0, isolate=1.0), in_time=False)
    assert_no_pop(geometry, before, matched)
    assert_close(matched.settings.hand_hold, far)
    assert_no_pop(geometry, before, match(geometry, before, Target(ik=0.0), in_time=False))


def test_an_elbow_hold_out_of_reach_stays_there_while_the_hand_is_taken_up(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    before = random_settings(rng, geometry, COUNT, planted=True)
    far = before.elbow_hold.copy()
    far[:, :3, 3] += 3.0
    before = replace(before, elbow_hold=far, ik=np.zeros(COUNT), elbow=np.ones(COUNT))
    matched = match(geometry, before, Target(ik=1.0), in_time=False)
    assert_close(matched.position_error, 0.0, atol=POP * SIZE)
    assert_close(matched.settings.elbow_hold, far)


def test_matching_the_mirrored_arm_gives_the_mirrored_settings(rng: np.random.Generator) -> None:
    geometry = ARMS["A-pose"]
    for source, goal in product(MODES, MODES):
        before = hinged(rng, geometry, source, 40)
        target = Target(*MODES[goal], isolate=1.0, lift=1.0, stretch=1.0, soft=0.5)
        left = match(geometry, before, target, in_time=False)
        right = match(mirrored_arm(geometry), mirrored_settings(before), target, in_time=False)
        expected = mirrored_settings(left.settings)
        for item in fields(ArmSettings):
            assert_close(getattr(right.settings, item.name), getattr(expected, item.name), atol=1e-7, err_msg=item.name)


def test_both_arms_are_matched_at_once(rng: np.random.Generator) -> None:
    before = {side: hinged(rng, arm(45.0, side=side), "none", 20) for side in "LR"}
    arms = {side: ArmToMatch(arm(45.0, side=side), before[side], Target(ik=1.0)) for side in "LR"}
    both = match_arms(arms, in_time=False)
    assert list(both) == ["L", "R"]
    for side in "LR":
        assert_no_pop(arm(45.0, side=side), before[side], both[side])


def test_an_empty_batch_is_matched_by_an_empty_one() -> None:
    geometry = ARMS["A-pose"]
    empty = picked(random_settings(np.random.default_rng(1), geometry, 2), slice(0, 0))
    for ik, elbow in MODES.values():
        assert match(geometry, empty, Target(ik=ik, elbow=elbow)).position_error.shape == (0,)


@pytest.mark.parametrize(
    ("target", "word"),
    [
        (Target(ik=0.5), "ik would be 0.5 at frame 0"),
        (Target(elbow=0.25), "elbow would be 0.25"),
        (Target(lift=2.0), "lift is 2.0 at frame 0"),
        (Target(stretch=float("nan")), "stretch is nan"),
        (Target(isolate=np.zeros(3)), "isolate has shape"),
    ],
)
def test_what_can_not_be_matched_is_refused_with_a_sentence(
    rng: np.random.Generator, target: Target, word: str
) -> None:
    geometry = ARMS["A-pose"]
    with pytest.raises(MatchError, match=word):
        match(geometry, hinged(rng, geometry, "none", 5), target)


def test_a_pose_that_is_not_defined_is_refused(rng: np.random.Generator) -> None:
    geometry = ARMS["A-pose"]
    before = hinged(rng, geometry, "hand", 5)
    broken = before.hand_hold.copy()
    broken[3, :3, 3] = np.nan
    with pytest.raises(MatchError, match="frame 3"):
        match(geometry, replace(before, hand_hold=broken), Target(ik=0.0))
