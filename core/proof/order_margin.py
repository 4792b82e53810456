"""How far an FK joint's rotation order keeps from its gimbal lock, and which order would keep furthest.

Euler channels of three different axes are singular where the middle one is at 90 degrees: there the outer two turn
about one line, and a small turn of the joint about another line takes a large change of all three channels. The margin
is the smallest angle between the middle channel and 90 degrees, either way, over all rotations of a motion. It is no
verdict on a rig: a joint turns by exactly what its channels say whatever the margin (`swing`). It says how smooth the
channels' curves can be, and is reported for the rigger to choose by.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from ..motion.clip import Clip
from ..rotations import euler_to_matrix

Array = NDArray[np.float64]

ORDERS = tuple("".join(axes) for axes in itertools.permutations("XYZ"))
# Joints by the field of a clip that has their channels, and what a person calls them.
JOINTS = {"clavicle": "clavicle", "upper_arm": "upper arm", "forearm": "forearm", "hand_channels": "hand"}
# Another order is worth its change from this much more room on, degrees.
WORTH = 5.0
# Channels below this, radians, are rounding and no motion: nothing is known about a joint that keeps still.
STILL = 1e-6


@dataclass(frozen=True)
class OrderMargin:
    """The margin of one joint under one order, and of the order that keeps the largest.

    Attributes:
        joint: what a person calls it.
        motion: where the margin is smallest.
        order: the joint's rotation order.
        margin: degrees, 0 to 90.
        frame: index of the frame in `motion`, 0 based.
        best: the order of the largest margin over all motions; `order` where none is better by WORTH.
        best_margin: its margin, degrees.
        sentence: both, for people.
    """

    joint: str
    motion: str
    order: str
    margin: float
    frame: int
    best: str
    best_margin: float
    sentence: str


def middle_margin(channels: Array, order: str, other: str) -> Array:
    """Angle between 90 degrees and the middle channel of the same rotations in the order `other`, (N,), degrees.

    Args:
        channels: (N, 3), radians about X, Y, Z, in `order`.

    """
    return matrix_margin(euler_to_matrix(channels, order), other)


def matrix_margin(matrices: Array, order: str) -> Array:
    """Angle between 90 degrees and the middle channel of `matrices` (N, 3, 3) in `order`, (N,), degrees.

    In the order ABC the matrix is C·B·A. Its middle angle is that between the plane at right angles to the joint's
    first axis, turned with it, and the last axis: its sine is, but for the sign, the matrix's element of the last row
    axis and the first column axis. The margin is the angle between those two axes, or their opposites; from the cross
    product, which keeps its digits at zero.
    """
    first, last = ("XYZ".index(order[0]), "XYZ".index(order[2]))
    axis = matrices[..., :, first]
    along = np.abs(axis[..., last])
    aside = np.linalg.norm(np.delete(axis, last, axis=-1), axis=-1)
    return np.asarray(np.degrees(np.arctan2(aside, along)))


def order_margin(joint: str, motions: Sequence[tuple[str, Array]], order: str) -> OrderMargin:
    """The margin of `joint` over `motions`, (name, channels (N, 3) in radians and in `order`) each.

    Only the frames count: a joint that passes its lock between two of them shows the nearer one. Raises ProofError
    without a frame, for another order than ORDERS, or for channels that are not finite.
    """
    if order not in ORDERS:
        raise ProofError(f"{joint}: {order!r} is no rotation order; expected one of {', '.join(ORDERS)}")
    if not sum(len(channels) for _, channels in motions):
        raise ProofError(f"{joint}: no frame of any motion; a margin needs one or more")
    if not all(np.isfinite(channels).all() for _, channels in motions):
        raise ProofError(f"{joint}: a channel is not a finite number; mend the motion")
    least = {other: min(_least(channels, order, other) for _, channels in motions) for other in ORDERS}
    margin = least[order]
    motion, frame = next(
        (name, int(np.argmin(middle_margin(channels, order, order))))
        for name, channels in motions
        if _least(channels, order, order) == margin
    )
    best = max(ORDERS, key=lambda other: least[other])
    if least[best] < margin + WORTH:
        best = order
    sentence = f"{joint}: {order} stays {margin:.0f} degrees from gimbal lock at the least ({motion}, frame {frame}); "
    sentence += (
        f"no order stays {WORTH:.0f} degrees further" if best == order else f"{best} would stay {least[best]:.0f}"
    )
    return OrderMargin(joint, motion, order, margin, frame, best, least[best], sentence)


def order_margins(clips: Sequence[Clip], orders: Sequence[str]) -> tuple[OrderMargin, ...]:
    """The margins of clavicle, upper arm, forearm and hand, in their `orders`, over those `clips` that move them.

    A joint that no clip moves is left out. The right arm's are the same: its channels about Y and Z change their sign.
    """
    found = []
    for (field, joint), order in zip(JOINTS.items(), orders, strict=True):
        moved = [(clip.name, getattr(clip, field)) for clip in clips]
        moved = [(name, channels) for name, channels in moved if np.abs(channels).max() > STILL]
        if moved:
            found.append(order_margin(joint, moved, order))
    return tuple(found)


def _least(channels: Array, order: str, other: str) -> float:
    return float(middle_margin(channels, order, other).min(initial=90.0))
