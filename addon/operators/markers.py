"""Measure the character and place joint markers."""

from __future__ import annotations

import bpy

from ...core.stature import guide_from_stature
from .. import marker_objects, measure_mesh
from .common import attempt


class ARMWRIGHT_OT_place_markers(bpy.types.Operator):
    """Place a marker on every joint of both arms, by handbook proportions; move them onto the character's joints"""

    bl_idname = "armwright.place_markers"
    bl_label = "Place joint markers"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            settings = context.scene.armwright_build
            marker_objects.place(guide_from_stature(settings.stature, "markers"), settings.foot)
            settings.source = "markers"
            return "Markers placed: move them onto the joints, then build"

        return attempt(self, work)


class ARMWRIGHT_OT_measure_mesh(bpy.types.Operator):
    """Take body height and standing place from the selected meshes"""

    bl_idname = "armwright.measure_mesh"
    bl_label = "Measure the selected mesh"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not any(item.type == "MESH" for item in context.selected_objects):
            cls.poll_message_set("Select the character's mesh in object mode")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            settings = context.scene.armwright_build
            settings.stature = measure_mesh.character_height(context.selected_objects)
            settings.foot = measure_mesh.character_foot(context.selected_objects)
            return f"The character is {settings.stature:.2f} m tall"

        return attempt(self, work)
