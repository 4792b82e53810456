"""Runs in the full graphical host: Wren in the demo's scene with a hand hold that follows the torso, and a failing
check of it shown in the window, for the picture in docs/pictures.

Arguments after `--`: a folder that holds this checkout as `armwright`.
"""

from __future__ import annotations

import os
import pathlib
import sys

import bpy
from mathutils import Euler, Vector

sys.dont_write_bytecode = True
sys.path.insert(0, sys.argv[sys.argv.index("--") + 1])
# Of the view: what it looks at, from how far, and the turns of its camera.
LOOKS_AT, DISTANCE, TURNS = (0.1, -0.1, 1.15), 2.6, (1.4, 0.0, 0.5)
# How much the hold follows the torso: a centimetre or so, which an animator sees late and a proof at once.
FOLLOWS = 0.02
# Down the sidebar, notches of the wheel.
SCROLL = 30


def _area() -> bpy.types.Area:
    return next(area for area in bpy.context.window_manager.windows[0].screen.areas if area.type == "VIEW_3D")


def _start() -> None:
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    import armwright
    from armwright.demo_blend_scripts import scene

    armwright.register()
    armature = scene.build_scene().character.armature
    bpy.context.scene.frame_set(1)
    for item in bpy.context.view_layer.objects:
        item.select_set(item is armature)
    bpy.context.view_layer.objects.active = armature
    bpy.ops.object.mode_set(mode="POSE")
    view = _area().spaces.active
    view.show_region_ui = True
    view.shading.type, view.shading.color_type = "SOLID", "MATERIAL"
    seen = view.region_3d
    seen.view_perspective = "PERSP"
    seen.view_location = armature.location + Vector(LOOKS_AT)
    seen.view_rotation, seen.view_distance = Euler(TURNS).to_quaternion(), DISTANCE
    bpy.app.timers.register(_show, first_interval=1.5)


def _show() -> None:
    from armwright.addon import host, sample, subjects
    from armwright.addon.operators.verdict_lists import show
    from armwright.addon.prove_runs import run
    from armwright.core.proof import verdicts
    from armwright.core.proof.results import Results
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    area = _area()
    regions = {region.type: region for region in area.regions}
    regions["UI"].active_panel_category = "Armwright"
    armature = bpy.context.object
    subject = subjects.subject_of(armature)
    follow = armature.pose.bones[subject.record.bone("L", "hand_hold")].constraints.new("COPY_LOCATION")
    follow.target, follow.subtarget, follow.influence = armature, subject.record.torso, FOLLOWS
    found = []
    with sample.borrowed(armature) as stage:
        for spec in planned_runs(standard_motions(1)):
            if spec.motion == "torso-wiggle" and "switch" not in spec.requirements:
                found += [item for made in run(subject, spec, stage) for item in verdicts.checks(spec, made)[0]]
    lengths = tuple((arm, item.upper_length + item.forearm_length) for arm, item in subject.geometries.items())
    digest = subject.record.plan_digest
    results = Results(host.version_name(), armature.name, digest, 1, lengths, tuple(found))
    show(bpy.context.window_manager.armwright_proof, armature.name, results)
    state = bpy.context.window_manager.armwright_proof
    state.active = [line.requirement for line in state.verdicts].index("hold-hand")
    window = bpy.context.window_manager.windows[0]
    with bpy.context.temp_override(window=window, area=area, region=regions["WINDOW"]):
        bpy.ops.armwright.show_check("INVOKE_DEFAULT")
    bpy.app.timers.register(_scroll, first_interval=2.0)


def _scroll() -> None:
    """Bring the proof's lists into the sidebar, which has to have been drawn with them."""
    area = _area()
    sidebar = next(region for region in area.regions if region.type == "UI")
    with bpy.context.temp_override(window=bpy.context.window_manager.windows[0], area=area, region=sidebar):
        for _ in range(SCROLL):
            bpy.ops.view2d.scroll_down("EXEC_DEFAULT")
    bpy.app.timers.register(lambda: pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch(), first_interval=4.0)


bpy.app.timers.register(_start, first_interval=1.5)
