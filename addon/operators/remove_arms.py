"""Remove the arms."""

from __future__ import annotations

import bpy

from .. import remove, rig
from .common import attempt


class ARMWRIGHT_OT_remove_arms(bpy.types.Operator):
    """Remove the arms that were built on this armature; its other bones stay as they are"""

    bl_idname = "armwright.remove_arms"
    bl_label = "Remove arms"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not rig.has_arms(context.object):
            cls.poll_message_set("Select an armature that has arms")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return context.window_manager.invoke_confirm(self, event)

    def execute(self, context: bpy.types.Context) -> set[str]:
        armature = context.object

        def work() -> str:
            remove.remove_arms(armature)
            return f"Arms removed from {armature.name}"

        return attempt(self, work)
