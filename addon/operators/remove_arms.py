"""Remove the arms."""

from __future__ import annotations

import bpy

from .. import remove, selection
from .common import SKIP, OnRig, attempt


class ARMWRIGHT_OT_remove_arms(OnRig, bpy.types.Operator):
    """Remove the arms that were built on this armature; its other bones stay as they are"""

    bl_idname = "armwright.remove_arms"
    bl_label = "Remove arms"
    bl_options = {"REGISTER", "UNDO"}

    anyway: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Lose what depends on them",
        description="Also where bones, constraints or drivers of yours depend on the arms",
        options=SKIP,
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        lost = remove.losses(selection.armature_of(context))
        if not lost:
            confirmed: set[str] = context.window_manager.invoke_confirm(self, event)
            return confirmed
        self.anyway = True
        asked: set[str] = context.window_manager.invoke_props_dialog(self, width=420, confirm_text="Lose them")
        return asked

    def draw(self, context: bpy.types.Context) -> None:
        self.layout.label(text="With the arms would go, or hang in the air:", icon="ERROR")
        for words in remove.losses(selection.armature_of(context)):
            self.layout.label(text=words)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            armature = selection.armature_of(context)
            remove.remove_arms(armature, losing=self.anyway)
            return f"Arms removed from {armature.name}"

        return attempt(self, work)
