"""Rotations obey the laws of their group, also next to no turn and next to half a turn."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from arm_cases import assert_close
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from armwright.core.rotations import (
    angle_between,
    axis_matrix,
    between,
    euler_to_matrix,
    matrix_to_euler,
    matrix_to_quat,
    nearest_euler,
    quat_conjugate,
    quat_multiply,
    quat_to_matrix,
    slerp,
    slerp_matrices,
    swing,
    swing_twist,
    unit,
)

ORDERS = ["".join(order) for order in itertools.permutations("XYZ")]
# Rounding of a handful of operations on numbers of size 1.
EXACT = 4e-15

directions = st.tuples(*[st.floats(-1.0, 1.0)] * 3).map(np.array).filter(lambda v: np.linalg.norm(v) > 0.1).map(unit)
# Ordinary angles, and those that break careless formulas.
angles = st.one_of(
    st.floats(-np.pi, np.pi),
    st.floats(-1e-8, 1e-8),
    st.floats(-1e-8, 1e-8).map(lambda offset: np.pi + offset),
    st.sampled_from([0.0, np.pi / 2, np.pi, -np.pi]),
)


def about(axis: np.ndarray, angle: float) -> np.ndarray:
    return np.concatenate([[np.cos(angle / 2)], np.sin(angle / 2) * axis])


turns = st.builds(about, directions, angles)
shares = st.floats(0.0, 1.0)


@given(turns)
def test_a_turn_and_its_inverse_cancel(q: np.ndarray) -> None:
    assert_close(quat_multiply(q, quat_conjugate(q)), [1, 0, 0, 0], atol=EXACT)
    matrix = quat_to_matrix(q)
    assert_close(matrix @ matrix.T, np.eye(3), atol=EXACT)
    assert np.linalg.det(matrix) == pytest.approx(1.0, abs=EXACT)


@given(turns)
def test_no_turn_changes_nothing(q: np.ndarray) -> None:
    none = np.array([1.0, 0.0, 0.0, 0.0])
    np.testing.assert_array_equal(quat_multiply(q, none), q)
    np.testing.assert_array_equal(quat_multiply(none, q), q)


@given(turns, turns, turns)
def test_products_of_turns_are_associative(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> None:
    left, right = quat_multiply(quat_multiply(p, q), r), quat_multiply(p, quat_multiply(q, r))
    assert_close(left, right, atol=EXACT)


@given(turns, turns)
def test_quaternions_multiply_as_their_matrices_do(p: np.ndarray, q: np.ndarray) -> None:
    assert_close(quat_to_matrix(quat_multiply(p, q)), quat_to_matrix(p) @ quat_to_matrix(q), atol=EXACT)


@given(turns)
def test_a_matrix_gives_its_quaternion_back_with_a_positive_first_component(q: np.ndarray) -> None:
    back = matrix_to_quat(quat_to_matrix(q))
    assert back[0] >= 0.0
    # Either sign is the same turn, and next to half a turn the sign is a matter of rounding.
    assert min(np.abs(back - q).max(), np.abs(back + q).max()) < EXACT


@pytest.mark.parametrize("order", ORDERS)
@given(st.tuples(angles, angles, angles).map(np.array))
@settings(max_examples=60)
def test_the_order_s_first_letter_is_applied_first(order: str, triple: np.ndarray) -> None:
    first, second, third = (axis_matrix(axis, triple["XYZ".index(axis)]) for axis in order)
    np.testing.assert_array_equal(euler_to_matrix(triple, order), third @ second @ first)


@pytest.mark.parametrize("axis", "XYZ")
def test_a_positive_quarter_turn_goes_from_the_next_axis_to_the_one_after(axis: str) -> None:
    index = "XYZ".index(axis)
    turned = axis_matrix(axis, np.array(np.pi / 2)) @ np.eye(3)[(index + 1) % 3]
    assert_close(turned, np.eye(3)[(index + 2) % 3], atol=EXACT)


@pytest.mark.parametrize("order", ORDERS)
@given(st.tuples(angles, angles, angles).map(np.array))
@settings(max_examples=100)
def test_euler_angles_of_a_matrix_give_the_matrix_back(order: str, triple: np.ndarray) -> None:
    matrix = euler_to_matrix(triple, order)
    back = matrix_to_euler(matrix, order)
    assert abs(back["XYZ".index(order[1])]) <= np.pi / 2 + EXACT
    # Next to the singular set (cosine of the middle angle under 1e-9) one angle is given up: that cosine is the cost.
    assert_close(euler_to_matrix(back, order), matrix, atol=4e-9)
    middle = triple["XYZ".index(order[1])]
    if abs(np.cos(middle)) > 1e-3:
        assert_close(euler_to_matrix(back, order), matrix, atol=EXACT)


@given(st.tuples(angles, angles, angles).map(np.array), st.tuples(*[st.floats(-20, 20)] * 3).map(np.array))
def test_nearest_angles_are_equal_and_within_half_a_turn(triple: np.ndarray, near: np.ndarray) -> None:
    moved = nearest_euler(triple, near)
    assert_close(np.sin(moved - triple), 0.0, atol=2e-14)
    assert_close(np.cos(moved - triple), 1.0, atol=2e-14)
    assert np.all(np.abs(moved - near) <= np.pi + 1e-12)


@given(turns, directions, st.floats(0.0, np.pi - 1e-6), shares)
def test_a_blend_turns_about_one_axis_at_constant_speed(
    q: np.ndarray, axis: np.ndarray, angle: float, t: float
) -> None:
    end = quat_multiply(about(axis, angle), q)
    expected = quat_to_matrix(quat_multiply(about(axis, t * angle), q))
    assert_close(quat_to_matrix(slerp(q, end, t)), expected, atol=2e-14 / (np.pi - angle) + 1e-14)


@given(turns, turns, shares)
def test_a_blend_takes_the_short_way(p: np.ndarray, q: np.ndarray, t: float) -> None:
    first, second = quat_to_matrix(p), quat_to_matrix(q)
    whole = float(angle_between(first, second))
    assume(whole < np.pi - 1e-6)
    assert float(angle_between(first, slerp_matrices(first, second, t))) == pytest.approx(t * whole, abs=1e-8)
    # The sign of either quaternion says nothing.
    assert_close(quat_to_matrix(slerp(-p, q, t)), quat_to_matrix(slerp(p, q, t)), atol=1e-8)


@given(turns, turns)
def test_a_blend_s_ends_are_its_orientations(p: np.ndarray, q: np.ndarray) -> None:
    assert_close(quat_to_matrix(slerp(p, q, 0.0)), quat_to_matrix(p), atol=1e-14)
    assert_close(quat_to_matrix(slerp(p, q, 1.0)), quat_to_matrix(q), atol=1e-14)


@given(directions, directions, st.floats(0.1, 10.0))
def test_the_smallest_turn_goes_there_and_no_further_than_the_angle(a: np.ndarray, b: np.ndarray, size: float) -> None:
    assume(np.linalg.norm(a + b) > 1e-3)
    matrix = quat_to_matrix(between(a * size, b))
    assert_close(matrix @ a, b, atol=1e-12)
    arc = 2.0 * np.arctan2(np.linalg.norm(a - b), np.linalg.norm(a + b))
    assert float(angle_between(np.eye(3), matrix)) == pytest.approx(arc, abs=1e-12)


@given(directions)
def test_opposite_directions_are_half_a_turn_apart(a: np.ndarray) -> None:
    matrix = quat_to_matrix(between(a, -a))
    assert_close(matrix @ a, -a, atol=EXACT)
    assert_close(matrix @ matrix.T, np.eye(3), atol=EXACT)


@given(turns, directions, shares)
def test_a_swing_runs_along_the_great_circle(q: np.ndarray, target: np.ndarray, t: float) -> None:
    start = quat_to_matrix(q)
    y = start[:, 1]
    assume(np.linalg.norm(y + target) > 1e-3)
    swung = swing(start, target, t)
    arc = 2.0 * np.arctan2(np.linalg.norm(y - target), np.linalg.norm(y + target))
    assert abs(swung[:, 1] @ np.cross(y, target)) < 1e-12
    assert swung[:, 1] @ target == pytest.approx(np.cos((1.0 - t) * arc), abs=1e-12)
    assert float(angle_between(start, swung)) == pytest.approx(t * arc, abs=1e-12)
    assert_close(swing(start, target)[:, 1], target, atol=1e-12)


@given(turns, directions)
def test_swing_times_twist_is_the_turn(q: np.ndarray, axis: np.ndarray) -> None:
    swung, twist = swing_twist(q, axis)
    assert_close(quat_multiply(swung, twist), q, atol=EXACT)


@given(turns, directions)
def test_the_swing_s_axis_is_at_right_angles_to_the_twist_s(q: np.ndarray, axis: np.ndarray) -> None:
    assume(np.hypot(q[0], q[1:] @ axis) > 1e-3)
    swung, twist = swing_twist(q, axis)
    assert abs(swung[1:] @ axis) < 1e-12
    assert_close(np.cross(twist[1:], axis), 0.0, atol=EXACT)


@given(turns, directions)
def test_half_angles_of_swing_and_twist_multiply_to_the_turn_s(q: np.ndarray, axis: np.ndarray) -> None:
    swung, twist = swing_twist(q, axis)
    assert abs(q[0]) == pytest.approx(abs(swung[0]) * abs(twist[0]), abs=EXACT)


@given(
    directions, st.one_of(st.floats(0.0, np.pi), st.floats(0.0, 1e-7), st.floats(0.0, 1e-7).map(lambda d: np.pi - d))
)
def test_the_angle_between_orientations_is_exact_also_where_the_arc_cosine_is_not(
    axis: np.ndarray, angle: float
) -> None:
    turned = quat_to_matrix(about(axis, angle))
    assert float(angle_between(np.eye(3), turned)) == pytest.approx(angle, abs=EXACT, rel=1e-14)


@given(st.integers(1, 5))
def test_a_batch_is_the_same_as_one_by_one(count: int) -> None:
    rng = np.random.default_rng(count)
    p, q = unit(rng.normal(size=(2, 3, count, 4)))
    t = rng.uniform(size=(3, count))
    batch = slerp(p, q, t)
    one_by_one = [[slerp(p[i, j], q[i, j], t[i, j]) for j in range(count)] for i in range(3)]
    assert_close(batch, one_by_one, atol=EXACT)
    matrices = quat_to_matrix(p)
    assert matrices.shape == (3, count, 3, 3)
    assert_close(matrix_to_quat(matrices)[1, 0], matrix_to_quat(matrices[1, 0]), atol=EXACT)


def test_a_vector_without_a_length_has_no_direction() -> None:
    assert np.isnan(unit(np.zeros(3))).all()
