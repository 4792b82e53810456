"""The torso of a studied recording as a small BVH of its own, and as the clip that a proof plays.

One joint carries all of it, in metres, at the recording's rate; a chain of offsets below it tells the arm's length.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..motion.bvh import read_bvh
from ..motion.clip import Clip, compose
from ..motion.recorded import CHARACTER_FROM_BVH, recorded_clip
from ..motion.wiggle import TRAVEL
from ..rotations import matrix_to_euler
from ..study.motion import StudyMotion
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
    angles = np.degrees(matrix_to_euler(turns, "XYZ"))
    size = float(np.mean([arm.length for arm in motion.arms]))
    lines = [
        "HIERARCHY",
        f"ROOT {TORSO}",
        "{",
        "  OFFSET 0 0 0",
        "  CHANNELS 6 Xposition Yposition Zposition Zrotation Yrotation Xrotation",
    ]
    for depth, joint in enumerate(ARM):
        # Half of the arm each; where it hangs on the torso does not matter.
        lines += [f"  JOINT {joint}", "  {", f"  OFFSET {size / 2.0 if depth else 0.0:.9g} 0 0", "  CHANNELS 0"]
    lines += ["  End Site", "  {", "  OFFSET 0 0 0", "  }", *["  }"] * len(ARM), "}", "MOTION"]
    lines += [f"Frames: {len(frames)}", f"Frame Time: {1.0 / motion.rate:.9g}"]
    rows = np.concatenate([places, angles[:, ::-1]], axis=1)
    lines += [" ".join(f"{value + 0.0:.6f}" for value in row) for row in rows]
    return "\n".join(lines) + "\n"


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
    """How far the torso of `clip` goes: angles as motion/wiggle.py's `torso_turn` takes them, degrees; travel, L."""
    twist, side, tilt = np.degrees(matrix_to_euler(compose(clip), "ZYX"))[:, ::-1].T
    travel = float(np.linalg.norm(clip.travel, axis=1).max())
    return TorsoRange(_ends(tilt), _ends(side), _ends(twist), round(travel, 3))


def _ends(values: Array) -> tuple[float, float]:
    """Least and most, to a tenth of a degree."""
    return round(float(values.min()), 1) + 0.0, round(float(values.max()), 1) + 0.0
