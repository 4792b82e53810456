"""Sidebar: the dials of each arm. They are the rig's own custom properties, so they can be keyed right here."""

from __future__ import annotations

import bpy

from ...core import arm_words
from ...core.arm import names as n
from ...core.arm.names import ELBOW, FOREARM_LENGTH, IK, ISOLATE, LIFT, SOFT, STRETCH, UPPER_LENGTH, UPPER_ROLL, VOLUME
from ...core.rig_record import RigRecord
from ..operators.flip_dial import FLIPPED
from ..selection import driven_dials, sentence
from .common import RigPanel, each_pair

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
    """A column of dials for each arm; where there are several pairs, a part that folds for each."""

    bl_label = "Dials"
    bl_order = 1

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        driven = driven_dials(armature, record)
        for part, arms in each_pair(self.layout, record, self.bl_idname):
            _dials(part, armature, record, arms, driven)


def _dials(
    layout: bpy.types.UILayout,
    armature: bpy.types.Object,
    record: RigRecord,
    arms: tuple[str, ...],
    driven: dict[str, tuple[str, ...]],
) -> None:
    """A column of dials for each of these arms, the dials in groups."""
    head = layout.split(factor=NAMES)
    head.label(text="")
    titles = head.row()
    for arm in arms:
        titles.label(text=sentence(arm_words.words(arm)))
    for group, dials in GROUPS:
        column = layout.column(align=True)
        column.label(text=group)
        for key, label in dials:
            row = column.split(factor=NAMES, align=True)
            row.label(text=label)
            values = row.row(align=True)
            for arm in arms:
                bone = armature.pose.bones[record.bone(arm, "dials")]
                if key in bone:
                    values.prop(bone, f'["{key}"]', text="", slider=True)
                if key in FLIPPED:
                    in_place = values.row(align=True)
                    in_place.enabled = key not in driven[arm]
                    button = in_place.operator("armwright.flip_dial", text="", icon="FILE_REFRESH")
                    button.arm, button.dial = arm, key
