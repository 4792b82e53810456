"""Sidebar: what carries each hold, and the buttons that grab and let go."""

from __future__ import annotations

import bpy

from ...core.arm.names import SPACE_HEAD, SPACE_TORSO
from ...core.rig_record import RigRecord
from ..spaces import HOLDS, KINDS, ON, is_gone, label
from .common import SIDE_NAMES, RigPanel


class ARMWRIGHT_PT_spaces(RigPanel, bpy.types.Panel):
    """For each arm: grab, let go, and a menu of what carries its hand hold and its elbow hold."""

    bl_label = "What carries the holds"
    bl_order = 1

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        lost = False
        for arm in record.arms:
            box = self.layout.box()
            box.label(text=f"{SIDE_NAMES.get(arm, arm)} arm")
            for hold in HOLDS:
                constraints = [
                    item
                    for item in armature.pose.bones[record.bone(arm, f"{hold}_space")].constraints
                    if item.type in KINDS
                ]
                now = next((item.name for item in constraints if item.influence > ON), "")
                gone = any(is_gone(item) for item in constraints)
                lost = lost or gone
                row = box.split(factor=0.35)
                row.label(text=f"{hold.capitalize()} in", icon="ERROR" if gone else "NONE")
                row = row.row(align=True)
                menu = row.operator_menu_enum("armwright.set_space", "space", text=label(record.arms, now))
                menu.arm, menu.hold = arm, hold
                if any(item.name not in (SPACE_TORSO, SPACE_HEAD) for item in constraints):
                    menu = row.operator_menu_enum("armwright.take_off_space", "space", text="", icon="X")
                    menu.arm, menu.hold = arm, hold
            row = box.row(align=True)
            for parts, text in (("hand", "Grab"), ("elbow", "Lean elbow"), ("both", "Both")):
                button = row.operator("armwright.grab", text=text)
                button.arm, button.parts = arm, parts
            row = box.row(align=True)
            row.operator("armwright.hold_range", text="Over a range").arm = arm
            row.operator("armwright.release").arm = arm
        if lost:
            self.layout.operator("armwright.mend_spaces", icon="ERROR")
