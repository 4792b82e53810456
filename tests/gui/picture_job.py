"""Runs in the full graphical host: the demo's scene with the sidebar beside Wren, for the picture in the README.

Arguments after `--`: a folder that holds this checkout as `armwright`. Wren leans the left elbow on the rail, which
then carries it; the right arm swings the lantern.
"""

from __future__ import annotations

import os
import pathlib
import sys

import bpy
from mathutils import Euler, Vector

sys.dont_write_bytecode = True
sys.path.insert(0, sys.argv[sys.argv.index("--") + 1])
FRAME = 60
# Of the view: what it looks at, from how far, and the turns of its camera.
LOOKS_AT, DISTANCE, TURNS = (0.18, -0.1, 1.0), 2.8, (1.35, 0.0, 0.55)


def _area() -> bpy.types.Area:
    return next(area for area in bpy.context.window_manager.windows[0].screen.areas if area.type == "VIEW_3D")


def _start() -> None:
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    import armwright
    from armwright.demo_blend_scripts import scene

    armwright.register()
    made = scene.build_scene()
    armature = made.character.armature
    bpy.context.scene.frame_set(FRAME)
    for item in bpy.context.view_layer.objects:
        item.select_set(item is armature)
    bpy.context.view_layer.objects.active = armature
    bpy.context.scene.armwright_build.armature = armature
    bpy.ops.object.mode_set(mode="POSE")
    view = _area().spaces.active
    view.show_region_ui = True
    view.shading.type, view.shading.color_type = "SOLID", "MATERIAL"
    seen = view.region_3d
    seen.view_perspective = "PERSP"
    seen.view_location = armature.location + Vector(LOOKS_AT)
    seen.view_rotation, seen.view_distance = Euler(TURNS).to_quaternion(), DISTANCE
    bpy.app.timers.register(_hold_the_rail, first_interval=1.5)


def _hold_the_rail() -> None:
    from armwright.addon import host

    area = _area()
    regions = {region.type: region for region in area.regions}
    regions["UI"].active_panel_category = "Armwright"
    rail = bpy.data.objects[RAIL]
    window = bpy.context.window_manager.windows[0]
    rail.select_set(True)
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = False
    with bpy.context.temp_override(window=window, area=area, region=regions["WINDOW"]):
        bpy.ops.armwright.grab("EXEC_DEFAULT", arm="L", parts="elbow")
    rail.select_set(False)
    armature = bpy.context.object
    for bone in armature.pose.bones:
        host.select(bone, bone.name == "hold.elbow.L")
    armature.data.bones.active = armature.data.bones["hold.elbow.L"]
    area.tag_redraw()
    bpy.app.timers.register(lambda: pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch(), first_interval=4.0)


RAIL = "lighthouse.rail"
bpy.app.timers.register(_start, first_interval=1.5)
