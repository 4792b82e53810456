"""A plain skeleton, baked, in a scene of its own, and the host's exporter that writes it; nothing of it stays."""

from __future__ import annotations

import contextlib
import io
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.baked_joints import JointTrack, joint_tracks
from ..core.errors import HostError
from . import host
from .curves import new_action, write_curve

Array = NDArray[np.float64]

# Part of the whole time by which the last key may be off: single precision, and far less than a frame.
LATE = 1e-5
# The host's number of a straight line from key to key.
LINEAR = 1
# Kinds of data that a stage or the exporter may add to the file.
KINDS = ("objects", "armatures", "actions", "scenes", "meshes", "collections", "materials", "node_groups", "images")


@dataclass(frozen=True)
class Baked:
    """Joints to write.

    Attributes:
        parents: each joint's parent, "" for none, parents first.
        poses: (N, B, 4, 4), against the skeleton's origin.
        origin: (4, 4), the skeleton in the world.
        scaled: whether the joints carry scale.
    """

    parents: dict[str, str]
    poses: Array
    origin: Array
    scaled: bool


def has_exporter() -> bool:
    """Whether the host's glTF exporter is switched on."""
    exporter: Any = bpy.ops.export_scene.gltf
    try:
        exporter.get_rna_type()
    except (AttributeError, KeyError):
        return False
    return True


def write(armature: bpy.types.Object, baked: Baked, meshes: Sequence[bpy.types.Object], path: Path) -> None:
    """Write `baked`, named after `armature`, and copies of `meshes` on it to `path`, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")
    animation = armature.animation_data
    named = animation.action.name if animation is not None and animation.action is not None else armature.name
    try:
        with _nothing_added(), _windows_kept():
            stage = _stage(f"{armature.name} skeleton", len(baked.poses))
            skeleton = _skeleton(armature, baked, stage)
            for mesh in meshes:
                _add_mesh(mesh, armature, skeleton, stage)
            layer = stage.view_layers[0]
            layer.update()
            apply = not any(mesh.data.shape_keys for mesh in meshes)
            with bpy.context.temp_override(scene=stage, view_layer=layer, active_object=skeleton, object=skeleton):
                _export(part, named, apply=apply)
                base = stage.render.fps_base
                last = stage.frame_end * base / stage.render.fps
                if abs(_last_time(part) - last) > LATE * last:
                    # Hosts up to 5.2 multiply by what they should divide by, at rates such as 30 / 1.001.
                    stage.render.fps_base = 1.0 / base
                    _export(part, named, apply=apply)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _stage(named: str, frames: int) -> bpy.types.Scene:
    """An empty scene at the rate of the current one, from frame 0 on."""
    shown = bpy.context.scene
    stage = bpy.data.scenes.new(named)
    stage.render.fps, stage.render.fps_base = shown.render.fps, shown.render.fps_base
    stage.frame_start, stage.frame_end = 0, max(frames - 1, 0)
    stage.frame_current = 0
    return stage


def _skeleton(armature: bpy.types.Object, baked: Baked, stage: bpy.types.Scene) -> bpy.types.Object:
    """The joints as bones of their own, where and named as in `armature`, with an action from frame 0 on."""
    name = f"{armature.name} skeleton"
    data = bpy.data.armatures.new(name)
    skeleton = bpy.data.objects.new(name, data)
    stage.collection.objects.link(skeleton)
    layer = stage.view_layers[0]
    layer.objects.active = skeleton
    skeleton.select_set(True, view_layer=layer)
    layer.update()
    with bpy.context.temp_override(
        scene=stage, view_layer=layer, active_object=skeleton, object=skeleton, selected_objects=[skeleton]
    ):
        bpy.ops.object.mode_set(mode="EDIT")
        for bone, parent in baked.parents.items():
            source = armature.data.bones[bone]
            made = data.edit_bones.new(bone)
            made.head, made.tail = (0.0, 0.0, 0.0), (0.0, source.length, 0.0)
            made.matrix = source.matrix_local
            made.length = source.length
            made.parent = data.edit_bones[parent] if parent else None
            made.use_deform = True
        # See `host.leave_mode`: one host can crash while it evaluates the pose of new bones.
        data.pose_position = "REST"
        bpy.ops.object.mode_set(mode="OBJECT")
        data.pose_position = "POSE"
    skeleton.matrix_world = host.numpy_to_matrix(baked.origin)
    for bone in baked.parents:
        skeleton.pose.bones[bone].rotation_mode = "QUATERNION"
    numbers = {bone: place for place, bone in enumerate(baked.parents)}
    rests = np.array([host.rest_in_parent(data.bones[bone]) for bone in baked.parents])
    parents = [numbers.get(parent, -1) for parent in baked.parents.values()]
    tracks = joint_tracks(baked.poses, rests, parents, scaled=baked.scaled)
    _, curves = new_action(skeleton, name)
    for bone, track in zip(baked.parents, tracks, strict=True):
        _write(curves, bone, track)
    return skeleton


def _write(curves: Any, bone: str, track: JointTrack) -> None:
    path = f'pose.bones["{bpy.utils.escape_identifier(bone)}"]'
    frames = np.arange(len(track.location))
    for channel, values in (
        ("location", track.location),
        ("rotation_quaternion", track.rotation),
        ("scale", track.scale),
    ):
        for index, column in enumerate(values.T):
            write_curve(curves, f"{path}.{channel}", index, frames, column)
            # Other programs show what lies between two frames as well; a stepped curve would jerk there.
            points = curves.find(f"{path}.{channel}", index=index).keyframe_points
            points.foreach_set("interpolation", np.full(len(points), LINEAR, np.int32))


def _add_mesh(
    mesh: bpy.types.Object, armature: bpy.types.Object, skeleton: bpy.types.Object, stage: bpy.types.Scene
) -> None:
    """A copy of `mesh` that the skeleton moves, with its weights, where it stands now."""
    place = mesh.matrix_world.copy()
    copy = mesh.copy()
    copy.name = f"{mesh.name} skin"
    copy.animation_data_clear()
    copy.constraints.clear()
    for entry in copy.modifiers:
        if entry.type == "ARMATURE" and entry.object == armature:
            entry.object = skeleton
    stage.collection.objects.link(copy)
    copy.hide_viewport = copy.hide_render = False
    copy.parent = skeleton
    copy.parent_type = "OBJECT"
    copy.matrix_parent_inverse = skeleton.matrix_world.inverted()
    copy.matrix_world = place


def _export(path: Path, named: str, *, apply: bool) -> None:
    """The host's exporter, told to keep every frame as it is: its own thrift drops channels that move by 1e-4."""
    said = io.StringIO()
    try:
        with contextlib.redirect_stdout(said):
            bpy.ops.export_scene.gltf(
                filepath=str(path),
                check_existing=False,
                export_format="GLB",
                use_active_scene=True,
                export_yup=True,
                export_apply=apply,
                export_animations=True,
                export_animation_mode="ACTIVE_ACTIONS",
                export_nla_strips_merged_animation_name=named,
                # Otherwise host 4.2 adds what moves the armature itself, at other times.
                export_anim_single_armature=False,
                export_force_sampling=True,
                export_frame_step=1,
                export_frame_range=False,
                export_optimize_animation_size=False,
                export_anim_slide_to_zero=False,
                export_rest_position_armature=True,
                export_skins=True,
                export_all_influences=True,
                export_morph=True,
                export_morph_animation=False,
                export_draco_mesh_compression_enable=False,
                export_cameras=False,
                export_lights=False,
                export_extras=False,
                will_save_settings=False,
            )
    except RuntimeError as problem:
        reason = str(problem).strip().splitlines()[-1].removeprefix("Error: ")
        raise HostError(f"the host's exporter could not write {path.name!r}: {reason}") from problem
    if not path.is_file():
        raise HostError(f"the host's exporter wrote nothing to {path.name!r}")


