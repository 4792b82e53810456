"""Runs in the full graphical host: the pictures of the README and of docs/howto, from the installed zip.

Arguments after `--`: the zip that `dev.py package` writes, the folder that `dev.py demo` writes, and the picture:

    install   the host's preferences, with the extension installed from disk
    place     Wren's meshes with markers on their joints
    build     arms, built from these markers, and what the sidebar then has
    proof     a proof of these arms, run in the window to its end
    hold      the demo: an elbow held in the rail, the other arm swings
    ladder    the demo: a hand on a rung
    sill      the demo: both hands roll off the sill

Nothing is asked of a network.
"""

from __future__ import annotations

import os
import pathlib
import sys
import traceback
from collections.abc import Iterator
from typing import Any

import bpy
from mathutils import Vector

ZIP, DEMO, PICTURE = sys.argv[sys.argv.index("--") + 1 :][:3]
MODULE = "bl_ext.user_default.armwright"
# Panels that are open in each picture; the others are folded.
OPEN = {
    "place": ("Make arms",),
    "build": ("Make arms",),
    "proof": ("Proof",),
    "hold": ("Arms",),
    "ladder": ("Arms",),
    "sill": ("Dials",),
}
# Where the view stands and what it looks at, metres, and the frame.
VIEWS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float], int]] = {
    "place": ((0.17, -2.5, 1.2), (0.25, 0.0, 0.95), 1),
    "build": ((0.17, -2.5, 1.2), (0.25, 0.0, 0.95), 1),
    "proof": ((0.17, -2.5, 1.2), (0.25, 0.0, 0.95), 1),
    "hold": ((-0.85, -2.15, 1.45), (0.25, -0.08, 1.05), 84),
    "ladder": ((0.15, -0.95, 2.0), (-0.72, 0.75, 1.45), 335),
    "sill": ((1.35, 0.22, 1.75), (0.0, 0.48, 1.10), 560),
}
RAIL = "lighthouse.rail"
JOINTS = {"clavicle": "clavicle", "shoulder": "upper_arm", "elbow": "forearm", "wrist": "hand"}
BODY = ("Wren.body", "Wren.coat", "Wren.gloves")


def _area(kind: str = "VIEW_3D") -> Any:
    return next(area for area in bpy.context.window_manager.windows[0].screen.areas if area.type == kind)


def _override() -> Any:
    area = _area()
    region = next(region for region in area.regions if region.type == "WINDOW")
    return bpy.context.temp_override(window=bpy.context.window_manager.windows[0], area=area, region=region)


def _install() -> None:
    bpy.ops.extensions.package_install_files(filepath=ZIP, repo="user_default", enable_on_install=True)
    if MODULE not in bpy.context.preferences.addons:
        raise RuntimeError(f"{ZIP} was not enabled")


def _open_panels(names: tuple[str, ...]) -> None:
    """Fold the panels that the picture is not about; before the sidebar is drawn for the first time."""
    registration = sys.modules[f"{MODULE}.addon.registration"]
    panels = [kind for kind in registration.CLASSES if issubclass(kind, bpy.types.Panel)]
    for kind in panels:
        bpy.utils.unregister_class(kind)
    for kind in panels:
        kind.bl_options = set() if kind.bl_label in names else {"DEFAULT_CLOSED"}
        bpy.utils.register_class(kind)


def _preferences() -> Iterator[float]:
    bpy.context.preferences.active_section = "EXTENSIONS"
    # Otherwise the page is about going online.
    bpy.context.preferences.extensions.use_online_access_handled = True
    for repository in bpy.context.preferences.extensions.repos:
        repository.enabled = repository.module == "user_default"
    bpy.context.window_manager.extension_search = "armwright"
    area = _area()
    area.type = "PREFERENCES"
    yield 1.0
    with bpy.context.temp_override(window=bpy.context.window_manager.windows[0], area=area):
        bpy.ops.screen.screen_full_area()
        bpy.ops.extensions.package_show_set("EXEC_DEFAULT", pkg_id="armwright", repo_index=_repository())
    yield 1.0


def _repository() -> int:
    repositories = bpy.context.preferences.extensions.repos
    return next(index for index, item in enumerate(repositories) if item.module == "user_default")


