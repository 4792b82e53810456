"""Runs in the full graphical host: what only a window shows. Prints one line of JSON; see DEVELOPERS.md for how to run
it.

Undo of a build is one step and complete, redo brings it back; every panel draws without an error; drawing moves
nothing.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import traceback

import bpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.environ.get("ARMWRIGHT_PARENT", str(pathlib.Path(__file__).resolve().parents[3])))

OUTCOME: dict[str, object] = {}


def _body() -> bpy.types.Object:
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    data = bpy.data.armatures.new("Body")
    armature = bpy.data.objects.new("Body", data)
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.objects.active = armature
    bpy.ops.object.mode_set(mode="EDIT")
    bone = data.edit_bones.new("chest")
    bone.head, bone.tail = (0.0, 0.0, 1.1), (0.0, 0.0, 1.4)
    bpy.ops.object.mode_set(mode="OBJECT")
    return armature


def _state() -> tuple[object, ...]:
    armature = bpy.data.objects["Body"]
    drivers = armature.animation_data.drivers if armature.animation_data else []
    return (
        sorted(bone.name for bone in armature.data.bones),
        sorted(collection.name for collection in armature.data.collections_all),
        len(drivers),
        sorted(key for key in armature.keys()),  # noqa: SIM118
        sorted(item.name for item in bpy.data.objects),
        sorted(mesh.name for mesh in bpy.data.meshes),
        armature.mode,
    )


def _check() -> None:
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    region = next(region for region in area.regions if region.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        _body()
        settings = bpy.context.scene.armwright_build
        settings.armature, settings.torso = bpy.data.objects["Body"], "chest"
        bpy.ops.ed.undo_push(message="before")
        before = _state()
        OUTCOME["build"] = sorted(bpy.ops.armwright.build_arms("EXEC_DEFAULT", True))
        after = _state()
        OUTCOME["built_bones"] = len(after[0]) - len(before[0])
        bpy.ops.ed.undo()
        OUTCOME["one_undo_is_complete"] = _state() == before
        bpy.ops.ed.redo()
        OUTCOME["redo_brings_it_back"] = _state() == after
        area.spaces.active.show_region_ui = True
        moved = _pose()
        for _ in range(3):
            bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=1)
        OUTCOME["drawing_moves_nothing"] = _pose() == moved


def _pose() -> list[list[float]]:
    return [[value for row in bone.matrix for value in row] for bone in bpy.data.objects["Body"].pose.bones]


def run() -> None:
    """Check, print, signal."""
    try:
        import armwright

        armwright.register()
        _check()
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
    print("OUTCOME " + json.dumps(OUTCOME), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()


bpy.app.timers.register(run, first_interval=1.5)
