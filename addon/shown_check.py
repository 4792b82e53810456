"""A check shown on the rig itself: its worst pose for as long as somebody looks, then everything as it was.

The rig is borrowed as a proof borrows it, and given back by `put_back`, also before anything that could keep the pose:
see interruptions.py.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from contextlib import ExitStack
from dataclasses import dataclass

import bpy

from ..core.pace import UNBROKEN, Pace, whole
from ..core.proof.results import Check
from . import interruptions, one_check, sample
from .prove import Progress
from .subjects import Subject


@dataclass(frozen=True)
class Showing:
    """What is shown, and on which armature."""

    armature: bpy.types.Object
    again: one_check.Again
    stack: ExitStack


# One at a time: a second one would borrow what the first has.
_now: list[Showing] = []


def begin(subject: Subject, check: Check, seed: int, until: Callable[[], object] | None = None) -> Showing:
    """Measure `check` again and leave the rig in its worst pose, where the user has put it, until `put_back`.

    `until` is called then, whatever has put it back, such as to take off what was drawn.

    Raises ProofError for a check that is no frame of a motion; the rig is then as it was.
    """
    return whole(beginning(subject, check, seed, UNBROKEN, until))


def beginning(
    subject: Subject, check: Check, seed: int, pace: Pace, until: Callable[[], object] | None = None
) -> Generator[Progress, None, Showing]:
    """`begin` in steps that may be left where a turn of `pace` is over: yields its progress there.

    The rig is as it was when it is closed before its end.
    """
    put_back()
    stack = ExitStack()
    armature = subject.armature
    place = armature.location.copy(), armature.rotation_quaternion.copy(), armature.rotation_euler.copy()
    try:
        stage = stack.enter_context(sample.borrowed(subject.armature))
        if pace.due():
            yield Progress(0, 1, check.motion)
        again = yield from one_check.measuring(subject, check, stage, seed, pace)
        sample.pose(stage, again.tracks, again.check.worst_frame)
        # It was measured at the world's origin; it is looked at where it is.
        armature.location, armature.rotation_quaternion, armature.rotation_euler = place
        bpy.context.view_layer.update()
    except BaseException:
        stack.close()
        raise
    if until is not None:
        stack.callback(until)
    stack.callback(interruptions.before(put_back))
    _now.append(Showing(armature, again, stack))
    return _now[-1]


def put_back() -> bool:
    """Everything as it was before `begin`; whether anything was shown."""
    if not _now:
        return False
    _now.pop().stack.close()
    return True


def showing() -> Showing | None:
    """What is shown now."""
    return _now[-1] if _now else None
