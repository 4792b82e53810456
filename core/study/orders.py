"""Which rotation order keeps each joint of a recorded arm furthest from its gimbal lock (proof/order_margin.py)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..frames import ORDERS as RIG_ORDERS
from ..proof.order_margin import ORDERS, WORTH, matrix_margin
from ..rotations import axis_matrix
from .joints import BoneFrames, t_pose

Array = NDArray[np.float64]

T_POSE, A_POSE = "T-pose", "A-pose"
# How far the arm of an A-pose hangs below the level, radians (common practice).
A_DROP = np.pi / 4.0


@dataclass(frozen=True)
class JointOrder:
    """How far a joint keeps from gimbal lock, by order, for a rig that rests in `rest`.

    Attributes:
        joint: clavicle, upper arm, forearm or hand.
        rest: T_POSE or A_POSE, palms down, elbows bending forward.
        order, margin, frame: the rig's order, its least angle from gimbal lock in degrees, and the frame of it.
        best, best_margin: the order that keeps furthest, the rig's where none is better by order_margin.WORTH.
        margins: (order, degrees) of every order.
    """

    joint: str
    rest: str
    order: str
    margin: float
    frame: int
    best: str
    best_margin: float
    margins: tuple[tuple[str, float], ...]


def joint_orders(frames: BoneFrames, left: bool) -> tuple[JointOrder, ...]:
    """The margins of every joint that the recording tells of; the upper arm's for both rests, on which they depend."""
    side = 1.0 if left else -1.0
    clavicle, upper, fore, hand = t_pose(side)
    dropped = axis_matrix("Y", np.array(side * A_DROP)) @ upper
    carrier = np.broadcast_to(np.eye(3), frames.upper.shape)
    found = []
    if frames.clavicle is not None:
        found.append(_order("clavicle", T_POSE, RIG_ORDERS[0], carrier, frames.clavicle, np.eye(3), clavicle))
    parent, rest = (carrier, np.eye(3)) if frames.clavicle is None else (frames.clavicle, clavicle)
    found.append(_order("upper arm", T_POSE, RIG_ORDERS[1], parent, frames.upper, rest, upper))
    found.append(_order("upper arm", A_POSE, RIG_ORDERS[1], parent, frames.upper, rest, dropped))
    found.append(_order("forearm", T_POSE, RIG_ORDERS[2], frames.upper, frames.fore, upper, fore))
    if frames.hand is not None:
        found.append(_order("hand", T_POSE, RIG_ORDERS[3], frames.fore, frames.hand, fore, hand))
    return tuple(found)


def _order(joint: str, rest: str, order: str, parent: Array, bone: Array, parent_rest: Array, own: Array) -> JointOrder:
    """Of the channels' matrices: the bone's turn in its parent away from rest, in the bone's own rest frame."""
    turns = own.T @ parent_rest @ np.swapaxes(parent, 1, 2) @ bone
    away = {other: matrix_margin(turns, other) for other in ORDERS}
    margins = tuple((other, float(values.min())) for other, values in away.items())
    least = dict(margins)
    best = max(ORDERS, key=lambda other: least[other])
    if least[best] < least[order] + WORTH:
        best = order
    frame = int(np.argmin(away[order]))
    return JointOrder(joint, rest, order, least[order], frame, best, least[best], margins)
