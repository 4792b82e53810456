"""Change what an arm holds, without a pop."""

from __future__ import annotations

import bpy

from ...core.match.target import Target
from .. import prove, rig
from ..holds import MODES
from ..switch import switch
from .common import attempt


class ARMWRIGHT_OT_hold(bpy.types.Operator):
    """Change what the arm holds"""

    bl_idname = "armwright.hold"
    bl_label = "Hold"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    mode: bpy.props.EnumProperty(name="Hold", items=[(key, mode.label, mode.help) for key, mode in MODES.items()])  # type: ignore[valid-type]

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not rig.has_arms(context.object):
            cls.poll_message_set("Select an armature that has arms")
            return False
        return True

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return MODES[properties.mode].help

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = prove.subject_of(rig.require(context.object))
            mode = MODES[self.mode]
            outcome = switch(subject, self.arm, Target(ik=mode.ik, elbow=mode.elbow))
            return f"{self.arm}: {mode.sentence.lower()}; {outcome.sentence()}"

        return attempt(self, work)
