"""What panels share: the rig that the selection is about, read once per draw."""

from __future__ import annotations

from typing import Any

import bpy

from ...core.errors import HostError
from ...core.rig_record import RigRecord
from .. import rig, selection

SIDE_NAMES = {"L": "Left", "R": "Right"}

# Reading a record parses JSON; panels are drawn often, so the last one is kept by the text that it came from.
_last: tuple[str, RigRecord] | None = None


def shown_rig(context: bpy.types.Context) -> tuple[bpy.types.Object, RigRecord] | None:
    """The armature with arms that the selection is about; None if there is none."""
    global _last
    try:
        armature = selection.armature_of(context)
        text = str(armature[rig.KEY])
        if _last is None or _last[0] != text:
            _last = (text, rig.read_record(armature))
        return armature, _last[1]
    except HostError:
        return None


class RigPanel:
    """A panel of the sidebar about the shown rig; without one it is not there. Panels give `draw_rig`."""

    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = "Armwright"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return shown_rig(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        shown = shown_rig(context)
        if shown is None:
            return
        armature, record = shown
        lost = next((role.bone for role in record.roles if role.bone not in armature.pose.bones), None)
        if lost is not None:
            layout: bpy.types.UILayout = self.layout  # type: ignore[attr-defined]
            layout.label(text=f"The bone {lost} is gone", icon="ERROR")
            layout.label(text="Undo its removal, or build again")
            return
        self.draw_rig(context, armature, record)

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        """Draw the panel for `armature`."""
        raise AssertionError("a panel draws its rig")
