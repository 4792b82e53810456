"""What operators share: the rig and the arms that they work on, why they can not, and how they report."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import bpy

from ...core import arm_words
from ...core.errors import ArmwrightError, HostError
from ...core.guide import SIDES
from ...core.pace import Pace
from .. import rig, selection, subjects
from ..selection import BOTH, SELECTED
from ..subjects import Subject

Item = tuple[str, str, str, str, int]

# An item's number stands for it in shortcuts that a user has saved: it never changes.
NUMBERS = {SELECTED: 0, "L": 1, "R": 2, BOTH: 3}
# Numbers of other arms come from their ids, above these and within the host's 31 bits.
FIRST_NUMBER, LAST_NUMBER = 16, 2**31 - 1

# How long a piece of a long work takes before the window has its turn, seconds; the last step of a piece goes over it.
PIECE = 0.06
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


def piece(steps: Iterator[Any], last: type, pace: Pace | None = None) -> Any:
    """As many steps of a long work as fit in a turn of `pace`: what the furthest of them gave, of type `last` at its
    end.
    """
    pace = pace or Pace(PIECE)
    pace.begin()
    while True:
        step = next(steps)
        if isinstance(step, last) or pace.due():
            return step


def _arm_items(self: Any, context: bpy.types.Context | None) -> list[Item]:
    """The arms of the rig that the selection is about; without a rig a person's and those of every rig in the file.

    A shortcut's options are read without a context.
    """
    try:
        if context is not None:
            return items_for(rig.read_record(selection.armature_of(context)).arms)
    except HostError:
        pass
    return items_for(tuple(dict.fromkeys((*SIDES, *rig.arms_in_file()))))


# The host keeps no reference to the texts of a list that is made on the fly: without a limit none is ever dropped.
@cache
def items_for(arms: tuple[str, ...]) -> list[Item]:
    """What a choice among these arms offers."""
    numbers = dict(NUMBERS)
    for arm in arms:
        if arm not in numbers:
            number = FIRST_NUMBER + zlib.crc32(arm.encode()) % (LAST_NUMBER - FIRST_NUMBER)
            while number in numbers.values():
                number = number + 1 if number < LAST_NUMBER else FIRST_NUMBER
            numbers[arm] = number
    every = selection.sentence(arm_words.names(arms, arms)) if len(arms) > 1 else "All arms"
    found = [
        (SELECTED, "Selected", "The arm whose control is selected; each of them if controls of several are"),
        *((arm, selection.sentence(arm_words.name(arm)), f"The {arm_words.name(arm)}") for arm in arms),
        (BOTH, every, f"{every} at once"),
    ]
    return [(*words, "NONE", numbers[words[0]]) for words in found]


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
    """An operator on one arm or all: those named, or those whose controls are selected."""

    arm: bpy.props.EnumProperty(  # type: ignore[valid-type]
        name="Arm", items=_arm_items, default=NUMBERS[SELECTED], description="Which arm", options=SKIP
    )

    def arms(self, subject: Subject) -> tuple[str, ...]:
        """Raises HostError if there are none."""
        return selection.arms_of(subject.armature, subject.record, self.arm)


def whose(properties: Any) -> str:
    """ "Left arm", for a tooltip."""
    if properties.arm == SELECTED:
        return "Selected arm"
    if properties.arm == BOTH:
        return "All arms"
    return selection.sentence(arm_words.name(properties.arm)) if properties.arm else "An arm of another character"


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


def redraw_sidebars(context: bpy.types.Context) -> None:
    """Draw the sidebars of 3D views again, and nothing of the views."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type == "UI":
                        region.tag_redraw()


def redraw_views(context: bpy.types.Context) -> None:
    """Draw the 3D views again."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()
