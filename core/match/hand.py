"""Match to a held hand with a free elbow (ik 1, elbow 0): hold, aim and length dials that put the elbow where it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..rotations import unit
from ..solve.settings import ArmGeometry, Array
from .nearest import Joints, across, bend_side
from .soft import soft_hold
from .target import WantedDials

# The aim stands between these distances from the line from shoulder to hand, arm lengths.
AIM_NEAREST = 0.5
AIM_FURTHEST = 3.0
# An elbow that bends by less is straight (radians); its segments are made a trace shorter than the reach, because the
# elbow's height goes with the square root of what the reach is short of straight: rounding would bend it visibly.
STRAIGHT = 2e-9
TRACE_SHORTER = 1.0 - 1e-14
# The same for who evaluates with less precision, which is a part of the arm's length: by how many times as much the
# elbow may be off the line for the arm to be straight, and by how many times as much its segments are made shorter.
STRAIGHT_ROUNDINGS, TRACE_ROUNDINGS = 10.0, 3.0


@dataclass(frozen=True)
class HandMatch:
    """The held hand's position, the aim's position (N, 3) and the segments' dialled lengths (N,), metres."""

    hold: Array
    aim: Array
    upper: Array
    forearm: Array


def match_hand(
    geometry: ArmGeometry, joints: Joints, wanted: WantedDials, aim: Array, free: bool, precision: float = 0.0
) -> HandMatch:
    """The hold is at the wrist, and the dialled lengths are the segments' own, where that gives the pose.

    A soft reach stays short of its target. With the stretch at 1 the arm stretches by what is missing, so that shorter
    dials make it exact. Otherwise the hold goes past the wrist, along the forearm, as far as an animator would have
    pulled it to get the pose: see soft.py. Where the lengths are not `free` the hold is at the wrist, and the IK itself
    makes what is nearest.

    `precision`, a part of the arm's length: whoever evaluates the match rounds distances by so much. A reach that is
    rounded to less than straight bends a straight arm by the square root of that, so that an arm which is straight
    within rounding is made shorter than its reach by more than the rounding.
    """
    upper, fore = joints.upper_length, joints.forearm_length
    y_upper, y_fore = joints.upper_arm[..., :, 1], joints.forearm[..., :, 1]
    sine = np.linalg.norm(np.cross(y_upper, y_fore), axis=-1)
    straight = (sine < STRAIGHT) & (np.sum(y_upper * y_fore, -1) > 0.0)
    trace = TRACE_SHORTER
    if precision > 0.0:
        off = across(joints.elbow - joints.shoulder, unit(joints.wrist - joints.shoulder))
        low = np.linalg.norm(off, axis=-1) < STRAIGHT_ROUNDINGS * precision * (upper + fore)
        straight = straight | (low & (np.sum(y_upper * y_fore, -1) > 0.0))
        trace = 1.0 - TRACE_ROUNDINGS * precision
    shorter = np.where(straight, trace, 1.0)
    hold, dialled_upper, dialled_fore = joints.wrist, upper * shorter, fore * shorter
    if free:
        hold, dialled_upper, dialled_fore = soft_hold(geometry, joints, wanted, dialled_upper, dialled_fore)
    return HandMatch(
        hold=hold,
        aim=placed_aim(geometry, joints, hold, bend_side(joints, unit(hold - joints.shoulder), precision), aim),
        upper=dialled_upper,
        forearm=dialled_fore,
    )


def placed_aim(geometry: ArmGeometry, joints: Joints, hold: Array, side: Array, aim: Array) -> Array:
    """The aim (N, 3) turned about the line from the shoulder to the hold, so that it lies on `side` (units, (N, 3)).

    Its place along the line and its distance from it stay as they are, within AIM_NEAREST and AIM_FURTHEST.
    """
    size = geometry.upper_length + geometry.forearm_length
    along = unit(hold - joints.shoulder)
    from_shoulder = aim - joints.shoulder
    place = np.clip(np.sum(from_shoulder * along, -1), -AIM_FURTHEST * size, AIM_FURTHEST * size)
    distance = np.linalg.norm(across(from_shoulder, along), axis=-1)
    distance = np.clip(distance, AIM_NEAREST * size, AIM_FURTHEST * size)
    return np.asarray(joints.shoulder + along * place[:, None] + side * distance[:, None])
