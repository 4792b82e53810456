"""The torso of a studied recording as a small BVH of its own, and as the clip that a proof plays.

One joint carries all of it, in metres, at the recording's rate; a chain of offsets below it tells the arm's length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..motion.bvh import read_bvh
from ..motion.bvh_text import Joint, bvh_text
from ..motion.clip import Clip, compose
from ..motion.recorded import CHARACTER_FROM_BVH, recorded_clip
from ..motion.wiggle import TRAVEL
from ..study.measures import Extent, torso_study
from ..study.motion import ArmMotion, StudyMotion
from ..study.phases import ELBOW, HAND, HELD, ROLL, Phase, planted_frames
from .model import TorsoRange

Array = NDArray[np.float64]

TORSO, ARM = "Torso", ("Shoulder", "Elbow", "Wrist")
NAME = "recorded"
# What a proof plays in every corner of the matrix, seconds and frames a second: at 24 Hz a minute of it takes longer
# than all the rest.
LONGEST, RATE = 60.0, 24.0
_HOLDS = (HAND, ROLL, HELD, ELBOW)


def torso_text(motion: StudyMotion, first: int, last: int) -> str:
    """The BVH of frames `first` to `last`, both included."""
    frames = motion.torso[first : last + 1]
    turns = CHARACTER_FROM_BVH.T @ frames[:, :3, :3] @ CHARACTER_FROM_BVH
    places = frames[:, :3, 3] @ CHARACTER_FROM_BVH
    half = 0.5 * float(np.mean([arm.length for arm in motion.arms]))
    # Half of the arm each; where it hangs on the torso does not matter.
    joints = [Joint(TORSO, -1, (0.0, 0.0, 0.0))]
    joints += [Joint(name, depth, (half if depth else 0.0, 0.0, 0.0), turns=False) for depth, name in enumerate(ARM)]
    joints[-1] = replace(joints[-1], end=(0.0, 0.0, 0.0))
    rotations = np.tile(np.eye(3), (len(frames), len(joints), 1, 1))
    rotations[:, 0] = turns
    return bvh_text(joints, motion.rate, places, rotations)


def part_to_play(motion: StudyMotion, phases: Sequence[Phase]) -> tuple[int, int]:
    """First and last frame of the LONGEST seconds in which arms hold most; of the whole, where it is no longer."""
    window = int(LONGEST * motion.rate)
    if motion.frames <= window:
        return 0, motion.frames - 1
    busy = np.zeros(motion.frames)
    for arm in motion.arms:
        busy += planted_frames(tuple(phases), arm.arm, motion.frames, _HOLDS)
    sums = np.concatenate([[0.0], np.cumsum(busy)])
    first = int(np.argmax(sums[window:] - sums[:-window]))
    return first, first + window - 1


def clip_of(data: str | bytes, travel: float | None = TRAVEL) -> Clip:
    """The clip that a proof plays from a torso's BVH: slow turning and drift taken off, travel at most `travel`, L.

    Raises MotionError for another file than `torso_text` writes.
    """
    return recorded_clip(
        read_bvh(data),
        (TORSO,),
        None,
        RATE,
        arm_joints=ARM,
        clavicle_joint=None,
        follow_turn=True,
        limit_travel=travel,
        name=NAME,
    )


def range_of(clip: Clip) -> TorsoRange:
    """How far the torso of `clip` goes: angles as a study has them, degrees; travel from where it starts, L."""
    torso = np.tile(np.eye(4), (clip.frames, 1, 1))
    torso[:, :3, :3], torso[:, :3, 3] = compose(clip), clip.travel
    # A study measures in the lengths of an arm; here that is 1.
    points = (np.broadcast_to([0.0, 0.0, -0.5 * joint], (clip.frames, 3)) for joint in range(3))
    found = torso_study(StudyMotion(clip.name, RATE, (ArmMotion("L", *points),), torso))
    travel = float(np.linalg.norm(clip.travel, axis=1).max())
    return TorsoRange(_ends(found.tilt), _ends(found.side), _ends(found.twist), round(travel, 3))


def _ends(extent: Extent) -> tuple[float, float]:
    """Least and most, to a tenth of a degree."""
    return round(extent.least, 1) + 0.0, round(extent.most, 1) + 0.0
