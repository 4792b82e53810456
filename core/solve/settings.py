"""Inputs and outputs of the reference solver: batches of N poses of one arm. See docs/arm.md for each name.

Metres, radians, armature space; matrices act on columns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..hand_frames import PivotPoints
from ..options import ArmOptions

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ArmGeometry:
    """Constants of one arm at rest; compared by identity.

    Attributes:
        torso, root: rest frames, (4, 4); `root` is the identity where the rig has no root.
        clavicle, upper_arm, forearm, hand: rest frames, (4, 4), heads at the joints.
        clavicle_length, upper_length, forearm_length: metres.
        up: the torso's up at rest, unit, (3,).
        rotation_orders: Euler orders of clavicle, upper arm, forearm and hand.
        options: constants chosen at build.
        pivots: points that the planted hand rolls over.
    """

    torso: Array
    root: Array
    clavicle: Array
    upper_arm: Array
    forearm: Array
    hand: Array
    clavicle_length: float
    upper_length: float
    forearm_length: float
    up: Array
    rotation_orders: tuple[str, str, str, str]
    options: ArmOptions
    pivots: PivotPoints


@dataclass(frozen=True)
class ArmSettings:
    """N poses of one arm.

    Attributes:
        torso, root: pose of the two bones, (N, 4, 4), rigid.
        clavicle, upper_arm, forearm, hand: Euler channels (x, y, z), (N, 3).
        hand_hold, elbow_hold: pose of the holds, (N, 4, 4), rigid.
        aim: position of the elbow aim, (N, 3).
        ik, elbow, isolate, lift, stretch, soft, volume: dials, (N,), 0 to 1.
        upper_length, forearm_length: dials, (N,), factors of the rest lengths.
        upper_roll: dial, (N,), radians: roll of the IK upper arm about itself.
        hand_roll, hand_side, hand_spin, finger_bend: dials of the planted hand, (N,), radians.
    """

    torso: Array
    root: Array
    clavicle: Array
    upper_arm: Array
    forearm: Array
    hand: Array
    hand_hold: Array
    elbow_hold: Array
    aim: Array
    ik: Array
    elbow: Array
    isolate: Array
    lift: Array
    stretch: Array
    soft: Array
    volume: Array
    upper_length: Array
    forearm_length: Array
    upper_roll: Array
    hand_roll: Array
    hand_side: Array
    hand_spin: Array
    finger_bend: Array


@dataclass(frozen=True)
class ArmPose:
    """N solved poses of one arm.

    Attributes:
        shoulder, elbow, wrist: joint positions, (N, 3).
        clavicle: orientation of the lifted clavicle, (N, 3, 3).
        upper_arm, forearm, hand: orientations, (N, 3, 3).
        upper_factor, forearm_factor: lengths over rest lengths, (N,).
        upper_width, forearm_width: width factors of the skin, (N,).
        elevation, lift: of the arm against the torso, and the clavicle's own share, (N,), radians.
        elbow_missing, hand_missing: distances that the holds are out of reach, (N,), metres (meaningful where the
            dial is 1).
    """

    shoulder: Array
    elbow: Array
    wrist: Array
    clavicle: Array
    upper_arm: Array
    forearm: Array
    hand: Array
    upper_factor: Array
    forearm_factor: Array
    upper_width: Array
    forearm_width: Array
    elevation: Array
    lift: Array
    elbow_missing: Array
    hand_missing: Array
