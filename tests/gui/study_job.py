"""Runs in the full graphical host: the sidebar's study of Wren on the ladder, in pieces, held by its button, Esc and
undo tried. Prints one line of JSON and signals; the window is then ready for a picture.

Arguments after `--`: a folder that holds this checkout as `armwright`. Start it with `--enable-event-simulate`.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import time
import traceback
from collections.abc import Iterator
from typing import Any

import bpy
from mathutils import Euler, Vector

sys.dont_write_bytecode = True
sys.path.insert(0, sys.argv[sys.argv.index("--") + 1])
OUTCOME: dict[str, Any] = {}
# Of the view: what it looks at, from how far, and the turns of its camera.
LOOKS_AT, DISTANCE, TURNS = (0.0, -0.1, 1.1), 4.2, (1.35, 0.0, 0.55)
# Of the action, the frames on the ladder: each is drawn, which takes a software display half a second.
FIRST, LAST = 404, 462


def _timed() -> None:
    """Time every turn that the operators take from the window: what the window can not do anything in."""
    from armwright.addon.operators import stepping

    turns: dict[str, list[float]] = {}
    OUTCOME["turns"] = turns

    def timed(real: Any) -> Any:
        # The host counts an operator's arguments.
        def work(self: Any, context: Any, given: Any) -> Any:
            begun = time.perf_counter()
            try:
                return real(self, context, given)
            finally:
                turns.setdefault(self.bl_idname, []).append(time.perf_counter() - begun)

        return work

    steps: list[tuple[float, str]] = []
    OUTCOME["steps"] = steps

    def piece(work: Iterator[Any], *others: Any) -> Any:
        def each() -> Iterator[Any]:
            while True:
                begun = time.perf_counter()
                step = next(work)
                steps.append((time.perf_counter() - begun, getattr(step, "what", "the end")))
                yield step

        return whole(each(), *others)

    whole, stepping.piece = stepping.piece, piece
    for name in ("started", "modal"):
        setattr(stepping.Stepped, name, timed(getattr(stepping.Stepped, name)))


def _area(kind: str = "VIEW_3D") -> Any:
    return next(area for area in bpy.context.window_manager.windows[0].screen.areas if area.type == kind)


def _override() -> Any:
    area = _area()
    region = next(region for region in area.regions if region.type == "WINDOW")
    return bpy.context.temp_override(window=bpy.context.window_manager.windows[0], area=area, region=region)


def _runs(operator: str) -> bool:
    window = bpy.context.window_manager.windows[0]
    return any(item.bl_idname == f"ARMWRIGHT_OT_{operator}" for item in window.modal_operators)


def _keys() -> list[tuple[str, int, int]]:
    from armwright.addon.convert_write import curve_bag

    curves = curve_bag(bpy.data.objects[OUTCOME["rig"]]).fcurves
    return sorted((curve.data_path, curve.array_index, len(curve.keyframe_points)) for curve in curves)


def _set_up() -> None:
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    import armwright
    from armwright.addon import convert, registration, subjects
    from armwright.demo_blend_scripts import scene

    armwright.register()
    _timed()
    made = scene.build_scene()
    armature = made.character.armature
    OUTCOME["rig"] = armature.name
    subject = subjects.subject_of(armature)
    # As recorded: nothing but FK, keyed on every frame.
    convert.convert_whole(subject, convert.Request(subject.arms, "none", FIRST, LAST))
    action = armature.animation_data.action
    action.use_frame_range, action.frame_start, action.frame_end = True, FIRST, LAST
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = FIRST, LAST
    # One panel is looked at: the others would push it off the window.
    for kind in registration.CLASSES:
        if issubclass(kind, bpy.types.Panel) and kind.bl_label != "Study":
            bpy.utils.unregister_class(kind)
    for item in bpy.context.view_layer.objects:
        item.select_set(item is armature)
    bpy.context.view_layer.objects.active = armature
    bpy.ops.object.mode_set(mode="POSE")
    # Markers are at the bottom of a timeline that is high enough.
    edge = _area()
    with _override():
        bpy.ops.screen.area_move(x=edge.x + edge.width // 2, y=edge.y - 1, delta=90)
    view = _area().spaces.active
    view.show_region_ui = True
    view.shading.type, view.shading.color_type = "SOLID", "MATERIAL"
    seen = view.region_3d
    seen.view_perspective = "PERSP"
    seen.view_location = armature.location + Vector(LOOKS_AT)
    seen.view_rotation, seen.view_distance = Euler(TURNS).to_quaternion(), DISTANCE
    bpy.ops.ed.undo_push(message="recorded")


def _steps() -> Iterator[float]:
    """The job in parts: each yields how long to wait before the next."""
    _set_up()
    yield 2.0
    regions = {region.type: region for region in _area().regions}
    regions["UI"].active_panel_category = "Armwright"
    manager = bpy.context.window_manager
    state, window = manager.armwright_study, manager.windows[0]
    with _override():
        OUTCOME["stopped"] = sorted(bpy.ops.armwright.run_study("INVOKE_DEFAULT"))
    yield 0.3
    window.event_simulate(type="ESC", value="PRESS")
    window.event_simulate(type="ESC", value="RELEASE")
    yield 1.0
    OUTCOME["esc_stops_the_study"] = len(state.phases) == 0 and not _runs("run_study")
    with _override():
        bpy.ops.armwright.run_study("INVOKE_DEFAULT")
    for _ in range(600):
        yield 0.2
        if not _runs("run_study"):
            break
    OUTCOME["phases"] = [f"{line.words} {line.first}-{line.last}" for line in state.phases if line.holdable]
    OUTCOME["figures"] = [state.reach, state.torso]
    yield 0.5
    with _override():
        bpy.ops.armwright.mark_phases("INVOKE_DEFAULT", True)
    before = _keys()
    with _override():
        bpy.ops.armwright.hold_phases("INVOKE_DEFAULT", True)
    yield 0.5
    window.event_simulate(type="ESC", value="PRESS")
    window.event_simulate(type="ESC", value="RELEASE")
    yield 1.5
    OUTCOME["esc_takes_the_hold_back"] = _keys() == before
    with _override():
        bpy.ops.armwright.hold_phases("INVOKE_DEFAULT", True)
    for _ in range(400):
        yield 0.2
        if not _runs("hold_phases"):
            break
    OUTCOME["held"] = _keys() != before
    yield 1.0
    with _override():
        bpy.ops.ed.undo()
    yield 0.5
    OUTCOME["one_undo_takes_it_back"] = _keys() == before
    OUTCOME["the_list_outlives_undo"] = len(state.phases) > 0
    marks = len(bpy.context.scene.timeline_markers)
    OUTCOME["marks"] = marks
    place = next(place for place, line in enumerate(state.phases) if line.holdable)
    state.active = place
    OUTCOME["click_jumps"] = bpy.context.scene.frame_current == state.phases[place].first
    for line in state.phases:
        line.ticked = line.holdable
    _area().tag_redraw()
    timeline = _area("DOPESHEET_EDITOR")
    region = next(region for region in timeline.regions if region.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=timeline, region=region):
        bpy.ops.action.view_all()
    yield 3.0


def _run(steps: Iterator[float]) -> float | None:
    try:
        return next(steps)
    except StopIteration:
        pass
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
    turns = OUTCOME.pop("turns", {})
    OUTCOME["longest_turn_s"] = {name: [round(max(times), 4), len(times)] for name, times in turns.items()}
    OUTCOME["longest_steps_s"] = [(round(taken, 4), what) for taken, what in sorted(OUTCOME.pop("steps", []))[-6:]]
    print("OUTCOME " + json.dumps(OUTCOME), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()
    return None


JOB = _steps()
bpy.app.timers.register(lambda: _run(JOB), first_interval=1.5)
