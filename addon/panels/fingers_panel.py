"""Sidebar: the dials of the fingers, on rigs whose hands have any. They are the rig's own custom properties."""

from __future__ import annotations

import bpy

from ...core import arm_words
from ...core.arm.fingers import curl_dial
from ...core.arm.names import CURL, SPREAD
from ...core.rig_record import RigRecord
from ..selection import sentence
from .common import RigPanel, shown_rig

# Share of the panel that the names of the dials take.
NAMES = 0.4
DIALS = "finger_dials"


class ARMWRIGHT_PT_fingers(RigPanel, bpy.types.Panel):
    """A column of finger dials for each hand, and the poses of the hands."""

    bl_label = "Fingers"
    bl_order = 1

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        shown = shown_rig(context)
        return shown is not None and any(role.role == DIALS for role in shown[1].roles)

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        layout = self.layout
        bones = {role.arm: armature.pose.bones[role.bone] for role in record.roles if role.role == DIALS}
        head = layout.split(factor=NAMES)
        head.label(text="")
        sides = head.row()
        for arm in bones:
            sides.label(text=sentence(arm_words.words(arm)))
        column = layout.column(align=True)
        for key, label in rows(record):
            row = column.split(factor=NAMES, align=True)
            row.label(text=label)
            values = row.row(align=True)
            for bone in bones.values():
                if key in bone:
                    values.prop(bone, f'["{key}"]', text="", slider=True)
                else:
                    values.label(text="")
        layout.operator("armwright.make_hand_poses", icon="ASSET_MANAGER")


def rows(record: RigRecord) -> list[tuple[str, str]]:
    """Dials and their labels: those of all fingers, then each finger's in the order in which they were built."""
    found = [role.role.removeprefix("fk_").removesuffix("_1") for role in record.roles if _is_root(role.role)]
    names = dict.fromkeys(found)
    return [(CURL, "Curl"), (SPREAD, "Spread"), *((curl_dial(name), f"{_words(name)} curl") for name in names)]


def _is_root(role: str) -> bool:
    return role.startswith("fk_") and role.endswith("_1")


def _words(finger: str) -> str:
    return finger.replace("_", " ").capitalize()
