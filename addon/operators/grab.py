"""Grab, let go, hold over a range, and what carries a hold."""

from __future__ import annotations

import bpy

from ...core.errors import HostError
from .. import grab, mend, prove, rig, spaces
from ..holds import MODES
from .common import attempt

PARTS = (
    ("hand", "Hand", "Hold with the hand"),
    ("elbow", "Elbow", "Hold with the elbow"),
    ("both", "Both", "Hold with the elbow and the hand"),
)
HOLDS = PARTS[:2]
INTO = (
    ("SELECTION", "Selection", "Hold the other selected object or the active bone; the world where there is none"),
    ("WORLD", "World", "Hold the place in the world"),
)

# The host keeps no reference to the texts of a list that is made on the fly.
_items: list[tuple[str, str, str]] = []


def _space_items(self: bpy.types.OperatorProperties, context: bpy.types.Context | None) -> list[tuple[str, str, str]]:
    global _items
    armature = context.object if context is not None else None
    if not rig.has_arms(armature):
        return []
    subject = prove.subject_of(armature)
    if self.arm in subject.arms:
        _items = [
            (space.key, space.label, f"Let {space.label.lower()} carry the {self.hold}'s hold from this frame on")
            for space in spaces.spaces_of(subject, self.arm, self.hold)
        ]
    return _items


def target_of(context: bpy.types.Context, armature: bpy.types.Object) -> grab.Thing | None:
    """What is selected besides the arms: another object, or a bone that is not a part of them; None for the world."""
    others = [item for item in context.selected_objects if item != armature]
    if len(others) > 1:
        raise HostError(
            f"{len(others)} objects are selected besides {armature.name!r}: select the one to hold on to, or none"
        )
    if others:
        item = others[0]
        active = item.data.bones.active if item.type == "ARMATURE" else None
        return grab.Thing(item, active.name if active is not None else "")
    bone = context.active_pose_bone
    parts = {role.bone for role in rig.read_record(armature).roles}
    if bone is None or bone.id_data != armature or bone.name in parts:
        return None
    return grab.Thing(armature, bone.name)


class _OnArms:
    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not rig.has_arms(context.object):
            cls.poll_message_set("Select an armature that has arms")  # type: ignore[attr-defined]
            return False
        if context.object.library is not None:
            cls.poll_message_set("The armature is linked: make a library override first")  # type: ignore[attr-defined]
            return False
        return True


class ARMWRIGHT_OT_set_space(_OnArms, bpy.types.Operator):
    """Change what carries the hold; it stays where it is, keyed on both sides where keying is on"""

    bl_idname = "armwright.set_space"
    bl_label = "Held in"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    hold: bpy.props.EnumProperty(name="Hold", items=HOLDS)  # type: ignore[valid-type]
    space: bpy.props.EnumProperty(name="Space", items=_space_items)  # type: ignore[valid-type]

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = prove.subject_of(context.object)
            spaces.check_settable(subject, self.arm, self.hold)
            space = spaces.space_named(subject, self.arm, self.hold, self.space)
            outcome = spaces.set_space(subject, self.arm, self.hold, space)
            return f"{self.arm}: {self.hold} held in: {space.label}; {outcome.sentence()}"

        return attempt(self, work)


class ARMWRIGHT_OT_take_off_space(_OnArms, bpy.types.Operator):
    """Take a space off a hold that it does not carry, so that nothing depends on it any more"""

    bl_idname = "armwright.take_off_space"
    bl_label = "Take off"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    hold: bpy.props.EnumProperty(name="Hold", items=HOLDS)  # type: ignore[valid-type]
    space: bpy.props.EnumProperty(name="Space", items=_space_items)  # type: ignore[valid-type]

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = prove.subject_of(context.object)
            found = spaces.spaces_of(subject, self.arm, self.hold)
            return mend.take_off(subject, self.arm, self.hold, next(item for item in found if item.key == self.space))

        return attempt(self, work)


class ARMWRIGHT_OT_grab(_OnArms, bpy.types.Operator):
    """Hold the selected object (or the world, if there is none) from this frame on; the arm stays where it is"""

    bl_idname = "armwright.grab"
    bl_label = "Grab"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    parts: bpy.props.EnumProperty(name="With", items=PARTS)  # type: ignore[valid-type]
    into: bpy.props.EnumProperty(name="Hold on to", items=INTO)  # type: ignore[valid-type]

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            target = target_of(context, context.object) if self.into == "SELECTION" else None
            outcome = grab.grab(prove.subject_of(context.object), self.arm, self.parts, target)
            what = target.label() if target is not None else "the world"
            return f"{self.arm}: {MODES[self.parts].sentence.lower()} in: {what}; {outcome.sentence()}"

        return attempt(self, work)


class ARMWRIGHT_OT_release(_OnArms, bpy.types.Operator):
    """Let go from this frame on: the arm swings free from where it is"""

    bl_idname = "armwright.release"
    bl_label = "Let go"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(
            self,
            lambda: f"{self.arm}: let go; {grab.release(prove.subject_of(context.object), self.arm).sentence()}",
        )


class ARMWRIGHT_OT_hold_range(_OnArms, bpy.types.Operator):
    """Hold the selected object (or the world, if there is none) over a range of frames, keyed at both ends"""

    bl_idname = "armwright.hold_range"
    bl_label = "Hold over a range"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    parts: bpy.props.EnumProperty(name="With", items=PARTS)  # type: ignore[valid-type]
    into: bpy.props.EnumProperty(name="Hold on to", items=INTO)  # type: ignore[valid-type]
    first: bpy.props.IntProperty(name="From", description="Frame of the grab", default=1)  # type: ignore[valid-type]
    last: bpy.props.IntProperty(name="To", description="Frame of the release", default=250)  # type: ignore[valid-type]

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        scene = context.scene
        preview = scene.use_preview_range
        self.first = scene.frame_preview_start if preview else scene.frame_start
        self.last = scene.frame_preview_end if preview else scene.frame_end
        return context.window_manager.invoke_props_dialog(self)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            target = target_of(context, context.object) if self.into == "SELECTION" else None
            subject = prove.subject_of(context.object)
            outcome = grab.hold_range(subject, self.arm, self.parts, target, self.first, self.last)
            what = target.label() if target is not None else "the world"
            return (
                f"{self.arm}: {MODES[self.parts].sentence.lower()} in: {what}, frames {self.first} to {self.last}; "
                f"{outcome.sentence()}"
            )

        return attempt(self, work)


class ARMWRIGHT_OT_mend_spaces(_OnArms, bpy.types.Operator):
    """Put holds whose prop was deleted back into the world, where they were grabbed"""

    bl_idname = "armwright.mend_spaces"
    bl_label = "Mend lost spaces"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(
            self,
            lambda: "; ".join(mend.mend_spaces(prove.subject_of(context.object))) or "Nothing that is held is missing",
        )
