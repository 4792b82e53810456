"""Sidebar: what each arm holds."""

from __future__ import annotations

import bpy

from ..holds import MODES, mode_of
from .common import SIDE_NAMES, shown_rig


class ARMWRIGHT_PT_holds(bpy.types.Panel):
    """A row of four buttons for each arm; the one that is pressed is what the arm holds."""

    bl_label = "What the arms hold"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Armwright"
    bl_order = 0

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return shown_rig(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        shown = shown_rig(context)
        if shown is None:
            return
        armature, record = shown
        for arm in record.arms:
            now = mode_of(armature, record, arm)
            box = self.layout.box()
            head = box.row()
            head.label(text=f"{SIDE_NAMES.get(arm, arm)} arm")
            head.label(
                text=MODES[now].sentence if now else "Between two holds", icon="PINNED" if now != "none" else "UNPINNED"
            )
            row = box.row(align=True)
            for key, mode in MODES.items():
                button = row.operator("armwright.hold", text=mode.label, depress=key == now)
                button.arm, button.mode = arm, key
        self.layout.operator("armwright.ask_range", text="Convert range", icon="ACTION")
