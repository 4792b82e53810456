"""Change what an arm holds."""

from __future__ import annotations

import bpy

from ...core.arm.names import ELBOW, IK
from .. import rig
from ..holds import MODES
from .common import attempt


class ARMWRIGHT_OT_hold(bpy.types.Operator):
    """Change what the arm holds"""

    bl_idname = "armwright.hold"
    bl_label = "Hold"
    bl_options = {"REGISTER", "UNDO"}

    arm: bpy.props.StringProperty(name="Arm", default="L")  # type: ignore[valid-type]
    mode: bpy.props.EnumProperty(name="Hold", items=[(key, mode.label, mode.help) for key, mode in MODES.items()])  # type: ignore[valid-type]

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return MODES[properties.mode].help

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            armature = rig.require(context.object)
            record = rig.read_record(armature)
            dials = armature.pose.bones[record.bone(self.arm, "dials")]
            dials[IK], dials[ELBOW] = MODES[self.mode].ik, MODES[self.mode].elbow
            armature.update_tag()
            return f"{self.arm}: {MODES[self.mode].sentence.lower()}"

        return attempt(self, work)
