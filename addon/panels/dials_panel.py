"""Sidebar: the dials of each arm. They are the rig's own custom properties, so they can be keyed right here."""

from __future__ import annotations

import bpy

from ...core.arm import names as n
from ...core.arm.names import ELBOW, FOREARM_LENGTH, IK, ISOLATE, LIFT, SOFT, STRETCH, UPPER_LENGTH, UPPER_ROLL, VOLUME
from ...core.rig_record import RigRecord
from ..operators.flip_dial import FLIPPED
from ..selection import driven_dials
from .common import SIDE_NAMES, RigPanel

# Share of the panel that the names of the dials take.
NAMES = 0.4

GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("Hold", ((IK, "FK to IK"), (ELBOW, "Elbow hold"), (UPPER_ROLL, "Upper arm roll"))),
    ("Shoulder", ((LIFT, "Lift"), (ISOLATE, "Isolate"))),
    ("Reach", ((STRETCH, "Stretch"), (SOFT, "Soft reach"), (VOLUME, "Keep volume"))),
    (
        "Planted hand",
        ((n.HAND_ROLL, "Roll"), (n.HAND_SIDE, "Side"), (n.HAND_SPIN, "Spin"), (n.FINGER_BEND, "Finger bend")),
    ),
    ("Length", ((UPPER_LENGTH, "Upper arm"), (FOREARM_LENGTH, "Forearm"))),
)


class ARMWRIGHT_PT_dials(RigPanel, bpy.types.Panel):
    """A column of dials for each arm."""

    bl_label = "Dials"
    bl_order = 1

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        layout = self.layout
        head = layout.split(factor=NAMES)
        head.label(text="")
        sides = head.row()
        for arm in record.arms:
            sides.label(text=SIDE_NAMES.get(arm, arm))
        driven = driven_dials(armature, record)
        for group, dials in GROUPS:
            column = layout.column(align=True)
            column.label(text=group)
            for key, label in dials:
                row = column.split(factor=NAMES, align=True)
                row.label(text=label)
                values = row.row(align=True)
                for arm in record.arms:
                    bone = armature.pose.bones[record.bone(arm, "dials")]
                    if key in bone:
                        values.prop(bone, f'["{key}"]', text="", slider=True)
                    if key in FLIPPED:
                        in_place = values.row(align=True)
                        in_place.enabled = key not in driven[arm]
                        button = in_place.operator("armwright.flip_dial", text="", icon="FILE_REFRESH")
                        button.arm, button.dial = arm, key
