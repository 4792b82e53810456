"""Sidebar: hand the character over."""

from __future__ import annotations

import bpy

from ...core.rig_record import RigRecord
from .common import RigPanel


class ARMWRIGHT_PT_hand_over(RigPanel, bpy.types.Panel):
    """The skin's skeleton for other programs, and the page for the animator."""

    bl_label = "Hand over"
    bl_order = 4

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        column = self.layout.column(align=True)
        # File choosers open from the buttons.
        column.operator_context = "INVOKE_DEFAULT"
        column.operator("armwright.ask_hand_over", icon="EXPORT")
        column.operator("armwright.save_controls_page", icon="HELP")
