"""Runs in the full graphical host: undo of what only a window does. Prints one line of JSON; run it like
`window_job.py`.

A conversion runs in pieces under a timer and is one step of undo all the same; redo brings the same keys. A character
in local view, and one outside it, is switched in place.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import traceback
from typing import Any

import bpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.environ.get("ARMWRIGHT_PARENT", str(pathlib.Path(__file__).resolve().parents[3])))

OUTCOME: dict[str, object] = {}
KEPT: dict[str, Any] = {}
# Seconds between looks at whether the conversion has ended, and how many looks.
PAUSE, LOOKS = 0.2, 100


def _keys() -> dict[str, list[Any]]:
    from armwright.addon.curves import curves_of

    return {
        f"{curve.data_path} {curve.array_index}": [
            [*point.co, *point.handle_left, *point.handle_right, point.interpolation] for point in curve.keyframe_points
        ]
        for action in bpy.data.actions
        for curve in curves_of(action)
    }


def _armature() -> bpy.types.Object:
    return bpy.data.objects["Wren"]


def _window() -> dict[str, Any]:
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    region = next(region for region in area.regions if region.type == "WINDOW")
    return {"window": window, "area": area, "region": region}


def _character() -> None:
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    armature = build_new(plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions()), "Wren")
    for frame, turn in ((1, 0.1), (20, 0.5), (40, -0.2)):
        for name, angles in (("torso.2", (turn, 0.1, turn)), ("fk.upper_arm.L", (turn, 0.2, 0.3))):
            armature.pose.bones[name].rotation_euler = angles
            armature.pose.bones[name].keyframe_insert("rotation_euler", frame=frame)
        armature.pose.bones["fk.forearm.L"].rotation_euler = (1.0 + turn, 0.3, 0.0)
        armature.pose.bones["fk.forearm.L"].keyframe_insert("rotation_euler", frame=frame)
    bpy.context.view_layer.objects.active = armature
    armature.select_set(True)
    bpy.context.scene.frame_set(10)


def _switch_in_local_view() -> None:
    with bpy.context.temp_override(**_window()):
        bpy.ops.view3d.localview()
        OUTCOME["in_local_view"] = _pops()
        bpy.ops.view3d.localview()
        other = bpy.data.objects.new("Rail", None)
        bpy.context.scene.collection.objects.link(other)
        _armature().select_set(False)
        other.select_set(True)
        bpy.ops.view3d.localview()
        OUTCOME["outside_local_view"] = _pops()
        bpy.ops.view3d.localview()
        bpy.data.objects.remove(other)
        _armature().select_set(True)


def _pops() -> bool:
    """Whether every switch keeps the pose."""
    from armwright.addon import subjects
    from armwright.addon.holds import MODES
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    subject = subjects.subject_of(_armature())
    modes = [MODES[key] for key in ("hand", "elbow", "both", "none")]
    return all(switch(subject, "L", Target(ik=mode.ik, elbow=mode.elbow), keyed=False).kept for mode in modes)


def _start() -> None:
    with bpy.context.temp_override(**_window()):
        bpy.ops.ed.undo_push(message="before")
        KEPT["before"] = _keys()
        said = bpy.ops.armwright.convert_range("INVOKE_DEFAULT", True, arm="L", mode="hand", first=5, last=30)
        OUTCOME["runs_on"] = sorted(said)


def _look() -> float | None:
    """Once the conversion has ended: undo, redo; None ends the timer."""
    KEPT["looks"] = KEPT.get("looks", 0) + 1
    ended = _keys() != KEPT["before"] and _armature().pose.bones["fk.clavicle.L"]["ik"] == 1.0
    ended = ended and "Convert" in _last_step()
    if not ended and KEPT["looks"] < LOOKS:
        return PAUSE
    try:
        with bpy.context.temp_override(**_window()):
            after = _keys()
            OUTCOME["ended"] = ended
            bpy.ops.ed.undo()
            OUTCOME["one_undo_takes_a_conversion_back"] = _keys() == KEPT["before"]
            bpy.ops.ed.redo()
            OUTCOME["redo_brings_the_same_keys"] = _keys() == after
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
    _end()
    return None


def _last_step() -> str:
    operators = bpy.context.window_manager.operators
    return operators[-1].name if operators else ""


def _end() -> None:
    print("OUTCOME " + json.dumps(OUTCOME), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()


def run() -> None:
    """Check, print, signal."""
    try:
        import armwright

        armwright.register()
        _character()
        _switch_in_local_view()
        _start()
        bpy.app.timers.register(_look, first_interval=PAUSE)
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
        _end()


bpy.app.timers.register(run, first_interval=1.5)