def _look() -> None:
    """The whole window is the viewport; the sidebar shows Armwright."""
    stands, looks_at, frame = (*map(Vector, VIEWS[PICTURE][:2]), VIEWS[PICTURE][2])
    bpy.context.scene.frame_set(frame)
    view = _area().spaces.active
    view.show_region_ui, view.show_region_toolbar, view.show_gizmo_navigate = True, False, False
    view.overlay.show_floor = view.overlay.show_axis_x = view.overlay.show_axis_y = False
    view.shading.type, view.shading.color_type = "SOLID", "MATERIAL"
    seen = view.region_3d
    seen.view_perspective = "PERSP"
    seen.view_location, seen.view_distance = looks_at, (stands - looks_at).length
    seen.view_rotation = (stands - looks_at).to_track_quat("Z", "Y")
    with _override():
        bpy.ops.screen.screen_full_area()


def _show_sidebar() -> None:
    area = _area()
    sidebar = next(region for region in area.regions if region.type == "UI")
    sidebar.active_panel_category = "Armwright"
    area.tag_redraw()


def _only_meshes() -> dict[str, Any]:
    """Wren as a modeller hands him over: meshes, no armature; nothing else in the file. Where his joints really are."""
    rig = bpy.data.objects["Wren"]
    joints = {part: rig.data.bones[f"fk.{bone}.R"].head_local.copy() for part, bone in JOINTS.items()}
    for item in list(bpy.data.objects):
        if item.name not in BODY:
            bpy.data.objects.remove(item)
    for name in BODY:
        item = bpy.data.objects[name]
        place = item.matrix_world.copy()
        item.parent, item.matrix_world = None, place
        item.modifiers.clear()
        item.vertex_groups.clear()
        item.location.xy = (0.0, 0.0)
        item.select_set(True)
    bpy.context.view_layer.objects.active = bpy.data.objects[BODY[0]]
    return joints


def _arms() -> Iterator[float]:
    """The rigger's way as far as the picture goes: markers, build, proof."""
    joints = _only_meshes()
    yield 0.5
    with _override():
        bpy.ops.armwright.read_joints()
    yield 0.5
    if PICTURE == "place":
        return
    # The clothes hide the joints: the rigger moves the markers of one side, and the other side follows.
    for part, place in joints.items():
        bpy.data.objects[f"{part}.R"].location = place
        yield 0.3
    bpy.data.objects["hand_end.R"].location.z += 1e-4
    yield 0.3
    with _override():
        bpy.ops.armwright.build_arms()
        for item in bpy.data.objects:
            item.select_set(item.name in BODY)
        bpy.ops.armwright.bind_skin(way="auto")
        for item in bpy.data.objects:
            item.select_set(False)
            item.hide_set(item.type == "EMPTY")
    armature = bpy.context.scene.armwright_build.armature
    bpy.context.view_layer.objects.active = armature
    with _override():
        bpy.ops.object.mode_set(mode="POSE")
    yield 0.5
    if PICTURE == "proof":
        with _override():
            bpy.ops.armwright.run_proof("INVOKE_DEFAULT")
        state = bpy.context.window_manager.armwright_proof
        while True:
            yield 1.0
            if not state.running:
                break


def _act(rig: Any) -> None:
    """What the animator did last, on this frame and without keys."""
    window, area = bpy.context.window_manager.windows[0], _area()
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = False
    chosen = {"hold": "hold.elbow.L", "ladder": "hold.hand.R", "sill": "hold.hand.L"}[PICTURE]
    for item in bpy.context.view_layer.objects:
        item.select_set(item is rig or (PICTURE == "hold" and item.name == RAIL))
    region = next(region for region in area.regions if region.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        if PICTURE == "hold":
            bpy.ops.armwright.grab("EXEC_DEFAULT", arm="L", parts="elbow")
            bpy.data.objects[RAIL].select_set(False)
        for bone in rig.pose.bones:
            bone.select = bone.name == chosen
        rig.data.bones.active = rig.data.bones[chosen]


def _steps() -> Iterator[float]:
    _install()
    if PICTURE == "install":
        yield from _preferences()
        return
    _open_panels(OPEN[PICTURE])
    with_arms = PICTURE in ("hold", "ladder", "sill")
    bpy.ops.wm.open_mainfile(filepath=str(pathlib.Path(DEMO, "demo.blend" if with_arms else "keeper.blend")))
    yield 1.5
    if not with_arms:
        yield from _arms()
    else:
        rig = bpy.data.objects["Wren"]
        bpy.context.view_layer.objects.active = rig
        with _override():
            bpy.ops.object.mode_set(mode="POSE")
        _look()
        yield 1.0
        _act(rig)
    if not with_arms:
        _look()
    yield 1.5
    _show_sidebar()
    yield 2.5


def _run(steps: Iterator[float]) -> float | None:
    try:
        return next(steps)
    except StopIteration:
        pass
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()
    return None


# Opening a file takes plain timers away.
JOB = _steps()
bpy.app.timers.register(lambda: _run(JOB), first_interval=1.5, persistent=True)
