"""Turn isolation, lift or stretch on or off without moving the arm."""

from __future__ import annotations

import bpy

from ...core.arm.names import ISOLATE, LIFT, STRETCH
from ...core.match.target import Target
from .. import prove, rig
from ..switch import switch
from .common import attempt

FLIPPED = {
    ISOLATE: ("Isolate", "Turn isolation on or off on this frame; the arm keeps its pose"),
    LIFT: ("Lift", "Turn the automatic lift on or off on this frame; the shoulder keeps its place"),
    STRETCH: ("Stretch", "Turn the IK stretch on or off on this frame; the arm keeps its pose"),
}


class ARMWRIGHT_OT_flip_dial(bpy.types.Operator):
    """Turn a dial on or off on this frame; the arm keeps its pose"""

    bl_idname = "armwright.flip_dial"
    bl_label = "Turn on or off in place"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    dial: bpy.props.EnumProperty(name="Dial", items=[(key, *words) for key, words in FLIPPED.items()])  # type: ignore[valid-type]

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not rig.has_arms(context.object):
            cls.poll_message_set("Select an armature that has arms")
            return False
        return True

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return FLIPPED[properties.dial][1]

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = prove.subject_of(rig.require(context.object))
            dials = subject.armature.pose.bones[subject.record.bone(self.arm, "dials")]
            value = 0.0 if dials[self.dial] >= 0.5 else 1.0
            outcome = switch(subject, self.arm, Target(**{self.dial: value}))
            return f"{self.arm}: {FLIPPED[self.dial][0].lower()} {'on' if value else 'off'}; {outcome.sentence()}"

        return attempt(self, work)
