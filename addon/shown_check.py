"""A check shown on the rig itself: its worst pose for as long as somebody looks, then everything as it was.

The rig is borrowed as a proof borrows it, and given back by `put_back`, which everything calls that could keep the
pose: saving, loading, rendering, undo, taking the extension out.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..core.proof.results import Check
from . import one_check, sample
from .subjects import Subject


@dataclass(frozen=True)
class Showing:
    """What is shown, and on which armature."""

    armature: bpy.types.Object
    again: one_check.Again
    stack: ExitStack


# One at a time: a second one would borrow what the first has.
_now: list[Showing] = []
HANDLERS = ("save_pre", "load_pre", "render_init", "undo_pre", "redo_pre")


def begin(subject: Subject, check: Check, seed: int, until: Callable[[], object] | None = None) -> Showing:
    """Measure `check` again and leave the rig in its worst pose, where the user has put it, until `put_back`.

    `until` is called then, whatever has put it back, such as to take off what was drawn.

    Raises ProofError for a check that is no frame of a motion; the rig is then as it was.
    """
    put_back()
    stack = ExitStack()
    armature = subject.armature
    place = armature.location.copy(), armature.rotation_quaternion.copy(), armature.rotation_euler.copy()
    try:
        stage = stack.enter_context(sample.borrowed(subject.armature))
        again = one_check.again(subject, check, stage, seed)
        sample.pose(stage, again.tracks, again.check.worst_frame)
        # It was measured at the world's origin; it is looked at where it is.
        armature.location, armature.rotation_quaternion, armature.rotation_euler = place
        bpy.context.view_layer.update()
    except BaseException:
        stack.close()
        raise
    if until is not None:
        stack.callback(until)
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


@persistent  # type: ignore[untyped-decorator]
def _put_back(*_: Any) -> None:
    put_back()


def attach() -> None:
    """Put back before anything that could keep a shown pose."""
    for name in HANDLERS:
        getattr(bpy.app.handlers, name).append(_put_back)


def detach() -> None:
    """Put back, and no longer listen."""
    put_back()
    for name in HANDLERS:
        handlers = getattr(bpy.app.handlers, name)
        if _put_back in handlers:
            handlers.remove(_put_back)
