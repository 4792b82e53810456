"""What was recorded, in the character's armature space and size.

One similarity takes the recording's world to the character's: turned to where the character faces, scaled by the ratio
of the arms' lengths, and moved so that the middle of the shoulders is in the first frame where the character's is at
rest. The arms' lengths are the scale because holds are what has to be reached: at this scale a planted place is as far
from the shoulder, in arm lengths, as it was in the recording. (A stature is not recorded.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..posing import rigid_turns
from ..rotations import swing, unit
from ..solve.settings import ArmGeometry
from ..study.motion import ArmMotion, StudyMotion

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MappedArm:
    """One arm of the recording in armature space, N frames.

    Attributes:
        arm: its id.
        scale: of the recording's metres.
        shoulder, elbow, wrist: recorded places, (N, 3), metres.
        rise: (N, 3), how far the shoulder is from its middle place on the torso, in the torso's rest axes, metres.
        upper_arm, forearm: recorded directions, units, (N, 3).
        hand: recorded orientation in the rig's axes, (N, 3, 3); None where none was recorded.
        along: recorded direction of the hand, (N, 3); None without a hand.
    """

    arm: str
    scale: float
    shoulder: Array
    elbow: Array
    wrist: Array
    rise: Array
    upper_arm: Array
    forearm: Array
    hand: Array | None
    along: Array | None


@dataclass(frozen=True, eq=False)
class Mapped:
    """The recording in armature space.

    Attributes:
        scale: of the recording's metres.
        torso: poses of the torso bone, (N, 4, 4).
        arms: those that both the recording and the character have.
    """

    scale: float
    torso: Array
    arms: tuple[MappedArm, ...]


def mapped(
    motion: StudyMotion, geometries: dict[str, ArmGeometry], facing: Array, scale: float | None = None
) -> Mapped:
    """`motion` for a character with arms `geometries`, whose left, back and up are the columns of `facing` (3, 3).

    `scale`: None for the mean ratio of the arms' lengths. Raises MotionError where no arm is in both.
    """
    arms = [arm for arm in motion.arms if arm.arm in geometries]
    if not arms:
        raise MotionError(
            f"{motion.name}: its arms are {', '.join(arm.arm for arm in motion.arms)} and the character's "
            f"{', '.join(geometries)}: none is in both; name the recording's joints by the character's arms"
        )
    sizes = [size_of(geometries[arm.arm]) / arm.length for arm in arms]
    factor = float(np.mean(sizes)) if scale is None else scale
    if not (np.isfinite(factor) and factor > 0.0):
        raise MotionError(f"{motion.name}: the travel's scale is {factor:g}: give a number above 0")
    rest = geometries[arms[0].arm].torso
    turns = facing @ motion.torso[:, :3, :3] @ facing.T
    # Shoulders as the torso carries them, in the torso's frame of the recording: median over the clip.
    own = {arm.arm: _in_torso(motion, arm.shoulder) for arm in arms}
    middle = np.mean([np.median(points, axis=0) for points in own.values()], axis=0)
    ours = np.mean([geometries[arm.arm].upper_arm[:3, 3] for arm in arms], axis=0)
    path = motion.torso[:, :3, 3] + np.einsum("fij,j->fi", motion.torso[:, :3, :3], middle)

    def places(points: Array) -> Array:
        return np.asarray(ours + factor * (points - path[0]) @ facing.T, np.float64)

    torso = np.tile(np.eye(4), (motion.frames, 1, 1))
    torso[:, :3, :3] = turns @ rest[:3, :3]
    torso[:, :3, 3] = places(path) + np.einsum("fij,j->fi", turns, rest[:3, 3] - ours)
    return Mapped(
        factor,
        torso,
        tuple(
            MappedArm(
                arm=arm.arm,
                scale=factor,
                shoulder=places(arm.shoulder),
                elbow=places(arm.elbow),
                wrist=places(arm.wrist),
                rise=factor * (own[arm.arm] - np.median(own[arm.arm], axis=0)) @ facing.T,
                upper_arm=unit(arm.elbow - arm.shoulder) @ facing.T,
                forearm=unit(arm.wrist - arm.elbow) @ facing.T,
                hand=_hand(arm, facing),
                along=_along(arm, facing),
            )
            for arm in arms
        ),
    )


def size_of(geometry: ArmGeometry) -> float:
    """The arm's length L, metres."""
    return geometry.upper_length + geometry.forearm_length


def _in_torso(motion: StudyMotion, points: Array) -> Array:
    return np.asarray(np.einsum("fji,fj->fi", motion.torso[:, :3, :3], points - motion.torso[:, :3, 3]), np.float64)


def _along(arm: ArmMotion, facing: Array) -> Array | None:
    if arm.tip is not None:
        return unit(arm.tip - arm.wrist) @ facing.T
    hand = _hand(arm, facing)
    return None if hand is None else hand[:, :, 1]


def _hand(arm: ArmMotion, facing: Array) -> Array | None:
    """The hand's orientation in the rig's axes: Y along it, Z out of the palm (docs/arm.md, "Rest frames").

    The recording's hand has the world's axes at rest. What is along the hand is seen from its tip, or from the
    forearm; where the palm was at rest is not recorded: it is taken as down for an arm that rests sideways, and
    carried along by the smallest turn for one that rests lower, so that it is inwards for a hanging arm.
    """
    if arm.hand is None:
        return None
    seen = arm.wrist - arm.elbow if arm.tip is None else arm.tip - arm.wrist
    along = unit(np.median(np.einsum("fji,fj->fi", arm.hand, unit(seen)), axis=0))
    outwards = np.array([1.0 if arm.arm.endswith("L") else -1.0, 0.0, 0.0])
    # A frame with Y outwards and Z down, swung so that Y is along the hand.
    down = np.array([0.0, 0.0, -1.0])
    level = np.stack([np.cross(outwards, down), outwards, down], axis=1)
    rest = swing(level[None], along[None])[0]
    return np.asarray(facing @ rigid_turns(arm.hand) @ rest)
