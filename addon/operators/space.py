"""What carries a hold: choose it, take one off, mend what was lost."""

from __future__ import annotations

import bpy

from ...core import arm_words
from ...core.arm.names import SPACE_HEAD, SPACE_TORSO
from ...core.errors import HostError
from .. import mend, rig, selection, spaces
from ..spaces import Space
from ..subjects import Subject
from .common import SKIP, OnArms, OnRig, attempt, set_by_button, whose
from .together import space_all

TAKE_OFF = "armwright.take_off_space"
HOLDS = (("hand", "Hand", "The hand's hold"), ("elbow", "Elbow", "The elbow's hold"))

# The host keeps no reference to the texts of a list that is made on the fly: one list for each arm and hold.
_items: dict[tuple[str, str], list[tuple[str, str, str]]] = {}


def _space_items(self: bpy.types.OperatorProperties, context: bpy.types.Context | None) -> list[tuple[str, str, str]]:
    if context is None:
        return []
    try:
        subject = OnRig.subject(context)
        arms = selection.arms_of(subject.armature, subject.record, self.arm)
    except HostError:
        return []
    arm = arms[0]
    _items[arm, self.hold] = [
        (space.key, space.label, f"Let {space.label.lower()} carry the {self.hold}'s hold from this frame on")
        for space in spaces.spaces_of(subject, arm, self.hold)
    ]
    return _items[arm, self.hold]


class _OnSpaces(OnArms):
    """An operator on one of the things that can carry a hold. Operators say which (`choices`) and `title` the menu."""

    title = ""
    bl_idname: str

    hold: bpy.props.EnumProperty(name="Hold", items=HOLDS, options=SKIP)  # type: ignore[valid-type]
    space: bpy.props.EnumProperty(name="Space", items=_space_items, options=SKIP)  # type: ignore[valid-type]

    def choices(self, subject: Subject, arm: str) -> tuple[Space, ...]:
        """What the menu offers. Raises HostError if there is nothing."""
        raise AssertionError("an operator on spaces says which")

    def by_button(self, context: bpy.types.Context) -> set[str]:
        """With a space, that one; without, a menu of them."""
        if set_by_button(self, "space"):
            return self.execute(context)  # type: ignore[attr-defined]
        try:
            subject = self.subject(context)
            found = self.choices(subject, self.arms(subject)[0])
        except HostError as problem:
            self.report({"ERROR"}, str(problem))  # type: ignore[attr-defined]
            return {"CANCELLED"}
        removable = (
            [item for item in found if _was_added(item) and not item.active] if self.bl_idname != TAKE_OFF else []
        )
        name, arm, hold = self.bl_idname, self.arm, self.hold

        def draw(menu: bpy.types.UIPopupMenu, context: bpy.types.Context) -> None:
            for space in found:
                entry = menu.layout.operator(name, text=space.label, icon="CHECKMARK" if space.active else "BLANK1")
                entry.arm, entry.hold, entry.space = arm, hold, space.key
            for space in removable:
                entry = menu.layout.operator(TAKE_OFF, text=f"Take off {space.label}", icon="X")
                entry.arm, entry.hold, entry.space = arm, hold, space.key

        title = f"{selection.sentence(hold)} {self.title}"
        context.window_manager.popup_menu(draw, title=title)
        return {"CANCELLED"}


class ARMWRIGHT_OT_set_space(_OnSpaces, bpy.types.Operator):
    """Change what carries the hold; it stays where it is, keyed on both sides where keying is on"""

    bl_idname = "armwright.set_space"
    bl_label = "Held in"
    bl_options = {"REGISTER", "UNDO"}

    title = "held in"

    def choices(self, subject: Subject, arm: str) -> tuple[Space, ...]:
        """All."""
        return spaces.spaces_of(subject, arm, self.hold)

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return (
            f"{whose(properties)}: what carries the {properties.hold} while it is held. It stays where it is; keyed on "
            "both sides where keying is on"
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.by_button(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            arms = self.arms(subject)
            label, outcome = space_all(subject, arms, self.hold, self.space)
            words = selection.sentence(arm_words.names(arms, subject.arms))
            return f"{words}: {self.hold} held in: {label}; {outcome.sentence()}"

        return attempt(self, work)


class ARMWRIGHT_OT_take_off_space(_OnSpaces, bpy.types.Operator):
    """Take a space off a hold that it does not carry, so that nothing depends on it any more"""

    bl_idname = TAKE_OFF
    bl_label = "Take off"
    bl_options = {"REGISTER", "UNDO"}

    title = "no more in"

    def choices(self, subject: Subject, arm: str) -> tuple[Space, ...]:
        """Those that were added. Raises HostError if there are none."""
        found = tuple(item for item in spaces.spaces_of(subject, arm, self.hold) if _was_added(item))
        if not found:
            raise HostError(f"nothing was added to what the {self.hold} can be held in, so nothing can be taken off")
        return found

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.by_button(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            arms = self.arms(subject)
            if len(arms) > 1:
                raise HostError(
                    f"{arm_words.names(arms, subject.arms)} are meant: take a space off one arm at a time; choose one"
                )
            found = {item.key: item for item in spaces.spaces_of(subject, arms[0], self.hold)}
            if self.space not in found:
                raise HostError(f"there is no space {self.space!r} to take off; there are: {', '.join(found)}")
            return mend.take_off(subject, arms[0], self.hold, found[self.space])

        return attempt(self, work)


class ARMWRIGHT_OT_mend_spaces(OnRig, bpy.types.Operator):
    """Put holds whose prop was deleted back into the world, where they were grabbed"""

    bl_idname = "armwright.mend_spaces"
    bl_label = "Mend lost spaces"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return super().poll(context) and cls.usable(_nothing_lost(context))

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(self, lambda: selection.sentence("; ".join(mend.mend_spaces(self.subject(context)))))


def _was_added(space: Space) -> bool:
    """Whether a space is none of the rig's own."""
    return space.constraint not in ("", SPACE_TORSO, SPACE_HEAD)


def _nothing_lost(context: bpy.types.Context) -> str:
    try:
        armature = selection.armature_of(context)
        record = rig.read_record(armature)
    except HostError as problem:
        return selection.sentence(str(problem))
    carriers = [armature.pose.bones.get(role.bone) for role in record.roles if role.role.endswith("_space")]
    lost = any(
        item.type in spaces.KINDS and spaces.is_gone(item)
        for bone in carriers
        if bone is not None
        for item in bone.constraints
    )
    return "" if lost else "Nothing is lost: what the holds are held in is all there"
