"""Sidebar: place and build."""

from __future__ import annotations

import bpy

from .. import build_inputs, marker_objects, rig

SOURCES = ("stature", "markers")


class ARMWRIGHT_PT_build(bpy.types.Panel):
    """Where the joints are, what the arms go on, build."""

    bl_label = "Make arms"
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Armwright"
    bl_order = 3

    def draw(self, context: bpy.types.Context) -> None:
        layout, settings = self.layout, context.scene.armwright_build
        layout.use_property_split = True
        layout.use_property_decorate = False
        again = rig.has_arms(settings.armature)
        sources = layout.row(align=True)
        sources.use_property_split = False  # which would take the first button's words away
        for key in (*SOURCES, *((build_inputs.AS_BUILT,) if again else ())):
            sources.prop_enum(settings, "source", key)
        found = marker_objects.find_markers()
        if settings.source == "stature" or (settings.source == "markers" and not found):
            row = layout.row(align=True)
            row.prop(settings, "stature")
            row.operator("armwright.measure_mesh", text="", icon="EYEDROPPER")
        if settings.source == "markers":
            reading = layout.operator("armwright.read_joints", icon="OUTLINER_OB_ARMATURE")
            reading.again = bool(found)
            if not found:
                layout.operator("armwright.place_markers", icon="EMPTY_AXIS")
            else:
                layout.prop(settings, "mirror_markers")
                _draw_guessed(layout, found)
        layout.prop(settings, "fingers")
        layout.separator()
        layout.prop(settings, "armature", text="Build on")
        if settings.armature is None:
            layout.label(text="A new armature with a plain torso", icon="INFO")
        elif again:
            news = build_inputs.news_of(settings)
            layout.label(text=news or "As at the last build", icon="INFO" if news else "CHECKMARK")
        else:
            layout.prop_search(settings, "torso", settings.armature.data, "bones")
            layout.prop_search(settings, "root", settings.armature.data, "bones")
        column = layout.column()
        column.scale_y = 1.4
        if again:
            column.operator("armwright.build_arms", text="Build again", icon="FILE_REFRESH")
        else:
            column.operator("armwright.build_arms", icon="ADD")
        layout.operator_menu_enum("armwright.bind_skin", "way", icon="MOD_ARMATURE")
        if rig.has_arms(context.object):
            layout.operator("armwright.remove_arms", icon="REMOVE")


def _draw_guessed(layout: bpy.types.UILayout, found: dict[str, bpy.types.Object]) -> None:
    """Which joints were guessed and not moved since: an arm's own by name, those of fingers by number."""
    guessed = marker_objects.guessed(found)
    if not guessed:
        return
    box = layout.box()
    box.label(text="Guessed, so look at:", icon="QUESTION")
    fingers = [part for part in guessed if "." in part]
    for part, arms in guessed.items():
        if part not in fingers:
            box.label(text=f"{part.replace('_', ' ').capitalize()}: {', '.join(arms)}")
    if fingers:
        names = sorted({part.split(".")[0].replace("_", " ") for part in fingers})
        box.label(text=f"Joints of {', '.join(names)}")
