"""Turn isolation, lift or stretch on or off without moving the arm."""

from __future__ import annotations

import bpy

from ...core import arm_words
from ...core.arm.names import ISOLATE, LIFT, STRETCH
from ...core.match.target import Target
from .. import selection
from .common import SKIP, OnArms, attempt, run_or_ask, whose
from .together import switch_all

FLIPPED = {
    ISOLATE: ("Isolate", "Turn isolation on or off on this frame; the arm keeps its pose"),
    LIFT: ("Lift", "Turn the automatic lift on or off on this frame; the shoulder keeps its place"),
    STRETCH: ("Stretch", "Turn the IK stretch on or off on this frame; the arm keeps its pose"),
}


class ARMWRIGHT_OT_flip_dial(OnArms, bpy.types.Operator):
    """Turn a dial on or off on this frame; the arm keeps its pose"""

    bl_idname = "armwright.flip_dial"
    bl_label = "Turn on or off in place"
    bl_options = {"REGISTER", "UNDO"}

    dial: bpy.props.EnumProperty(name="Dial", items=[(key, *words) for key, words in FLIPPED.items()], options=SKIP)  # type: ignore[valid-type]

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return f"{whose(properties)}.\n{FLIPPED[properties.dial][1]}"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return run_or_ask(self, context, "dial")

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            arms = self.arms(subject)
            dials = [subject.armature.pose.bones[subject.record.bone(arm, "dials")] for arm in arms]
            value = 0.0 if all(bone[self.dial] >= 0.5 for bone in dials) else 1.0
            outcome = switch_all(subject, {arm: Target(**{self.dial: value}) for arm in arms})
            what = selection.sentence(arm_words.names(arms, subject.arms))
            return f"{what}: {FLIPPED[self.dial][0].lower()} {'on' if value else 'off'}; {outcome.sentence()}"

        return attempt(self, work)
