"""What a recording needs before it is studied: short gaps bridged, a calibration pose in front left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..rotations import matrix_to_quat, quat_to_matrix, slerp
from .motion import ArmMotion, StudyMotion, checked
from .still import runs

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Seconds that may be bridged straight: shorter than a plant (still.SHORTEST), so that no bridge makes one.
LONGEST_GAP = 0.2
# A T-pose, degrees: how far from level, from straight to the side, and from a straight elbow an arm may be.
T_LEVEL, T_ASIDE, T_BENT = 15.0, 25.0, 20.0
# A pose for longer than this part of the clip is what the clip is of.
MOST_OF_CLIP = 0.5


def prepared(motion: StudyMotion, rest_frames: int = 0) -> StudyMotion:
    """`motion` as it can be studied, with notes about what was done to it.

    Args:
        rest_frames: frames in front that the file itself says are its rest pose.

    Raises MotionError for a gap that is too long to bridge, and as `checked` does.
    """
    return without_calibration(checked(bridged(motion)), rest_frames)


def bridged(motion: StudyMotion) -> StudyMotion:
    """Frames without numbers filled in straight between their neighbours, and cut off at either end of the clip.

    Raises MotionError for a gap of more than LONGEST_GAP seconds.
    """
    lost = _lost(motion)
    if not lost.any():
        return motion
    if lost.all():
        never = _never(motion)
        what = f"{' and '.join(never[:4])} {'has' if len(never) == 1 else 'have'} no number in any frame"
        raise MotionError(
            f"{motion.name}: {what if never else 'no frame has numbers for every joint'}; export it again"
        )
    there = np.flatnonzero(~lost)
    first, last = int(there[0]), int(there[-1])
    notes = []
    cut = first + len(lost) - 1 - last
    if cut:
        notes.append(f"{_frames(cut)} without numbers at the ends of the clip {_are(cut)} left out")
    motion = _part(motion, first, last + 1)
    lost = _lost(motion)
    most = max(1, int(LONGEST_GAP * motion.rate))
    gaps = runs(lost)
    for gap in gaps:
        if gap.frames > most:
            raise MotionError(
                f"{motion.name}: frames {gap.first + first} to {gap.last + first} have no numbers: a gap of more than "
                f"{LONGEST_GAP:g} s ({most} frames) can not be bridged; fill it or cut the clip there"
            )
    if gaps:
        count = int(lost.sum())
        notes.append(f"{_frames(count)} without numbers {_are(count)} bridged straight, in gaps of at most {most}")
        motion = _mapped(motion, _filled)
    return replace(motion, notes=(*motion.notes, *notes), left_out=motion.left_out + first)


def without_calibration(motion: StudyMotion, rest_frames: int = 0) -> StudyMotion:
    """Without a T-pose, or the file's own rest pose, in front of the motion."""
    posed = np.ones(motion.frames, bool)
    for arm in motion.arms:
        posed &= _in_t_pose(motion, arm)
    posed[:rest_frames] = True
    run = runs(posed)
    if not run or run[0].first > 0 or run[0].frames > MOST_OF_CLIP * motion.frames:
        return motion
    count = run[0].frames
    if motion.frames - count < 2:
        return motion
    note = f"{_frames(count)} of a calibration pose in front {_are(count)} left out"
    left = _part(motion, count, motion.frames)
    return replace(left, notes=(*motion.notes, note), left_out=motion.left_out + count)


def _in_t_pose(motion: StudyMotion, arm: ArmMotion) -> Mask:
    turns = motion.torso[:, :3, :3]
    along = np.einsum("fji,fj->fi", turns, arm.wrist - arm.shoulder)
    upper, fore = arm.elbow - arm.shoulder, arm.wrist - arm.elbow
    level = np.degrees(np.arctan2(along[:, 2], np.hypot(along[:, 0], along[:, 1])))
    aside = np.degrees(np.arctan2(along[:, 1], np.abs(along[:, 0])))
    bent = np.degrees(np.arctan2(np.linalg.norm(np.cross(upper, fore), axis=1), np.sum(upper * fore, axis=1)))
    return np.asarray((np.abs(level) < T_LEVEL) & (np.abs(aside) < T_ASIDE) & (bent < T_BENT))


def _frames(count: int) -> str:
    return f"{count} frame" if count == 1 else f"{count} frames"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _arrays(arm: ArmMotion) -> dict[str, Array]:
    values = {field.name: getattr(arm, field.name) for field in fields(arm)}
    return {name: value for name, value in values.items() if isinstance(value, np.ndarray)}


def _lost(motion: StudyMotion) -> Mask:
    """Frames (N,) in which some array has no number."""
    arrays = [array for arm in motion.arms for array in _arrays(arm).values()]
    arrays += [motion.torso, *(place for _, place in motion.things)]
    for array in arrays:
        if len(array) != motion.frames:
            raise MotionError(f"{motion.name}: one joint has {len(array)} frames, the torso {motion.frames}")
    return np.asarray(np.any([~np.isfinite(array.reshape(len(array), -1)).all(axis=1) for array in arrays], axis=0))


def _never(motion: StudyMotion) -> list[str]:
    """What has no number in any frame, in words."""
    named = [(f"arm {arm.arm}'s {name}", array) for arm in motion.arms for name, array in _arrays(arm).items()]
    named += [("the torso", motion.torso), *((f"thing {name}", place) for name, place in motion.things)]
    return [name for name, array in named if not np.isfinite(array.reshape(len(array), -1)).all(axis=1).any()]


def _part(motion: StudyMotion, first: int, end: int) -> StudyMotion:
    return _mapped(motion, lambda array: array[first:end])


def _mapped(motion: StudyMotion, change: Callable[[Array], Array]) -> StudyMotion:
    arms = []
    for arm in motion.arms:
        changed: dict[str, Any] = {name: change(array) for name, array in _arrays(arm).items()}
        arms.append(replace(arm, **changed))
    things = tuple((name, change(place)) for name, place in motion.things)
    return replace(motion, arms=tuple(arms), torso=change(motion.torso), things=things)


def _filled(array: Array) -> Array:
    """(N, ...) with its lost frames between their neighbours: points straight, rotations by the short way round."""
    lost = ~np.isfinite(array.reshape(len(array), -1)).all(axis=1)
    if not lost.any():
        return array
    out = array.copy()
    for gap in runs(lost):
        before, after = array[gap.first - 1], array[gap.last + 1]
        share = np.arange(1, gap.frames + 1) / (gap.frames + 1)
        inside = slice(gap.first, gap.last + 1)
        if array.ndim == 2:
            out[inside] = before + share[:, None] * (after - before)
            continue
        start, end = matrix_to_quat(before[:3, :3]), matrix_to_quat(after[:3, :3])
        out[inside] = before
        out[inside, :3, :3] = quat_to_matrix(slerp(start, end, share))
        if array.shape[1] == 4:
            out[inside, :3, 3] = before[:3, 3] + share[:, None] * (after - before)[:3, 3]
    return out
