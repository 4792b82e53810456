"""Sidebar: what each arm holds."""

from __future__ import annotations

import bpy

from ...core.rig_record import RigRecord
from ..holds import MODES, mode_of
from .common import SIDE_NAMES, RigPanel


class ARMWRIGHT_PT_holds(RigPanel, bpy.types.Panel):
    """A row of four buttons for each arm; the one that is pressed is what the arm holds."""

    bl_label = "What the arms hold"
    bl_order = 0

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
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