def _last_time(path: Path) -> float:
    """The time of the last key in a .glb, seconds (glTF 2.0, 4.4 "GLB File Format": the first chunk is JSON)."""
    with path.open("rb") as file:
        size = int.from_bytes(file.read(20)[12:16], "little")
        content = json.loads(file.read(size))
    inputs = {sampler["input"] for item in content.get("animations", ()) for sampler in item["samplers"]}
    return max((content["accessors"][number]["max"][0] for number in inputs), default=0.0)


@contextmanager
def _nothing_added() -> Iterator[None]:
    """Whatever was added to the file meanwhile is taken out again."""
    before = {kind: {item.session_uid for item in getattr(bpy.data, kind)} for kind in KINDS}
    try:
        yield
    finally:
        for kind in KINDS:
            for item in [item for item in getattr(bpy.data, kind) if item.session_uid not in before[kind]]:
                getattr(bpy.data, kind).remove(item)


@contextmanager
def _windows_kept() -> Iterator[None]:
    """What each window shows, as before afterwards: the exporter leaves its scene in the window."""
    windows = [(window, window.scene, window.view_layer) for window in bpy.context.window_manager.windows]
    try:
        yield
    finally:
        for window, scene, layer in windows:
            if window.scene != scene:
                window.scene = scene
            if window.view_layer != layer:
                window.view_layer = layer
