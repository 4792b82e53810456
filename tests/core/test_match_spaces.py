"""A hold's channels under a space and back: a change of space keeps the pose."""

from __future__ import annotations

import numpy as np
from arm_cases import assert_close, frame, moved, random_turns, turn

from armwright.core.match.spaces import from_space, hold_channels, in_space
from armwright.core.rotations import quat_to_matrix

SEED = 20240623
COUNT = 200
REST = frame((0.4, -0.1, 1.2), turn((1.0, 2.0, 0.5), 0.8))


def random_frames(rng: np.random.Generator, rest: np.ndarray) -> np.ndarray:
    return moved(rest, random_turns(rng, COUNT), rng.uniform(-1.0, 1.0, (COUNT, 3)))


def test_a_change_of_space_keeps_the_pose() -> None:
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    head_rest, prop_rest = frame((0.0, 0.0, 1.6), turn((1, 0, 0), 1.5)), frame((1.0, 0.5, 0.2), turn((0, 1, 1), 0.4))
    head, prop = random_frames(rng, head_rest), random_frames(rng, prop_rest)
    channels = rng_basis = random_frames(rng, np.eye(4))
    pose = from_space(channels, REST, head, head_rest)
    assert_close(pose, head @ np.linalg.inv(head_rest) @ REST @ rng_basis, atol=1e-13)
    grabbed = in_space(pose, REST, prop, prop_rest)
    assert_close(from_space(grabbed, REST, prop, prop_rest), pose, atol=1e-13)
    released = in_space(pose, REST)
    assert_close(from_space(released, REST), pose, atol=1e-13)
    assert_close(in_space(pose, REST, head, head_rest), channels, atol=1e-13)


def test_a_hold_with_channels_of_zero_is_where_its_space_carries_it() -> None:
    rng = np.random.default_rng(SEED)
    space_rest = frame((0.0, 0.2, 1.0), turn((0, 0, 1), 0.3))
    space = random_frames(rng, space_rest)
    carried = space @ np.linalg.inv(space_rest) @ REST
    assert_close(in_space(carried, REST, space, space_rest), np.tile(np.eye(4), (COUNT, 1, 1)), atol=1e-13)


def test_a_hold_s_quaternion_does_not_change_sign_on_the_way() -> None:
    basis = np.tile(np.eye(4), (300, 1, 1))
    basis[:, :3, :3] = [turn((1.0, 1.0, 0.2), angle) for angle in np.linspace(0.0, 11.0, 300)]
    basis[:, :3, 3] = np.linspace([0.0, 0.0, 0.0], [1.0, 2.0, 3.0], 300)
    location, quats = hold_channels(basis)
    assert_close(location, basis[:, :3, 3])
    assert_close(quat_to_matrix(quats), basis[:, :3, :3], atol=1e-14)
    assert np.linalg.norm(np.diff(quats, axis=0), axis=1).max() < 0.02
    assert_close(hold_channels(basis, near=np.array([-1.0, 0.0, 0.0, 0.0]))[1], -quats)
