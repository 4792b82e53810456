"""Rotations against scipy.spatial.transform, which shares no code with ours."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from arm_cases import assert_close
from scipy.spatial.transform import Rotation, Slerp

from armwright.core.rotations import (
    angle_between,
    between,
    euler_to_matrix,
    matrix_to_euler,
    matrix_to_quat,
    quat_multiply,
    quat_to_matrix,
    slerp,
    slerp_matrices,
    swing,
    swing_twist,
)

SEED = 20240503
COUNT = 300
ORDERS = ["".join(order) for order in itertools.permutations("XYZ")]
SCIPY = "scipy.spatial.transform.Rotation"
EXACT = 1e-14

Draw = Callable[[np.random.Generator], np.ndarray]
# Angles of the drawn turns, radians: all, next to none, next to half a turn.
ANGLES: dict[str, Draw] = {
    "any": lambda rng: rng.uniform(0.0, np.pi, COUNT),
    "tiny": lambda rng: 10.0 ** rng.uniform(-12, -4, COUNT),
    "nearly half a turn": lambda rng: np.pi - 10.0 ** rng.uniform(-12, -4, COUNT),
}


@pytest.fixture(params=ANGLES.values(), ids=ANGLES.keys())
def turns(request: pytest.FixtureRequest) -> Rotation:
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    axes = rng.normal(size=(COUNT, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    return Rotation.from_rotvec(axes * request.param(rng)[:, None])


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(SEED + 1)


def w_first(turns: Rotation) -> np.ndarray:
    return np.roll(turns.as_quat(), 1, axis=-1)


def any_turns(rng: np.random.Generator) -> Rotation:
    return Rotation.from_quat(rng.normal(size=(COUNT, 4)))


@pytest.mark.parametrize(
    ("order", "scipy_order", "source"),
    [(order, order.lower(), f"{SCIPY}.from_euler, extrinsic: the first letter is applied first") for order in ORDERS],
)
def test_euler_angles_make_scipy_s_matrices(
    order: str, scipy_order: str, source: str, rng: np.random.Generator
) -> None:
    angles = rng.uniform(-np.pi, np.pi, (COUNT, 3))
    in_order = angles[:, ["XYZ".index(axis) for axis in order]]
    expected = Rotation.from_euler(scipy_order, in_order).as_matrix()
    assert_close(euler_to_matrix(angles, order), expected, atol=EXACT, err_msg=source)


@pytest.mark.parametrize("order", ORDERS)
def test_matrices_give_scipy_s_euler_angles(order: str, rng: np.random.Generator) -> None:
    turns = any_turns(rng)
    expected = turns.as_euler(order.lower())
    ours = matrix_to_euler(turns.as_matrix(), order)[:, ["XYZ".index(axis) for axis in order]]
    clear = np.abs(np.cos(expected[:, 1])) > 1e-2
    assert clear.mean() > 0.9
    assert_close(np.exp(1j * ours[clear]), np.exp(1j * expected[clear]), atol=1e-12)


def test_quaternions_and_matrices_convert_as_scipy_s(turns: Rotation) -> None:
    assert_close(quat_to_matrix(w_first(turns)), turns.as_matrix(), atol=EXACT)
    ours = matrix_to_quat(turns.as_matrix())
    sign = np.sign(np.sum(ours * w_first(turns), axis=1, keepdims=True))
    assert_close(ours, sign * w_first(turns), atol=EXACT)


def test_products_are_scipy_s(turns: Rotation, rng: np.random.Generator) -> None:
    other = any_turns(rng)
    ours = quat_to_matrix(quat_multiply(w_first(turns), w_first(other)))
    assert_close(ours, (turns * other).as_matrix(), atol=EXACT)


def test_angles_between_orientations_are_scipy_s_magnitudes(turns: Rotation, rng: np.random.Generator) -> None:
    other = any_turns(rng)
    expected = turns.magnitude()
    assert_close(angle_between(other.as_matrix(), (other * turns).as_matrix()), expected, atol=4 * EXACT)


def test_blends_are_scipy_s_slerp(turns: Rotation, rng: np.random.Generator) -> None:
    start = any_turns(rng)
    share = rng.uniform(size=COUNT)
    expected = np.array(
        [
            Slerp([0.0, 1.0], Rotation.concatenate([a, a * b]))(t).as_matrix()
            for a, b, t in zip(start, turns, share, strict=True)
        ]
    )
    # Next to half a turn the rounding of the ends is magnified by what is missing to it.
    missing = np.pi - turns.magnitude()
    atol = (1e-15 / missing + 1e-14)[:, None, None] * 4
    ours = slerp(w_first(start), w_first(start * turns), share)
    clear = missing > 1e-7
    assert np.all((np.abs(quat_to_matrix(ours) - expected) < atol)[clear])
    from_matrices = slerp_matrices(start.as_matrix(), (start * turns).as_matrix(), share)
    assert np.all((np.abs(from_matrices - expected) < atol)[clear])


def test_swings_are_scipy_s_rotation_vectors_at_right_angles(rng: np.random.Generator) -> None:
    start, target, share = any_turns(rng), rng.normal(size=(COUNT, 3)), rng.uniform(size=COUNT)
    matrices = start.as_matrix()
    y, to = matrices[:, :, 1], target / np.linalg.norm(target, axis=1, keepdims=True)
    axis = np.cross(y, to)
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    arc = np.arccos(np.clip(np.sum(y * to, axis=1), -1, 1))
    expected = (Rotation.from_rotvec(axis * (share * arc)[:, None]) * start).as_matrix()
    # The arc cosine of this check loses digits next to 0 and half a turn.
    assert_close(swing(matrices, target, share), expected, atol=1e-13 / np.sin(arc).min())
    smallest = Rotation.from_rotvec(axis * arc[:, None]).as_matrix()
    assert_close(quat_to_matrix(between(y, target)), smallest, atol=1e-13 / np.sin(arc).min())


@pytest.mark.parametrize("axis", np.eye(3), ids="XYZ")
def test_swing_and_twist_are_scipy_s_nearest_turn_about_the_axis(turns: Rotation, axis: np.ndarray) -> None:
    """The twist is the turn about the axis that leaves the smallest rest: scipy searches it, ours projects."""
    swung, twist = swing_twist(w_first(turns), axis)
    angle = 2.0 * np.arctan2(twist[:, 1:] @ axis, twist[:, 0])
    as_scipy = Rotation.from_rotvec(axis * angle[:, None])
    rest = turns * as_scipy.inv()
    assert np.max(angle_between(quat_to_matrix(swung), rest.as_matrix())) < 1e-13
    for offset in (-1e-3, 1e-3, 0.5, -2.0):
        worse = turns * Rotation.from_rotvec(axis * (angle + offset)[:, None]).inv()
        assert np.all(rest.magnitude() <= worse.magnitude() + 1e-12)
    assert np.max(np.abs(rest.as_rotvec() @ axis)[rest.magnitude() < 3.0]) < 1e-12
