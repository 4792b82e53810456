"""The solver against docs/arm.md written out plainly, one pose at a time, with scipy's rotations (rotation vectors)."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from arm_cases import arm, assert_close, mirrored_arm, picked, random_settings
from scipy.spatial.transform import Rotation

from armwright.core.options import ArmOptions
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry, ArmPose, ArmSettings

SEED = 20240504
COUNT = 200
OTHER_OPTIONS = ArmOptions(
    shortest=0.7, longest=1.4, stretch_limit=1.2, fold_limit=2.5, soft_share=0.35, lift_share=0.8
)
ARMS = {
    "A-pose-left": arm(45.0),
    "A-pose-right": mirrored_arm(arm(45.0)),
    "T-pose-left": arm(0.0),
    "other-options": arm(60.0, options=OTHER_OPTIONS),
    "long-forearm": arm(45.0, lengths=(0.2, 0.35, 0.1)),
}


def unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)


def of(frame: np.ndarray) -> Rotation:
    return Rotation.from_matrix(frame[:3, :3])


def euler(angles: np.ndarray, order: str) -> Rotation:
    return Rotation.from_euler(order.lower(), [angles["XYZ".index(axis)] for axis in order])


def slerp(first: Rotation, second: Rotation, share: float) -> Rotation:
    return first * Rotation.from_rotvec(share * (first.inv() * second).as_rotvec())


def y_of(turn: Rotation) -> np.ndarray:
    return turn.apply([0.0, 1.0, 0.0])


def swing(turn: Rotation, target: np.ndarray, share: float = 1.0) -> Rotation:
    y = y_of(turn)
    axis = np.cross(y, target)
    sine = np.linalg.norm(axis)
    if sine == 0.0:
        # A straight arm's forearm looks at its target already.
        return turn
    return Rotation.from_rotvec(share * np.arctan2(sine, y @ target) * axis / sine) * turn


def framed(y: np.ndarray, x: np.ndarray) -> Rotation:
    y, x = unit(y), unit(x)
    return Rotation.from_matrix(np.stack([x, y, np.cross(x, y)], axis=1))


def psi(theta: float) -> float:
    degrees = np.degrees(theta)
    return float(np.radians(degrees**2 / 360.0 if degrees < 60.0 else (degrees - 30.0) / 3.0))


def lerp(first: float, second: float, share: float) -> float:
    return first * (1.0 - share) + second * share


def about(point: np.ndarray, axis: int, angle: float) -> np.ndarray:
    """The turn by `angle` about an axis (0, 1 or 2) through `point`, (4, 4)."""
    out = np.eye(4)
    out[:3, :3] = Rotation.from_rotvec(angle * np.eye(3)[axis]).as_matrix()
    out[:3, 3] = point - out[:3, :3] @ point
    return out


def planted(g: ArmGeometry, s: ArmSettings) -> np.ndarray:
    """What the dials of a planted hand make of its hold: "The planted hand" on the page, factor by factor."""
    p = g.pivots
    sigma = np.sign(p.thumb_edge[0] - p.outer_edge[0])
    return (
        about(p.palm, 2, -sigma * s.hand_spin)
        @ about(p.outer_edge, 1, sigma * max(s.hand_side, 0.0))
        @ about(p.thumb_edge, 1, sigma * min(s.hand_side, 0.0))
        @ about(p.heel, 0, min(s.hand_roll, 0.0))
        @ about(p.fingertips, 0, max(s.hand_roll - s.finger_bend, 0.0))
        @ about(p.knuckles, 0, min(max(s.hand_roll, 0.0), s.finger_bend))
    )


def plain(g: ArmGeometry, s: ArmSettings) -> dict[str, Any]:
    """One pose, `s` with the batch axis taken off; the numbers are docs/arm.md's."""
    o = g.options
    carry = s.torso @ np.linalg.inv(g.torso)
    t, r = of(carry), of(s.root) * of(g.root).inv()
    u0, f0, h0 = of(g.upper_arm), of(g.forearm), of(g.hand)
    # 1, 2
    rc = t * of(g.clavicle) * euler(s.clavicle, g.rotation_orders[0])
    pc = (carry @ g.clavicle)[:3, 3]
    q = slerp(rc * of(g.clavicle).inv() * u0, r * u0, s.isolate)
    ru_fk = q * euler(s.upper_arm, g.rotation_orders[1])
    # 3
    goal = s.hand_hold @ planted(g, s)
    hold, elbow_hold = goal[:3, 3], s.elbow_hold[:3, 3]
    a, b = g.upper_length * s.upper_length, g.forearm_length * s.forearm_length
    s0 = (carry @ g.upper_arm)[:3, 3]
    u = unit(hold - s0)
    p = unit((s.aim - s0) - u * (u @ (s.aim - s0)))
    r0 = max(np.linalg.norm(hold - s0), 0.01 * (g.upper_length + g.forearm_length))
    c0 = float(np.clip((a**2 + r0**2 - b**2) / (2 * a * r0), np.cos(o.fold_limit), 0.9999))
    de = framed(c0 * u + np.sqrt(1 - c0**2) * p, np.cross(p, u))
    d = swing(slerp(ru_fk, de, s.ik), elbow_hold - s0, s.elbow)
    theta = float(np.arccos(np.clip(y_of(d) @ -t.apply(g.up), -1, 1)))
    rest_theta = float(np.arccos(np.clip(y_of(u0) @ -g.up, -1, 1)))
    # 4
    lift = s.lift * o.lift_share * (psi(theta) - psi(rest_theta))
    rl = rc * Rotation.from_rotvec([lift, 0.0, 0.0])
    shoulder = pc + y_of(rl) * g.clavicle_length
    # 5
    straight = a + b
    m = np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(o.fold_limit))
    far = float(np.linalg.norm(hold - shoulder))
    k = s.soft * o.soft_share * straight
    slack = straight - far
    if k > 0.0 and slack < k:
        slack = k * np.exp(-(k - slack) / k)
    slack = max(slack, 0.0)
    reach = straight - min(slack, straight - m)
    grow = 1 + s.stretch * (np.clip(far / reach, 1, o.stretch_limit) - 1)
    # 6
    x = (a**2 - b**2 + reach**2) / (2 * reach)
    h = np.sqrt(max(0.0, a**2 - x**2)) if slack > 0.0 else 0.0
    u = unit(hold - shoulder)
    p = unit((s.aim - shoulder) - u * (u @ (s.aim - shoulder)))
    ru_ik = framed(x * u + h * p, np.cross(p, u)) * Rotation.from_rotvec([0.0, s.upper_roll, 0.0])
    # 7, 8
    asked = float(np.linalg.norm(elbow_hold - shoulder))
    l_hold = float(np.clip(asked, o.shortest * g.upper_length, o.longest * g.upper_length))
    ru_i = swing(ru_ik, elbow_hold - shoulder, s.elbow)
    e_i = shoulder + y_of(ru_i) * lerp(a * grow, l_hold, s.elbow)
    ru = swing(slerp(ru_fk, ru_ik, s.ik), elbow_hold - shoulder, s.elbow)
    lu = lerp(lerp(a, a * grow, s.ik), l_hold, s.elbow)
    elbow = shoulder + y_of(ru) * lu
    # 9, 10, 11, 12
    rf_f = slerp(ru_fk, of(s.elbow_hold), s.elbow) * u0.inv() * f0 * euler(s.forearm, g.rotation_orders[2])
    rf_i = swing(ru_i, hold - e_i) * Rotation.from_rotvec([0.0, s.forearm[1], 0.0])
    gap = float(np.linalg.norm(hold - e_i))
    need = 1 + s.stretch * (np.clip(gap / b, o.shortest, o.stretch_limit) - 1)
    rf = slerp(rf_f, rf_i, s.ik)
    lf = lerp(b, b * need, s.ik)
    rh = slerp(rf_f * f0.inv() * h0 * euler(s.hand, g.rotation_orders[3]), of(goal), s.ik)
    return {
        "shoulder": shoulder,
        "elbow": elbow,
        "wrist": elbow + y_of(rf) * lf,
        "clavicle": rl.as_matrix(),
        "upper_arm": ru.as_matrix(),
        "forearm": rf.as_matrix(),
        "hand": rh.as_matrix(),
        "upper_factor": lu / g.upper_length,
        "forearm_factor": lf / g.forearm_length,
        "upper_width": (lu / g.upper_length) ** (-s.volume / 2),
        "forearm_width": (lf / g.forearm_length) ** (-s.volume / 2),
        "elevation": theta,
        "lift": lift,
        "elbow_missing": abs(asked - l_hold),
        "hand_missing": abs(gap - b * need),
        "slack": slack / straight,
    }


@pytest.mark.parametrize("geometry", ARMS.values(), ids=ARMS.keys())
def test_the_batch_solver_agrees_with_the_page_written_out_plainly(geometry: ArmGeometry) -> None:
    print("seed", SEED)
    settings = random_settings(np.random.default_rng(SEED), geometry, COUNT, planted=True)
    pose = solve(geometry, settings)
    for index in range(COUNT):
        expected = plain(geometry, picked(settings, index))
        # Rounding is magnified next to a singular set, a thousand times at the nearest of these draws; and where the
        # arm is nearly straight a² - x², as it stands on the page, keeps only the root of the digits.
        slack = expected["slack"]
        atol = 1e-11 + (min(3e-8, 1e-15 / np.sqrt(slack)) if slack > 0.0 else 0.0)
        for item in fields(ArmPose):
            what = f"{item.name}, pose {index}"
            assert_close(getattr(pose, item.name)[index], expected[item.name], atol=atol, err_msg=what)
