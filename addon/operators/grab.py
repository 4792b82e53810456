"""Grab, let go, and hold over a range."""

from __future__ import annotations

import bpy

from ...core import arm_words
from ...core.errors import HostError
from .. import grab, rig, selection
from ..holds import MODES
from ..subjects import Subject
from .common import SKIP, OnArms, attempt, whose
from .together import grab_all, hold_range_all, switch_all, target_for

PARTS = (
    ("hand", "Hand", "Hold with the hand"),
    ("elbow", "Elbow", "Hold with the elbow"),
    ("both", "Both", "Hold with the elbow and the hand"),
)
INTO = (
    ("SELECTION", "Selection", "Hold the other selected object or the active bone; the world where there is none"),
    ("WORLD", "World", "Hold the place in the world"),
)
PART_WORDS = {"hand": "the hand", "elbow": "the elbow", "both": "elbow and hand"}
FREE = "none"


class _Grabbing(OnArms):
    """What grabbing now and over a range ask for."""

    parts: bpy.props.EnumProperty(name="With", items=PARTS, options=SKIP)  # type: ignore[valid-type]
    into: bpy.props.EnumProperty(name="Hold on to", items=INTO, options=SKIP)  # type: ignore[valid-type]

    def thing(self, context: bpy.types.Context, subject: Subject) -> grab.Thing | None:
        """What to hold on to; None for the world. Raises HostError where that is not one thing."""
        return selection.thing_to_hold(context, subject.armature) if self.into == "SELECTION" else None


class ARMWRIGHT_OT_grab(_Grabbing, bpy.types.Operator):
    """Hold the selected object (or the world, if there is none) from this frame on; the arm stays where it is"""

    bl_idname = "armwright.grab"
    bl_label = "Grab"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        thing = thing_words(context) if properties.into == "SELECTION" else "the world"
        return (
            f"{whose(properties)}: let {PART_WORDS[properties.parts]} hold {thing} from this frame on, staying where "
            "the arm is.\nIt takes the other selected object, or the active bone; the world where there is neither"
        )

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            arms, thing = self.arms(subject), self.thing(context, subject)
            outcome = grab_all(subject, arms, self.parts, thing)
            what = thing.label() if thing is not None else "the world"
            words = selection.sentence(arm_words.names(arms, subject.arms))
            return f"{words}: {MODES[self.parts].sentence.lower()} in: {what}; {outcome.sentence()}"

        return attempt(self, work)


class ARMWRIGHT_OT_release(OnArms, bpy.types.Operator):
    """Let go from this frame on: the arm swings free from where it is"""

    bl_idname = "armwright.release"
    bl_label = "Let go"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return super().poll(context) and cls.usable(_nothing_held(context, "BOTH"))

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        reason = _nothing_held(context, properties.arm)
        help = "Let go from this frame on: the arm swings free from where it is"
        return f"{whose(properties)}.\n{reason or help}"

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            chosen = self.arms(subject)
            arms = selection.holding(subject.armature, subject.record, chosen)
            if not arms:
                raise HostError(_free_words(chosen, subject.arms))
            outcome = switch_all(subject, {arm: target_for(FREE) for arm in arms})
            return f"{selection.sentence(arm_words.names(arms, subject.arms))}: let go; {outcome.sentence()}"

        return attempt(self, work)


class ARMWRIGHT_OT_hold_range(_Grabbing, bpy.types.Operator):
    """Hold the selected object (or the world, if there is none) over a range of frames, keyed at both ends"""

    bl_idname = "armwright.hold_range"
    bl_label = "Hold over a range"
    bl_options = {"REGISTER", "UNDO"}

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
            subject = self.subject(context)
            arms, thing = self.arms(subject), self.thing(context, subject)
            outcome = hold_range_all(subject, arms, self.parts, thing, self.first, self.last)
            what = thing.label() if thing is not None else "the world"
            words = selection.sentence(arm_words.names(arms, subject.arms))
            return (
                f"{words}: {MODES[self.parts].sentence.lower()} in: {what}, "
                f"frames {self.first} to {self.last}; {outcome.sentence()}"
            )

        return attempt(self, work)


def thing_words(context: bpy.types.Context) -> str:
    """What a grab would take, in a few words."""
    try:
        thing = selection.thing_to_hold(context, selection.armature_of(context))
    except HostError:
        return "one selected thing"
    return thing.label() if thing is not None else "the world"


def _nothing_held(context: bpy.types.Context, choice: str) -> str:
    """Why there is nothing to let go of, a sentence; "" if there is something."""
    try:
        armature = selection.armature_of(context)
        record = rig.read_record(armature)
        arms = selection.arms_of(armature, record, choice)
        held = selection.holding(armature, record, arms)
    except HostError as problem:
        return selection.sentence(str(problem))
    return "" if held else selection.sentence(_free_words(arms, record.arms))


def _free_words(arms: tuple[str, ...], of: tuple[str, ...]) -> str:
    if len(arms) > 1:
        return f"{arm_words.names(arms, of)} hold nothing: there is nothing to let go of"
    return f"the {arm_words.name(arms[0])} holds nothing: there is nothing to let go of"
