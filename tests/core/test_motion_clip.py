"""Clips: what is accepted, mirrored channels, composed and split torsos; checked against scipy's rotations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.errors import MotionError
from armwright.core.frames import arm_frames
from armwright.core.guide import UP, ArmGuide
from armwright.core.motion.clip import MAX_FRAMES, compose, for_side, make_clip, split, torso_for

SEED = 20


def random_turns(count: int, largest: float, seed: int = SEED) -> np.ndarray:
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    axis = rng.normal(size=(count, 3))
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    return Rotation.from_rotvec(axis * rng.uniform(0.0, largest, (count, 1))).as_matrix()


def product(parts: np.ndarray) -> np.ndarray:
    total = parts[:, 0]
    for i in range(1, parts.shape[1]):
        total = total @ parts[:, i]
    return total


def test_what_is_left_out_keeps_still() -> None:
    clip = make_clip("still", 4)
    assert (clip.name, clip.frames, clip.seed) == ("still", 4, 0)
    assert np.array_equal(clip.torso, np.tile(np.eye(3), (4, 1, 1, 1)))
    assert np.array_equal(clip.hand_turn, np.tile(np.eye(3), (4, 1, 1)))
    for part in ("travel", "clavicle", "hand", "elbow", "upper_arm", "forearm", "hand_channels"):
        assert np.array_equal(getattr(clip, part), np.zeros((4, 3))), part


def test_a_clip_owns_its_arrays_and_they_can_not_be_written_to() -> None:
    travel = np.zeros((4, 3))
    clip = make_clip("own", 4, travel=travel)
    travel[:] = 7.0
    assert not clip.travel.any()
    with pytest.raises(ValueError, match="read-only"):
        clip.travel[0, 0] = 1.0


MIRROR = np.tile(np.diag([-1.0, 1.0, 1.0]), (4, 1, 1, 1))
NAN = np.full((4, 3), np.nan)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"name": " "}, "needs a name"),
        ({"frames": 0}, "0 frames; give a number from 1"),
        ({"frames": MAX_FRAMES + 1}, "give a number from 1"),
        ({"seed": -1}, "seed -1 is negative"),
        ({"travel": np.zeros((3, 3))}, r"travel has shape \(3, 3\); give \(4, 3\)"),
        ({"elbow": NAN}, "elbow has a value that is not finite at frame 0"),
        ({"torso": np.eye(3)}, r"torso has shape \(3, 3\); give \(4, J, 3, 3\)"),
        ({"torso": np.zeros((4, 0, 3, 3))}, "with J from 1"),
        ({"torso": np.tile(np.eye(3), (4, 65, 1, 1))}, "with J from 1 to 64"),
        ({"torso": np.tile(np.eye(3), (5, 1, 1, 1))}, r"give \(4, 1, 3, 3\)"),
        ({"torso": MIRROR}, "torso is no rotation at frame 0"),
        ({"hand_turn": 1.001 * np.tile(np.eye(3), (4, 1, 1))}, "hand_turn is no rotation at frame 0"),
        ({"hand_turn": np.full((4, 3, 3), np.inf)}, "hand_turn has a value that is not finite"),
    ],
)
def test_a_wrong_clip_is_refused_with_what_to_do(given: dict[str, object], message: str) -> None:
    settings = {"name": "rail", "frames": 4} | given
    with pytest.raises(MotionError, match=message):
        make_clip(**settings)  # type: ignore[arg-type]


def test_the_right_arms_channels_make_the_mirror_image_of_the_left_arms_turn() -> None:
    left = ArmGuide(
        "L", (0.02, 0, 1.4), (0.17, 0.01, 1.42), (0.42, 0.05, 1.3), (0.65, -0.02, 1.2), (0.8, -0.04, 1.15), (0, -1, 0)
    )
    flip = np.diag([-1.0, 1.0, 1.0])
    points = (
        flip @ np.array(p) for p in (left.clavicle, left.shoulder, left.elbow, left.wrist, left.hand_end, left.palm)
    )
    right = ArmGuide("R", *(tuple(map(float, p)) for p in points))  # type: ignore[arg-type]
    frames_l, frames_r = arm_frames(left, UP), arm_frames(right, UP)
    channels = np.array([0.4, -0.3, 0.7])
    for bone, order in (("clavicle", "xyz"), ("upper_arm", "xyz"), ("forearm", "yzx"), ("hand", "yzx")):
        rest_l, rest_r = getattr(frames_l, bone)[:3, :3], getattr(frames_r, bone)[:3, :3]
        turns = []
        for side in ("L", "R"):
            values = for_side(channels, side)
            # scipy's lower case is extrinsic: the first axis of the order is applied first, as the host does.
            turns.append(Rotation.from_euler(order, values[["xyz".index(a) for a in order]]).as_matrix())
        turned_l = rest_l @ turns[0] @ rest_l.T
        turned_r = rest_r @ turns[1] @ rest_r.T
        assert np.abs(turned_r - flip @ turned_l @ flip).max() < 1e-12, bone


def test_a_side_that_is_neither_left_nor_right_is_refused() -> None:
    with pytest.raises(MotionError, match="L or R, not 'port'"):
        for_side(np.zeros((2, 3)), "port")


def test_compose_multiplies_the_joints_from_the_lowest_up() -> None:
    turns = random_turns(12, 1.0).reshape(4, 3, 3, 3)
    total = compose(make_clip("spine", 4, torso=turns))
    expected = [
        (Rotation.from_matrix(a) * Rotation.from_matrix(b) * Rotation.from_matrix(c)).as_matrix() for a, b, c in turns
    ]
    assert np.abs(total - expected).max() < 1e-14


@pytest.mark.parametrize("parts", [1, 2, 3, 7, 64])
def test_the_parts_of_a_split_are_equal_and_multiply_to_the_total(parts: int) -> None:
    totals = np.concatenate(
        [random_turns(500, np.pi), np.eye(3)[None], Rotation.from_rotvec([[1e-9, 0, 0]]).as_matrix()]
    )
    shares = split(totals, parts)
    assert shares.shape == (502, parts, 3, 3)
    assert (shares == shares[:, :1]).all()
    assert np.abs(product(shares) - totals).max() < 1e-12


def test_a_part_turns_about_the_totals_axis_by_its_share_of_the_angle() -> None:
    totals = random_turns(300, np.pi)
    expected = []
    for total in totals:  # one at a time: a frame by itself takes the short way round
        expected.append(Rotation.from_rotvec(Rotation.from_matrix(total).as_rotvec() / 3.0).as_matrix())
        assert np.abs(split(total[None], 3)[0, 0] - expected[-1]).max() < 1e-9


@pytest.mark.parametrize("angle", [np.pi, np.pi - 1e-9, -np.pi + 1e-12])
def test_half_a_turn_splits_exactly(angle: float) -> None:
    totals = Rotation.from_rotvec(angle * np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.6, 0, -0.8]])).as_matrix()
    for total in totals:
        assert np.abs(product(split(total[None], 4)) - total).max() < 1e-12


def test_a_turn_that_passes_half_a_turn_splits_without_a_jump() -> None:
    angles = np.radians(np.arange(0.0, 340.0, 2.0))
    totals = Rotation.from_rotvec(angles[:, None] * np.array([0.36, 0.48, 0.8])).as_matrix()
    shares = split(totals, 3)
    steps = Rotation.from_matrix(shares[1:, 0]) * Rotation.from_matrix(shares[:-1, 0]).inv()
    assert np.degrees(steps.magnitude().max()) == pytest.approx(2.0 / 3.0, abs=1e-6)
    assert np.abs(product(shares) - totals).max() < 1e-12


@pytest.mark.parametrize(
    ("total", "parts", "message"),
    [
        (np.eye(3)[None], 0, "a torso of 0 joints"),
        (np.eye(3)[None], 65, "give a number from 1 to 64"),
        (np.eye(3), 2, r"have shape \(3, 3\); give \(N, 3, 3\)"),
        (2.0 * np.eye(3)[None], 2, "no rotation at frame 0"),
        (np.full((1, 3, 3), np.nan), 2, "no rotation at frame 0"),
    ],
)
def test_what_can_not_be_split_is_refused(total: np.ndarray, parts: int, message: str) -> None:
    with pytest.raises(MotionError, match=message):
        split(total, parts)


def test_a_rig_with_as_many_torso_bones_gets_the_clips_own_joints_and_another_the_same_total() -> None:
    clip = make_clip("spine", 4, torso=random_turns(12, 0.6).reshape(4, 3, 3, 3))
    assert np.array_equal(torso_for(clip, 3), clip.torso)
    for joints in (1, 2, 5):
        shares = torso_for(clip, joints)
        assert shares.shape == (4, joints, 3, 3)
        assert np.abs(product(shares) - compose(clip)).max() < 1e-12
