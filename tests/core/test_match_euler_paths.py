"""Euler channels run on from frame to frame and give their orientations exactly, through any motion."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from arm_cases import MIRROR, arm, assert_close, moved, random_settings, random_turns

from armwright.core.match.euler_paths import euler_near, euler_path
from armwright.core.match.match import match
from armwright.core.match.target import Target
from armwright.core.motion.bvh import read_bvh
from armwright.core.motion.clip import compose, for_side
from armwright.core.motion.recorded import recorded_clip
from armwright.core.rotations import euler_to_matrix
from armwright.core.solve.rest import rest_settings

SEED = 20240617
ORDERS = ["".join(order) for order in permutations("XYZ")]
RECORDED = Path(__file__).parents[1] / "data" / "cmu_01_01_upper.bvh"


@pytest.fixture
def rng() -> np.random.Generator:
    print(f"seed {SEED}")
    return np.random.default_rng(SEED)


def smooth(rng: np.random.Generator, frames: int, size: float) -> np.ndarray:
    time = np.linspace(0.0, 1.0, frames)[:, None]
    return size * np.sin(2.0 * np.pi * (rng.uniform(0.5, 2.0, 3) * time + rng.uniform(0.0, 1.0, 3)))


@pytest.mark.parametrize("order", ORDERS)
def test_a_path_of_channels_comes_back_however_far_it_winds(rng: np.random.Generator, order: str) -> None:
    for _ in range(20):
        channels = smooth(rng, 400, 9.0)
        path = euler_path(euler_to_matrix(channels, order), order, channels[0] + rng.uniform(-0.3, 0.3, 3))
        assert_close(path, channels, atol=1e-6)


@pytest.mark.parametrize("order", ORDERS)
def test_each_frame_alone_finds_the_channels_near_it(rng: np.random.Generator, order: str) -> None:
    channels = rng.uniform(-9.0, 9.0, (2000, 3))
    found = euler_near(euler_to_matrix(channels, order), order, channels + rng.uniform(-0.02, 0.02, (2000, 3)))
    middle = np.cos(channels[:, "XYZ".index(order[1])])
    clear = np.abs(middle) > 0.1
    assert clear.sum() > 1500
    assert_close(found[clear], channels[clear], atol=1e-9)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("off", [0.0, 1e-13, 1e-10, 1e-8, 1e-5])
def test_next_to_the_singular_orientation_the_channels_still_give_it(
    rng: np.random.Generator, order: str, off: float
) -> None:
    channels = rng.uniform(-3.0, 3.0, (200, 3))
    channels[:, "XYZ".index(order[1])] = np.pi / 2.0 * rng.choice([-1.0, 1.0], 200) + off
    turns = euler_to_matrix(channels, order)
    assert_close(euler_to_matrix(euler_near(turns, order, np.zeros((200, 3))), order), turns, atol=2e-12)
    assert_close(euler_to_matrix(euler_path(turns, order, np.zeros(3)), order), turns, atol=2e-12)


def test_a_path_that_rests_in_the_singular_orientation_does_not_spin() -> None:
    channels = np.array([[0.7, y, -0.4] for y in (1.3, 1.45, np.pi / 2, np.pi / 2, 1.7, 1.9)])
    assert_close(euler_path(euler_to_matrix(channels, "XYZ"), "XYZ", channels[0]), channels, atol=1e-8)


def test_a_path_that_starts_in_the_singular_orientation_starts_at_the_current_channels() -> None:
    channels = np.array([[0.7, y, -0.4] for y in (np.pi / 2, np.pi / 2, 1.4, 1.2)])
    assert_close(euler_path(euler_to_matrix(channels, "XYZ"), "XYZ", channels[0]), channels, atol=1e-8)


def test_no_frames_have_no_channels() -> None:
    assert euler_path(np.zeros((0, 3, 3)), "XYZ", np.zeros(3)).shape == (0, 3)


@pytest.mark.parametrize("side", ["L", "R"])
@pytest.mark.parametrize("hand", [0.0, 1.0])
def test_a_recorded_motion_baked_from_holds_to_fk_has_no_jumps(
    rng: np.random.Generator, side: str, hand: float
) -> None:
    geometry = arm(45.0, side=side)
    clip = recorded_clip(read_bvh(RECORDED.read_bytes()), frames=None)
    frames = clip.frames
    size = geometry.upper_length + geometry.forearm_length
    mirror = MIRROR if side == "R" else np.eye(4)
    s = rest_settings(geometry, frames)
    elbow = s.elbow_hold.copy()
    # The hand goes round the character by more than a turn about up, so that channels have to wind.
    spin = np.array([euler_to_matrix(np.array([0.0, 0.0, angle]), "XYZ") for angle in np.linspace(0.0, 7.5, frames)])
    hold = moved(s.hand_hold[0], spin, np.zeros((frames, 3)))
    before = replace(
        s,
        torso=mirror @ moved(mirror @ geometry.torso @ mirror, compose(clip), clip.travel * size) @ mirror,
        clavicle=for_side(clip.clavicle, side),
        elbow_hold=elbow,
        hand_hold=hold,
        ik=np.full(frames, hand),
        elbow=np.ones(frames),
        lift=np.ones(frames),
    )
    matched = match(geometry, before, Target(ik=0.0, elbow=0.0, isolate=1.0))
    assert matched.exact.all()
    for name in ("clavicle", "upper_arm", "forearm", "hand"):
        steps = np.abs(np.diff(getattr(matched.settings, name), axis=0))
        assert np.degrees(steps.max()) < 60.0, name
    if hand:
        # A turn and more has been wound up, not jumped back from.
        assert np.abs(matched.settings.hand[-1] - matched.settings.hand[0]).max() > np.pi


def test_channels_that_say_the_same_already_are_not_touched(rng: np.random.Generator) -> None:
    geometry = arm(45.0)
    count = 3000
    before = random_settings(rng, geometry, count)
    zeros = np.zeros(count)
    before = replace(before, ik=zeros, elbow=zeros, lift=zeros, hand=rng.uniform(-9.0, 9.0, (count, 3)))
    after = match(geometry, before, Target(elbow=1.0)).settings
    for name in ("clavicle", "upper_arm", "hand"):
        assert_close(getattr(after, name), getattr(before, name))


def test_turns_at_random_keep_their_orientation_in_time(rng: np.random.Generator) -> None:
    turns = random_turns(rng, 500)
    assert_close(euler_to_matrix(euler_path(turns, "YZX", np.zeros(3)), "YZX"), turns, atol=1e-13)
