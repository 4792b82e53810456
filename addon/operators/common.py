"""What operators share: the rig and the arms that they work on, why they can not, and how they report."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from .. import selection, subjects
from ..selection import BOTH, SELECTED
from ..subjects import Subject

ARMS = [
    (SELECTED, "Selected", "The arm whose control is selected; both if controls of both are"),
    ("L", "Left arm", "The left arm"),
    ("R", "Right arm", "The right arm"),
    (BOTH, "Both arms", "Both arms at once"),
]

# How long the window may wait for a piece of a long work, seconds.
PIECE = 0.1
# What a button, the search or a shortcut does is not what was done last time.
SKIP = {"SKIP_SAVE"}


def attempt(operator: bpy.types.Operator, work: Callable[[], str]) -> set[str]:
    """Run `work`; report what it says, or the error in its own words."""
    try:
        message = work()
    except ArmwrightError as problem:
        operator.report({"ERROR"}, str(problem))
        return {"CANCELLED"}
    operator.report({"INFO"}, message)
    return {"FINISHED"}


def piece(steps: Iterator[Any], last: type) -> Any:
    """As many steps of a long work as fit in a moment: what the furthest of them gave, of type `last` at its end."""
    until = time.monotonic() + PIECE
    while True:
        step = next(steps)
        if isinstance(step, last) or time.monotonic() > until:
            return step


class OnRig:
    """An operator on the rig that the selection is about; greyed, with the reason, where it can not be changed."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return cls.usable(selection.why_not(context))

    @classmethod
    def usable(cls, reason: str) -> bool:
        """Whether there is no reason against it; the button's tooltip tells the reason."""
        if reason:
            cls.poll_message_set(reason)  # type: ignore[attr-defined]
        return not reason

    @staticmethod
    def subject(context: bpy.types.Context) -> Subject:
        """The rig, read once. Raises HostError."""
        return subjects.subject_of(selection.armature_of(context))


class OnArms(OnRig):
    """An operator on one arm or both: those named, or those whose controls are selected."""

    arm: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Arm", items=ARMS, default=SELECTED, description="Which arm", options=SKIP
    )

    def arms(self, subject: Subject) -> tuple[str, ...]:
        """Raises HostError if there are none."""
        return selection.arms_of(subject.armature, subject.record, self.arm)


def whose(properties: Any) -> str:
    """ "Left arm", for a tooltip."""
    label: str = next(entry[1] for entry in ARMS if entry[0] == properties.arm)
    return "Selected arm" if properties.arm == SELECTED else label


def set_by_button(operator: bpy.types.Operator, name: str) -> bool:
    """Whether a button, a menu or a script gave the property; from the search or a shortcut it has to be asked for."""
    return bool(operator.properties.is_property_set(name))


def run_or_ask(operator: Any, context: bpy.types.Context, name: str) -> set[str]:
    """Run at once if the property was given; ask for it in a dialog if not."""
    if set_by_button(operator, name):
        done: set[str] = operator.execute(context)
        return done
    asked: set[str] = context.window_manager.invoke_props_dialog(operator)
    return asked
