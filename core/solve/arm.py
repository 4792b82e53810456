"""The reference solver: docs/arm.md in closed form, batched. It knows nothing of plans, bones or constraints.

Shapes as in settings.py: N poses of one arm, metres, radians, armature space.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..rotations import axis_matrix, euler_to_matrix, slerp_matrices, swing, unit
from .settings import ArmGeometry, ArmPose, ArmSettings, Array

NEAREST_REACH = 0.01
STRAIGHTEST = 0.9999


@dataclass(frozen=True)
class ArmParts:
    """Intermediate orientations (N, 3, 3) and points (N, 3) of a solution, under the names of docs/arm.md's steps.

    They tell how near a pose is to the singular sets.
    """

    carried: Array
    level: Array
    fk_upper: Array
    elevation_fk: Array
    elevation_ik: Array
    elevation: Array
    ik_upper: Array
    free_upper: Array
    held_ik_upper: Array
    ik_elbow: Array
    fk_forearm: Array
    ik_forearm: Array
    fk_hand: Array


def solve(geometry: ArmGeometry, settings: ArmSettings) -> ArmPose:
    """Solve N poses; see docs/arm.md for the equations, whose numbers stand in the comments."""
    return solve_parts(geometry, settings)[0]


def parts(geometry: ArmGeometry, settings: ArmSettings) -> ArmParts:
    """The intermediate results of `solve`."""
    return solve_parts(geometry, settings)[1]


def solve_parts(geometry: ArmGeometry, settings: ArmSettings) -> tuple[ArmPose, ArmParts]:
    """`solve` and `parts` in one."""
    g, s, o = geometry, settings, geometry.options
    orders = g.rotation_orders
    torso_turn = s.torso[:, :3, :3] @ g.torso[:3, :3].T
    root_turn = s.root[:, :3, :3] @ g.root[:3, :3].T
    rest_upper, rest_fore, rest_hand = g.upper_arm[:3, :3], g.forearm[:3, :3], g.hand[:3, :3]

    # 1
    clavicle = torso_turn @ g.clavicle[:3, :3] @ euler_to_matrix(s.clavicle, orders[0])
    base = _carried(g.torso, s.torso, g.clavicle[:3, 3])
    # 2
    carried = clavicle @ (g.clavicle[:3, :3].T @ rest_upper)
    level = root_turn @ rest_upper
    socket = slerp_matrices(carried, level, s.isolate)
    fk_upper = socket @ euler_to_matrix(s.upper_arm, orders[1])
    # 3, 4
    hand_at, elbow_at = s.hand_hold[:, :3, 3], s.elbow_hold[:, :3, 3]
    a, b = g.upper_length * s.upper_length, g.forearm_length * s.forearm_length
    raised, blended = _raised(g, s, fk_upper, a, b)
    point = _carried(g.torso, s.torso, g.upper_arm[:3, 3])
    aloft = swing(blended, elbow_at - point, s.elbow)
    elevation = _angle(aloft[:, :, 1], -(torso_turn @ g.up))
    rest_elevation = _angle(rest_upper[:, 1], -g.up)
    lift = s.lift * o.lift_share * (scapula_turn(elevation) - scapula_turn(rest_elevation))
    lifted = clavicle @ axis_matrix("X", lift)
    shoulder = base + lifted[:, :, 1] * g.clavicle_length
    # 5
    to_hand = hand_at - shoulder
    far = np.linalg.norm(to_hand, axis=1)
    straight = a + b
    nearest = np.sqrt(a * a + b * b + 2.0 * a * b * np.cos(o.fold_limit))
    slack = np.minimum(_slack(straight, far, s.soft * o.soft_share * straight), straight - nearest)
    reach = straight - slack
    grow = 1.0 + s.stretch * (np.clip(far / reach, 1.0, o.stretch_limit) - 1.0)
    # 6
    along, aside, _ = _span(to_hand, s.aim - shoulder)
    x = (a * a - b * b + reach * reach) / (2.0 * reach)
    h = np.sqrt(np.maximum(0.0, slack * (2.0 * straight - slack) * (reach**2 - (a - b) ** 2))) / (2.0 * reach)
    ik_upper = _frame(x[:, None] * along + h[:, None] * aside, np.cross(aside, along))
    # 7
    to_elbow = elbow_at - shoulder
    asked = np.linalg.norm(to_elbow, axis=1)
    held = np.clip(asked, o.shortest * g.upper_length, o.longest * g.upper_length)
    free_upper = slerp_matrices(fk_upper, ik_upper, s.ik)
    free_ik_upper, ik_upper = ik_upper, swing(ik_upper, to_elbow, s.elbow)
    ik_length = _lerp(a * grow, held, s.elbow)
    ik_elbow = shoulder + ik_upper[:, :, 1] * ik_length[:, None]
    # 8
    upper = swing(free_upper, to_elbow, s.elbow)
    upper_length = _lerp(_lerp(a, a * grow, s.ik), held, s.elbow)
    elbow = shoulder + upper[:, :, 1] * upper_length[:, None]
    # 9
    held_frame = slerp_matrices(fk_upper, s.elbow_hold[:, :3, :3], s.elbow)
    fk_fore = held_frame @ (rest_upper.T @ rest_fore) @ euler_to_matrix(s.forearm, orders[2])
    # 10
    from_elbow = hand_at - ik_elbow
    ik_fore = swing(ik_upper, from_elbow)
    gap = np.linalg.norm(from_elbow, axis=1)
    need = 1.0 + s.stretch * (np.clip(gap / b, o.shortest, o.stretch_limit) - 1.0)
    # 11
    fore = slerp_matrices(fk_fore, ik_fore, s.ik)
    fore_length = _lerp(b, b * need, s.ik)
    wrist = elbow + fore[:, :, 1] * fore_length[:, None]
    # 12
    fk_hand = fk_fore @ (rest_fore.T @ rest_hand) @ euler_to_matrix(s.hand, orders[3])
    hand = slerp_matrices(fk_hand, s.hand_hold[:, :3, :3], s.ik)
    # 13, 14
    upper_factor, fore_factor = upper_length / g.upper_length, fore_length / g.forearm_length
    pose = ArmPose(
        shoulder=shoulder,
        elbow=elbow,
        wrist=wrist,
        clavicle=lifted,
        upper_arm=upper,
        forearm=fore,
        hand=hand,
        upper_factor=upper_factor,
        forearm_factor=fore_factor,
        upper_width=upper_factor ** (-0.5 * s.volume),
        forearm_width=fore_factor ** (-0.5 * s.volume),
        elevation=elevation,
        lift=lift,
        elbow_missing=np.abs(asked - held),
        hand_missing=np.abs(gap - b * need),
    )
    return pose, ArmParts(
        carried=carried,
        level=np.asarray(level),
        fk_upper=fk_upper,
        elevation_fk=fk_upper,
        elevation_ik=raised,
        elevation=blended,
        ik_upper=free_ik_upper,
        free_upper=free_upper,
        held_ik_upper=ik_upper,
        ik_elbow=ik_elbow,
        fk_forearm=fk_fore,
        ik_forearm=ik_fore,
        fk_hand=fk_hand,
    )


def scapula_turn(elevation: Array) -> Array:
    """The scapula's upward turn at an arm's elevation, radians (docs/arm.md, 4)."""
    early = elevation**2 / (2.0 * np.pi)
    return np.where(elevation < np.pi / 3.0, early, (elevation - np.pi / 6.0) / 3.0)


def _raised(g: ArmGeometry, s: ArmSettings, fk_upper: Array, a: Array, b: Array) -> tuple[Array, Array]:
    """The IK upper arm as seen from the torso's own shoulder point, and its blend with FK, (N, 3, 3) (docs/arm.md, 3)."""
    point = _carried(g.torso, s.torso, g.upper_arm[:3, 3])
    to_hand = s.hand_hold[:, :3, 3] - point
    far = np.maximum(np.linalg.norm(to_hand, axis=1), NEAREST_REACH * (g.upper_length + g.forearm_length))
    along, aside, side = _span(to_hand, s.aim - point)
    cosine = np.clip((a * a + far * far - b * b) / (2.0 * a * far), np.cos(g.options.fold_limit), STRAIGHTEST)
    direction = cosine[:, None] * along + np.sqrt(1.0 - cosine**2)[:, None] * aside
    raised = _frame(direction, side)
    return raised, slerp_matrices(fk_upper, raised, s.ik)


