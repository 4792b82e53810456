"""Remove the arms."""

from __future__ import annotations

import bpy

from .. import remove, selection
from .common import OnRig, attempt


class ARMWRIGHT_OT_remove_arms(OnRig, bpy.types.Operator):
    """Remove the arms that were built on this armature; its other bones stay as they are"""

    bl_idname = "armwright.remove_arms"
    bl_label = "Remove arms"
    bl_options = {"REGISTER", "UNDO"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return context.window_manager.invoke_confirm(self, event)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            armature = selection.armature_of(context)
            remove.remove_arms(armature)
            return f"Arms removed from {armature.name}"

        return attempt(self, work)
