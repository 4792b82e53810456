"""A study at another rate of frames: the host's scene has its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..rotations import slerp_matrices
from ..study.motion import ArmMotion, StudyMotion, checked
from ..study.phases import SWING, Phase
from ..study.study import Study

Array = NDArray[np.float64]

# A rate nearer than this, as a part, is the same: frame times are written with few digits.
SAME_RATE = 1e-3


def checked_study(study: Study) -> None:
    """Raise MotionError for a recording that says no poses: a rate, frames or numbers that are none.

    Segments may have any length at any time: they are followed in direction alone.
    """
    motion = checked(study.motion, stretches=True)
    turns = [(f"arm {arm.arm}: the hand", arm.hand) for arm in motion.arms if arm.hand is not None]
    for name, values in [("the torso", motion.torso), *turns]:
        fine = np.isfinite(values).all(axis=(1, 2))
        if not fine.all():
            raise MotionError(
                f"{motion.name}, {name} has no number at frame {int(np.argmin(fine))}: fill the gap or cut the "
                "clip there"
            )


def at_rate(study: Study, rate: float) -> Study:
    """`study` at `rate` frames a second: positions interpolated straight, orientations slerped.

    A phase covers the new frames that lie within it; one that covers none is dropped.
    """
    motion = study.motion
    if abs(motion.rate / rate - 1.0) < SAME_RATE:
        return study
    count = int(np.floor((motion.frames - 1) * rate / motion.rate + 1e-6)) + 1
    place = np.minimum(np.arange(count) * motion.rate / rate, motion.frames - 1.0)
    new = StudyMotion(
        motion.name,
        rate,
        tuple(_arm(arm, place) for arm in motion.arms),
        _frames(motion.torso, place),
        tuple((name, _points(points, place)) for name, points in motion.things),
        motion.notes,
    )
    phases = tuple(moved for phase in study.phases if (moved := _phase(phase, rate / motion.rate, count)) is not None)
    return replace(study, motion=new, phases=phases)


def _arm(arm: ArmMotion, place: Array) -> ArmMotion:
    return ArmMotion(
        arm.arm,
        _points(arm.shoulder, place),
        _points(arm.elbow, place),
        _points(arm.wrist, place),
        None if arm.tip is None else _points(arm.tip, place),
        None if arm.hand is None else _turns(arm.hand, place),
    )


def _points(points: Array, place: Array) -> Array:
    frames = np.arange(len(points))
    return np.stack([np.interp(place, frames, column) for column in points.T], axis=1)


def _turns(turns: Array, place: Array) -> Array:
    before = np.minimum(place.astype(np.intp), len(turns) - 2)
    return slerp_matrices(turns[before], turns[before + 1], place - before)


def _frames(frames: Array, place: Array) -> Array:
    out = np.tile(np.eye(4), (len(place), 1, 1))
    out[:, :3, :3], out[:, :3, 3] = _turns(frames[:, :3, :3], place), _points(frames[:, :3, 3], place)
    return out


def _phase(phase: Phase, factor: float, count: int) -> Phase | None:
    first = int(np.ceil(phase.first * factor - 1e-6))
    last = min(int(np.floor(phase.last * factor + 1e-6)), count - 1)
    if phase.kind == SWING and last < first:
        return None
    return replace(phase, first=first, last=last) if first <= last else None
