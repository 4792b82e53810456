"""Place joint markers."""

from __future__ import annotations

import bpy

from ...core.stature import guide_from_stature
from .. import marker_objects
from .common import attempt


class ARMWRIGHT_OT_place_markers(bpy.types.Operator):
    """Place a marker on every joint of both arms, by handbook proportions; move them onto the character's joints"""

    bl_idname = "armwright.place_markers"
    bl_label = "Place joint markers"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            marker_objects.place(guide_from_stature(context.scene.armwright_build.stature, "markers"))
            context.scene.armwright_build.source = "markers"
            return "Markers placed: move them onto the joints, then build"

        return attempt(self, work)
