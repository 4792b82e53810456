"""The planted hand in closed form (docs/arm.md, "The planted hand"): from the hand hold to what the hand reaches for.

The turns about points of one axis add up to one turn: the goal is turned by Rz(spin) Ry(side) Rx(roll) in all, and what
is left to find is how far the wrist has travelled, in the hold's frame.
"""

from __future__ import annotations

import numpy as np

from ..hand_frames import PivotPoints
from ..rotations import quat_to_matrix
from .components import after, euler_turn
from .settings import ArmGeometry, ArmSettings, Array


def planted(pivots: PivotPoints, s: ArmSettings, at: Array, turn: Array) -> tuple[Array, Array]:
    """Place (3, n) and turn (4, n) of the hand's goal, from those of the hand hold."""
    if not (s.hand_roll.any() or s.hand_side.any() or s.hand_spin.any()):
        return at, turn
    travel, by = _from_hold(pivots, s)
    return at + _rotated(turn, travel), after(turn, by)


def hand_goal(geometry: ArmGeometry, settings: ArmSettings) -> Array:
    """The frames (N, 4, 4) that the hand reaches for: `settings.hand_hold` as the dials have rolled and spun it."""
    return np.asarray(settings.hand_hold @ goal_in_hold(geometry, settings))


def goal_in_hold(geometry: ArmGeometry, settings: ArmSettings) -> Array:
    """The hand's goal in the hold's frame, (N, 4, 4): the identity with the dials at 0."""
    travel, by = _from_hold(geometry.pivots, settings)
    return _frames(by, travel)


def hold_for(geometry: ArmGeometry, settings: ArmSettings, goal: Array) -> Array:
    """The hand hold (N, 4, 4) whose goal is `goal` (N, 4, 4), rigid, under the dials of `settings`."""
    inside = goal_in_hold(geometry, settings)
    out = goal.copy()
    out[:, :3, :3] = goal[:, :3, :3] @ np.swapaxes(inside[:, :3, :3], -1, -2)
    out[:, :3, 3] -= (out[:, :3, :3] @ inside[:, :3, 3:])[..., 0]
    return out


def finger_base(geometry: ArmGeometry, settings: ArmSettings, hand: Array) -> Array:
    """Poses (N, 4, 4) of what carries the fingers, its head at the knuckles' point, for poses (N, 4, 4) of the hand."""
    bent = np.clip(settings.hand_roll, 0.0, settings.finger_bend)
    still = np.zeros_like(bent)
    knuckles = np.broadcast_to(geometry.pivots.knuckles[:, None], (3, len(bent)))
    return np.asarray(hand @ _frames(euler_turn(np.stack([-bent, still, still]), "XYZ"), knuckles))


def _from_hold(p: PivotPoints, s: ArmSettings) -> tuple[Array, Array]:
    """The wrist's travel (3, n) in the hold's frame, and the hand's turn (4, n)."""
    mirror = 1.0 if p.thumb_edge[0] > p.outer_edge[0] else -1.0
    bent = np.clip(s.hand_roll, 0.0, s.finger_bend)
    over_heel, over_tips = np.minimum(s.hand_roll, 0.0), np.maximum(s.hand_roll - s.finger_bend, 0.0)
    aside, spun = mirror * s.hand_side, -mirror * s.hand_spin

    # About X only Y and Z move. Over the knuckles, then over the tips; or over the heel. At least one of them is 0.
    y, z = _about(p.knuckles[1], p.knuckles[2], bent, 0.0, 0.0)
    y, z = _about(p.fingertips[1], p.fingertips[2], over_tips, y, z)
    y, z = _about(p.heel[1], p.heel[2], over_heel, y, z)
    outer = s.hand_side > 0.0
    edge_x, edge_z = (np.where(outer, p.outer_edge[i], p.thumb_edge[i]) for i in (0, 2))
    # About Y the axes that turn into each other are Z and X, about Z they are X and Y.
    z, x = _about(edge_z, edge_x, aside, z, 0.0)
    x, y = _about(p.palm[0], p.palm[1], spun, x, y)
    return np.stack([x, y, z]), euler_turn(np.stack([s.hand_roll, aside, spun]), "XYZ")


def _about(
    first_at: Array | float, second_at: Array | float, angle: Array, first: Array | float, second: Array | float
) -> tuple[Array, Array]:
    """A point turned in a plane by `angle`, from the first axis towards the second, about another point."""
    c, s = np.cos(angle), np.sin(angle)
    first, second = first - first_at, second - second_at
    return first_at + c * first - s * second, second_at + s * first + c * second


def _rotated(turn: Array, vector: Array) -> Array:
    """Vectors (3, n) turned by `turn` (4, n)."""
    w, x, y, z = turn
    vx, vy, vz = vector
    # v + 2 q × (q × v + w v), with q the vector part.
    tx, ty, tz = y * vz - z * vy + w * vx, z * vx - x * vz + w * vy, x * vy - y * vx + w * vz
    return np.stack([vx + 2.0 * (y * tz - z * ty), vy + 2.0 * (z * tx - x * tz), vz + 2.0 * (x * ty - y * tx)])


def _frames(turn: Array, at: Array) -> Array:
    out = np.zeros((turn.shape[1], 4, 4))
    out[:, :3, :3], out[:, :3, 3], out[:, 3, 3] = quat_to_matrix(turn.T), at.T, 1.0
    return out
