"""How far a character is from the recording, joint by joint; and what its holds do, as measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..posing import rigid_turns
from ..rotations import angle_between
from .mapped import Mapped, MappedArm

Array = NDArray[np.float64]

DEGREES, LENGTHS = "degrees", "L"


@dataclass(frozen=True)
class Difference:
    """One joint's distance from the recording over the frames.

    Attributes:
        arm: its id; "" for the torso.
        joint: its name.
        unit: "degrees" or "L".
        median, most_frames, most: median, 95 % of the frames, largest.
        worst: frame of the largest, counted from the first frame of the range.
        free: largest in frames in which nothing is held and no arc leads to a hold; 0 where there are none.
        held: largest in the others: what the holds cost.
    """

    arm: str
    joint: str
    unit: str
    median: float
    most_frames: float
    most: float
    worst: int
    free: float
    held: float


def torso_differences(mapped: Mapped, torso: Array, length: float) -> list[Difference]:
    """Of the torso's evaluated poses (N, 4, 4)."""
    free = np.ones(len(torso), bool)
    turn = np.degrees(angle_between(mapped.torso[:, :3, :3], rigid_turns(torso[:, :3, :3])))
    far = np.linalg.norm(mapped.torso[:, :3, 3] - torso[:, :3, 3], axis=1) / length
    return [difference("", "torso", DEGREES, turn, free), difference("", "torso", LENGTHS, far, free)]


def arm_differences(arm: MappedArm, joints: Array, length: float, free: NDArray[np.bool_]) -> list[Difference]:
    """Of evaluated upper arm, forearm and hand (N, 3, 4, 4); `free` (N,): frames that no hold has a part in."""
    found = [
        difference(arm.arm, "upper arm", DEGREES, _apart(arm.upper_arm, joints[:, 0, :3, 1]), free),
        difference(arm.arm, "forearm", DEGREES, _apart(arm.forearm, joints[:, 1, :3, 1]), free),
    ]
    if arm.hand is not None:
        turn = np.degrees(angle_between(arm.hand, rigid_turns(joints[:, 2, :3, :3])))
        found.append(difference(arm.arm, "hand", DEGREES, turn, free))
    elif arm.along is not None:
        found.append(difference(arm.arm, "hand", DEGREES, _apart(arm.along, joints[:, 2, :3, 1]), free))
    for place, name in enumerate(("shoulder", "elbow", "wrist")):
        far = np.linalg.norm(getattr(arm, name) - joints[:, place, :3, 3], axis=1) / length
        found.append(difference(arm.arm, name, LENGTHS, far, free))
    return found


def difference(arm: str, joint: str, unit: str, values: Array, free: NDArray[np.bool_]) -> Difference:
    """The figures of `values` (N,)."""
    return Difference(
        arm,
        joint,
        unit,
        float(np.median(values)),
        float(np.quantile(values, 0.95)),
        float(values.max()),
        int(np.argmax(values)),
        float(values[free].max(initial=0.0)),
        float(values[~free].max(initial=0.0)),
    )


def _apart(first: Array, second: Array) -> Array:
    """Degrees (N,) between directions (N, 3)."""
    cross = np.linalg.norm(np.cross(first, second), axis=1)
    return np.asarray(np.degrees(np.arctan2(cross, np.sum(first * second, axis=1))))