def _carried(rest: Array, pose: Array, point: Array) -> Array:
    """Where a bone at `pose` (N, 4, 4) carries a `point` (3,) that it had at `rest` (4, 4): (N, 3)."""
    local = rest[:3, :3].T @ (point - rest[:3, 3])
    return np.asarray(pose[:, :3, :3] @ local + pose[:, :3, 3])


def _slack(straight: Array, far: Array, knee: Array) -> Array:
    """How far from straight the arm stays when its target is `far` away, (N,)."""
    start = straight - knee
    past = np.exp(-np.maximum(far - start, 0.0) / np.where(knee > 0.0, knee, 1.0))
    return np.where(far <= start, straight - far, np.where(knee > 0.0, knee * past, 0.0))


def _span(to_hand: Array, to_aim: Array) -> tuple[Array, Array, Array]:
    """Units (N, 3): along the span, towards the aim at right angles to it, and the hinge's direction."""
    along = unit(to_hand)
    aside = unit(to_aim - along * np.sum(along * to_aim, axis=1, keepdims=True))
    return along, aside, np.cross(aside, along)


def _frame(y: Array, x: Array) -> Array:
    """Orientations (N, 3, 3) with Y along `y` and X along `x`, which are at right angles."""
    y, x = unit(y), unit(x)
    return np.stack([x, y, np.cross(x, y)], axis=-1)


def _angle(first: Array, second: Array) -> Array:
    """Angles between directions (..., 3), radians."""
    across = np.linalg.norm(np.cross(first, second), axis=-1)
    return np.asarray(np.arctan2(across, np.sum(first * second, axis=-1)))


def _lerp(first: Array, second: Array, share: Array) -> Array:
    return first + share * (second - first)
