"""What the reference solver's arm does, mode by mode: rest, FK, IK, held joints, isolation."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from arm_cases import (
    CHANNELS,
    MIRROR,
    ORIENTATIONS,
    POINTS,
    arm,
    assert_close,
    mirrored_arm,
    mirrored_settings,
    moved,
    picked,
    random_settings,
    random_turns,
)

from armwright.core.rotations import angle_between, euler_to_matrix
from armwright.core.solve import arm as reference
from armwright.core.solve.arm import solve
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmPose, ArmSettings

SEED = 20240501
ARMS = {
    "A-pose": arm(45.0),
    "T-pose": arm(0.0),
    "A-pose-right": arm(45.0, side="R"),
    "straight": arm(30.0, bend=0.0),
    "hanging-right": arm(90.0, side="R"),
}
METRES = 1e-12


@pytest.fixture(params=ARMS.values(), ids=ARMS.keys())
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return request.param


@pytest.fixture
def rng() -> np.random.Generator:
    print("seed", SEED)
    return np.random.default_rng(SEED)


def norm(vectors: np.ndarray) -> np.ndarray:
    return np.linalg.norm(vectors, axis=-1)


def ones(settings: ArmSettings, *dials: str) -> ArmSettings:
    return replace(settings, **{dial: np.ones(len(settings.ik)) for dial in dials})


def zeros(settings: ArmSettings, *dials: str) -> ArmSettings:
    return replace(settings, **{dial: np.zeros(len(settings.ik)) for dial in dials})


def plain_lengths(settings: ArmSettings) -> ArmSettings:
    return ones(settings, "upper_length", "forearm_length")


def shoulder_of_torso(geometry: ArmGeometry, settings: ArmSettings) -> np.ndarray:
    return (settings.torso @ np.linalg.inv(geometry.torso) @ geometry.upper_arm)[:, :3, 3]


def assert_same(first: ArmPose, second: ArmPose, atol: float) -> None:
    for item in fields(ArmPose):
        assert_close(getattr(first, item.name), getattr(second, item.name), atol=atol, err_msg=item.name)


@pytest.mark.parametrize("dials", [(), ("ik",), ("elbow",), ("ik", "elbow"), ("isolate", "lift", "stretch", "volume")])
def test_at_rest_everything_is_at_rest(geometry: ArmGeometry, dials: tuple[str, ...]) -> None:
    pose = solve(geometry, ones(rest_settings(geometry, 2), *dials))
    for name, rest in (("shoulder", "upper_arm"), ("elbow", "forearm"), ("wrist", "hand")):
        expected = np.tile(getattr(geometry, rest)[:3, 3], (2, 1))
        # A straight arm's elbow moves with the square root of a rounding of the distance.
        atol = 3e-8 if geometry is ARMS["straight"] and "ik" in dials and name == "elbow" else METRES
        assert_close(getattr(pose, name), expected, atol=atol)
    for name in ORIENTATIONS:
        rest = getattr(geometry, name)[:3, :3]
        assert np.max(angle_between(getattr(pose, name), rest)) < (3e-7 if geometry is ARMS["straight"] else 1e-12)
    assert_close([pose.upper_factor, pose.forearm_factor], 1.0, atol=METRES)
    assert_close([pose.lift, pose.elbow_missing, pose.hand_missing], 0.0, atol=METRES)


def test_a_lifted_rest_pose_is_the_rest_pose_for_any_mode_of_it(geometry: ArmGeometry) -> None:
    settings = ones(rest_settings(geometry, 1), "lift")
    assert_close(solve(geometry, settings).lift, 0.0, atol=1e-15)


def test_fk_channels_turn_each_joint_by_exactly_what_they_say(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    drawn = random_settings(rng, geometry, 200, planted=True)
    settings = zeros(drawn, "ik", "elbow", "isolate", "lift")
    pose = solve(geometry, settings)
    torso = settings.torso[:, :3, :3] @ geometry.torso[:3, :3].T
    parents = {"clavicle": torso, "upper_arm": None, "forearm": None, "hand": None}
    above = {"upper_arm": "clavicle", "forearm": "upper_arm", "hand": "forearm"}
    for index, name in enumerate(CHANNELS):
        rest = getattr(geometry, name)[:3, :3]
        parent = parents[name]
        if parent is None:
            parent = getattr(pose, above[name]) @ getattr(geometry, above[name])[:3, :3].T
        expected = parent @ rest @ euler_to_matrix(getattr(settings, name), geometry.rotation_orders[index])
        assert np.max(angle_between(getattr(pose, name), expected)) < 1e-14 * 10


def test_segments_have_the_lengths_that_their_dials_say_in_fk(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    settings = zeros(random_settings(rng, geometry, 200), "ik", "elbow")
    pose = solve(geometry, settings)
    assert_close(norm(pose.elbow - pose.shoulder), geometry.upper_length * settings.upper_length, atol=METRES)
    assert_close(norm(pose.wrist - pose.elbow), geometry.forearm_length * settings.forearm_length, atol=METRES)


def in_reach(rng: np.random.Generator, geometry: ArmGeometry, count: int = 400) -> ArmSettings:
    """IK settings of plain lengths whose hand holds are certainly in reach, whatever the lift."""
    settings = plain_lengths(ones(random_settings(rng, geometry, count), "ik"))
    # The clavicle's turn and the lift carry the shoulder by less than this.
    margin = geometry.clavicle_length * 1.2
    shoulder = shoulder_of_torso(geometry, settings)
    direction = settings.hand_hold[:, :3, 3] - shoulder
    direction /= norm(direction)[:, None]
    length = geometry.upper_length + geometry.forearm_length
    distance = rng.uniform(margin + 0.2 * length, length - margin, count)
    hold = settings.hand_hold.copy()
    hold[:, :3, 3] = shoulder + direction * distance[:, None]
    return zeros(replace(settings, hand_hold=hold), "soft", "elbow")


def test_ik_reaches_every_target_in_reach_with_unstretched_segments(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = in_reach(rng, geometry)
    pose = solve(geometry, settings)
    assert_close(pose.wrist, settings.hand_hold[:, :3, 3], atol=METRES)
    assert_close(norm(pose.elbow - pose.shoulder), geometry.upper_length, atol=METRES)
    assert_close(norm(pose.wrist - pose.elbow), geometry.forearm_length, atol=METRES)
    assert_close(pose.hand_missing, 0.0, atol=METRES)
    assert np.max(angle_between(pose.hand, settings.hand_hold[:, :3, :3])) < 1e-14


def test_the_ik_elbow_lies_on_the_aim_s_side_of_the_plane_of_shoulder_hand_and_aim(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = in_reach(rng, geometry)
    pose = solve(geometry, settings)
    span, aim, elbow = pose.wrist - pose.shoulder, settings.aim - pose.shoulder, pose.elbow - pose.shoulder
    normal = np.cross(span, aim)
    sine = norm(normal) / (norm(span) * norm(aim))
    clear = sine > 0.05
    assert clear.mean() > 0.9
    off_plane = np.sum(normal * elbow, axis=1) / norm(normal)
    assert_close(off_plane[clear], 0.0, atol=1e-11)
    assert np.all(np.sum(np.cross(span, elbow) * normal, axis=1)[clear] > 0.0)


def test_the_ik_elbow_is_a_hinge_about_x_that_bends_the_positive_way(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = in_reach(rng, geometry)
    pose = solve(geometry, settings)
    # Each segment's own roll comes after the hinge, and the forearm has the upper arm's as well.
    rolls = settings.upper_roll[:, None] * [0.0, 1.0, 0.0]
    upper = pose.upper_arm @ euler_to_matrix(-rolls, "XYZ")
    fore = pose.forearm @ euler_to_matrix(-rolls - settings.forearm * [0.0, 1.0, 0.0], "XYZ")
    bend = np.swapaxes(upper, 1, 2) @ fore
    assert_close(bend[:, 0, 0], 1.0, atol=1e-12)
    assert np.all(bend[:, 2, 1] > 0.0)


def test_the_upper_arm_s_roll_turns_the_ik_arm_about_itself_and_moves_no_joint(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = in_reach(rng, geometry)
    for elbow in (0.0, 1.0):
        rolled = replace(settings, elbow=np.full(len(settings.ik), elbow))
        plain, pose = solve(geometry, zeros(rolled, "upper_roll")), solve(geometry, rolled)
        for item in fields(ArmPose):
            if item.name not in ("upper_arm", "forearm"):
                assert_close(getattr(pose, item.name), getattr(plain, item.name), atol=METRES, err_msg=item.name)
        turns = euler_to_matrix(settings.upper_roll[:, None] * [0.0, 1.0, 0.0], "XYZ")
        assert_close(pose.upper_arm, plain.upper_arm @ turns, atol=1e-12)
        assert_close(pose.forearm, plain.forearm @ turns, atol=1e-12)


def test_a_hand_hold_does_not_move_whatever_torso_and_clavicle_do(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = in_reach(rng, geometry)
    still = np.repeat(settings.hand_hold[:1], len(settings.ik), axis=0)
    shoulder = shoulder_of_torso(geometry, settings)
    still[:, :3, 3] = shoulder[0] + [0.0, -0.6 * (geometry.upper_length + geometry.forearm_length), 0.0]
    torso = moved(geometry.torso, random_turns(rng, len(still), 0.3), np.zeros((len(still), 3)))
    pose = solve(geometry, replace(settings, hand_hold=still, torso=torso))
    near = pose.hand_missing < 1e-9
    assert near.mean() > 0.5
    assert_close(pose.wrist[near], still[near][:, :3, 3], atol=METRES)


@pytest.mark.parametrize("ik", [0.0, 1.0])
def test_a_held_elbow_does_not_move_when_the_torso_does(
    geometry: ArmGeometry, rng: np.random.Generator, ik: float
) -> None:
    """And its forearm and hand neither move nor turn: in FK they live in the hold, in IK they follow the hand hold."""
    count = 300
    one = picked(random_settings(rng, geometry, 1), np.zeros(count, int))
    hold = one.elbow_hold.copy()
    hold[:, :3, 3] = geometry.forearm[:3, 3] + [0.02, -0.03, 0.04]
    settings = replace(
        zeros(one, "stretch"),
        elbow=np.ones(count),
        ik=np.full(count, ik),
        lift=rng.uniform(0, 1, count),
        isolate=rng.uniform(0, 1, count),
        clavicle=rng.uniform(-0.2, 0.2, (count, 3)),
        elbow_hold=hold,
        torso=moved(geometry.torso, random_turns(rng, count, 0.25), rng.uniform(-0.05, 0.05, (count, 3))),
    )
    pose = solve(geometry, settings)
    assert np.ptp(pose.shoulder, axis=0).min() > 0.05
    assert np.max(pose.elbow_missing) < 1e-15
    assert_close(pose.elbow, hold[:, :3, 3], atol=METRES)
    assert_close(pose.wrist, np.tile(pose.wrist[:1], (count, 1)), atol=METRES)
    assert np.max(angle_between(pose.hand, pose.hand[:1])) < 1e-12


def test_elbow_and_hand_are_both_held_where_the_forearm_reaches(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = plain_lengths(ones(random_settings(rng, geometry, 300), "ik", "elbow"))
    out = random_turns(rng, 300)[:, :, 0] * geometry.forearm_length
    hand = settings.hand_hold.copy()
    hand[:, :3, 3] = settings.elbow_hold[:, :3, 3] + out
    pose = solve(geometry, replace(settings, hand_hold=hand))
    held = pose.elbow_missing == 0.0
    assert held.mean() > 0.5
    assert_close(pose.elbow[held], settings.elbow_hold[held, :3, 3], atol=METRES)
    assert_close(pose.wrist[held], hand[held, :3, 3], atol=METRES)


def test_an_elbow_hold_out_of_the_limits_is_missed_by_what_the_solver_says(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    settings = ones(random_settings(rng, geometry, 400), "elbow")
    far = settings.elbow_hold.copy()
    shoulder = shoulder_of_torso(geometry, settings)
    far[:, :3, 3] = shoulder + (far[:, :3, 3] - shoulder) * np.geomspace(0.05, 20.0, 400)[:, None]
    pose = solve(geometry, replace(settings, elbow_hold=far))
    missed = norm(pose.elbow - far[:, :3, 3])
    assert_close(missed, pose.elbow_missing, atol=METRES * 10)
    too_far = norm(far[:, :3, 3] - pose.shoulder) > 2.0 * geometry.upper_length
    too_near = norm(far[:, :3, 3] - pose.shoulder) < 0.5 * geometry.upper_length
    assert too_far.any() and too_near.any()
    assert_close(pose.upper_factor[too_far], 2.0, atol=METRES)
    assert_close(pose.upper_factor[too_near], 0.5, atol=METRES)


@pytest.mark.parametrize("isolate", [0.0, 1.0])
def test_isolation_lets_the_upper_arm_keep_its_orientation_and_its_absence_lets_it_follow(
    geometry: ArmGeometry, rng: np.random.Generator, isolate: float
) -> None:
    count = 200
    turns = random_turns(rng, count, 1.2)
    settings = replace(
        rest_settings(geometry, count),
        torso=moved(geometry.torso, turns, np.zeros((count, 3))),
        isolate=np.full(count, isolate),
        upper_arm=np.tile(rng.uniform(-1, 1, 3), (count, 1)),
    )
    pose = solve(geometry, settings)
    alone = geometry.upper_arm[:3, :3] @ euler_to_matrix(settings.upper_arm, geometry.rotation_orders[1])
    expected = alone if isolate else turns @ alone
    assert np.max(angle_between(pose.upper_arm, expected)) < 1e-14 * 10
    # Isolated or not, the arm travels with the shoulder.
    assert_close(pose.shoulder, shoulder_of_torso(geometry, settings), atol=METRES)


def test_isolation_in_between_lies_on_the_short_way(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    count = 100
    turns = random_turns(rng, count, 1.2)
    share = rng.uniform(size=count)
    settings = replace(
        rest_settings(geometry, count), torso=moved(geometry.torso, turns, np.zeros((count, 3))), isolate=share
    )
    pose = solve(geometry, settings)
    whole = angle_between(turns, np.eye(3))
    assert_close(angle_between(pose.upper_arm, geometry.upper_arm[:3, :3]), (1 - share) * whole, atol=1e-12)
    with_torso = turns @ geometry.upper_arm[:3, :3]
    assert_close(angle_between(pose.upper_arm, with_torso), share * whole, atol=1e-12)


def test_the_mirrored_settings_give_the_mirrored_pose(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    settings = random_settings(rng, geometry, 500, planted=True)
    pose = solve(geometry, settings)
    other = solve(mirrored_arm(geometry), mirrored_settings(settings))
    for item in fields(ArmPose):
        mine, seen = getattr(pose, item.name), getattr(other, item.name)
        if item.name in POINTS:
            seen = seen * np.diag(MIRROR)[:3]
        if item.name in ORIENTATIONS:
            seen = MIRROR[:3, :3] @ seen @ MIRROR[:3, :3]
        assert_close(seen, mine, atol=1e-11, err_msg=item.name)


def test_a_batch_is_the_same_as_one_by_one(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    settings = random_settings(rng, geometry, 25, planted=True)
    batch = solve(geometry, settings)
    for index in range(25):
        alone = solve(geometry, picked(settings, slice(index, index + 1)))
        for item in fields(ArmPose):
            assert_close(getattr(alone, item.name)[0], getattr(batch, item.name)[index], atol=1e-13, err_msg=item.name)


def test_blocks_do_not_show(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    geometry = ARMS["A-pose"]
    settings = random_settings(rng, geometry, 100, planted=True)
    whole = solve(geometry, settings)
    monkeypatch.setattr(reference, "BLOCK", 33)
    assert_same(solve(geometry, settings), whole, atol=1e-13)


def test_an_empty_batch_has_an_empty_answer_of_the_right_shapes() -> None:
    pose = solve(ARMS["A-pose"], rest_settings(ARMS["A-pose"], 0))
    assert pose.shoulder.shape == (0, 3)
    assert pose.hand.shape == (0, 3, 3)
    assert pose.lift.shape == (0,)


def test_every_orientation_is_a_rotation(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    pose = solve(geometry, random_settings(rng, geometry, 500, planted=True))
    for name in ORIENTATIONS:
        matrices = getattr(pose, name)
        assert_close(matrices @ np.swapaxes(matrices, 1, 2), np.tile(np.eye(3), (500, 1, 1)), atol=1e-14)
        assert_close(np.linalg.det(matrices), 1.0, atol=1e-14)


def test_the_input_is_left_as_it_was(rng: np.random.Generator) -> None:
    geometry = ARMS["A-pose"]
    settings = random_settings(rng, geometry, 50, planted=True)
    before = {item.name: getattr(settings, item.name).copy() for item in fields(ArmSettings)}
    solve(geometry, settings)
    for name, value in before.items():
        np.testing.assert_array_equal(getattr(settings, name), value, err_msg=name)


def test_a_hand_hold_at_the_shoulder_spoils_ik_poses_only() -> None:
    geometry = ARMS["A-pose"]
    settings = rest_settings(geometry, 2)
    hold = settings.hand_hold.copy()
    hold[:, :3, 3] = solve(geometry, settings).shoulder
    pose = solve(geometry, replace(settings, hand_hold=hold, ik=np.array([0.0, 1.0])))
    assert_close(pose.wrist[0], geometry.hand[:3, 3], atol=METRES)
    assert np.isnan(pose.wrist[1]).all()
