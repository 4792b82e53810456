"""Sidebar: place and build."""

from __future__ import annotations

import bpy

from .. import marker_objects, rig


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
        layout.row().prop(settings, "source", expand=True)
        if settings.source == "stature" or not marker_objects.find_markers():
            row = layout.row(align=True)
            row.prop(settings, "stature")
            row.operator("armwright.measure_mesh", text="", icon="EYEDROPPER")
        if settings.source == "markers":
            layout.operator("armwright.place_markers", icon="EMPTY_AXIS")
        layout.prop(settings, "fingers")
        layout.separator()
        layout.prop(settings, "armature", text="Build on")
        if settings.armature is None:
            layout.label(text="A new armature with a plain torso", icon="INFO")
        elif not rig.has_arms(settings.armature):
            layout.prop_search(settings, "torso", settings.armature.data, "bones")
            layout.prop_search(settings, "root", settings.armature.data, "bones")
        column = layout.column()
        column.scale_y = 1.4
        column.operator("armwright.build_arms", icon="ADD")
        layout.operator_menu_enum("armwright.bind_skin", "way", icon="MOD_ARMATURE")
        if rig.has_arms(context.object):
            layout.operator("armwright.remove_arms", icon="REMOVE")
