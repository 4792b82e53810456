"""Pictures of the demo, rendered on the CPU; and the rig view, with the controls drawn as thin tubes in their hues."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..core.errors import HostError
from .character import Character

WIDTH, HEIGHT = 640, 480
SAMPLES = 8
WIRE = 0.0042
BONE_WIRE = 0.0055

Point = tuple[float, float, float]


@dataclass(frozen=True)
class Shot:
    """One picture: the frame it shows, the camera's place, what it looks at, its lens in millimetres."""

    name: str
    frame: int
    place: Point
    looks_at: Point
    lens: float
    rig: bool = False


SHOTS = (
    Shot("lean", 84, (-1.30, -3.00, 1.50), (0.0, -0.08, 1.10), 50.0),
    Shot("swing", 53, (-2.75, -1.75, 1.45), (0.02, 0.05, 1.04), 46.0),
    Shot("grab", 158, (-1.75, -2.60, 1.72), (-0.08, -0.05, 1.12), 52.0),
    Shot("shrug", 182, (-0.55, -3.20, 1.60), (0.02, -0.05, 1.16), 54.0),
    Shot("climb", 347, (0.45, -2.0, 2.2), (-1.08, 0.8, 1.52), 46.0),
    Shot("sill", 536, (1.45, 0.22, 1.85), (0.0, 0.38, 1.08), 27.0),
    Shot("rig", 84, (-1.30, -3.00, 1.50), (0.0, -0.08, 1.10), 50.0, rig=True),
)


def render_pictures(
    character: Character,
    set_pieces: Sequence[bpy.types.Object],
    folder: Path,
    shots: Sequence[Shot] = SHOTS,
    size: tuple[int, int] = (WIDTH, HEIGHT),
    samples: int = SAMPLES,
) -> list[Path]:
    """Render the shots as PNG files into `folder`, in order.

    Frame and materials are as before afterwards; render settings and cameras stay.

    `set_pieces` (all but the rail) are left out of rig views. Raises HostError if the host writes no picture.
    """
    scene = bpy.context.scene
    folder.mkdir(parents=True, exist_ok=True)
    frame, camera, filepath = scene.frame_current, scene.camera, scene.render.filepath
    _set_up(scene, size, samples)
    written = []
    try:
        for shot in shots:
            scene.frame_set(shot.frame)
            scene.camera = _camera(shot)
            path = folder / f"{shot.name}.png"
            scene.render.filepath = str(path)
            if shot.rig:
                with rig_view(character, set_pieces):
                    bpy.ops.render.render(write_still=True)
            else:
                bpy.ops.render.render(write_still=True)
            if not path.is_file():
                raise HostError(f"the host wrote no picture {str(path)!r}: is the folder writable, is the disk full?")
            written.append(path)
    finally:
        scene.frame_set(frame)
        scene.camera, scene.render.filepath = camera, filepath
    return written


def _set_up(scene: bpy.types.Scene, size: tuple[int, int], samples: int) -> None:
    scene.render.engine = "CYCLES"
    scene.render.resolution_x, scene.render.resolution_y = size
    scene.render.resolution_percentage = 100
    scene.render.image_settings.file_format = "PNG"
    cycles = scene.cycles
    cycles.device, cycles.samples, cycles.seed = "CPU", samples, 1
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 4, 2, 2
    cycles.caustics_reflective = cycles.caustics_refractive = False
    try:
        cycles.denoiser = "OPENIMAGEDENOISE"
        cycles.use_denoising = True
    except TypeError:
        # A host built without the denoiser does not know the word: its pictures are grainier.
        cycles.use_denoising = False
    scene.view_settings.view_transform = "AgX"
    scene.view_settings.look = "AgX - Medium High Contrast"
    scene.view_settings.exposure = -0.15


def _camera(shot: Shot) -> bpy.types.Object:
    """The shot's camera; it stays in the file."""
    name = f"camera.{shot.name}"
    made = bpy.data.objects.get(name)
    if made is None:
        made = bpy.data.objects.new(name, bpy.data.cameras.new(name))
        bpy.context.scene.collection.objects.link(made)
    made.data.lens = shot.lens
    made.location = shot.place
    made.rotation_euler = (Vector(shot.looks_at) - Vector(shot.place)).to_track_quat("-Z", "Y").to_euler()
    return made


@contextmanager
def rig_view(character: Character, set_pieces: Sequence[bpy.types.Object]) -> Iterator[None]:
    """The character see-through, controls and skin bones drawn at the current frame, the set hidden; all undone."""
    scene = bpy.context.scene
    ghost, world, before = _ghost(), bpy.data.worlds.new("rig view"), scene.world
    world.use_nodes = True
    background = next(node for node in world.node_tree.nodes if node.type == "BACKGROUND")
    background.inputs["Color"].default_value = (0.035, 0.045, 0.06, 1.0)
    hidden = [item for item in set_pieces if not item.hide_render]
    drawn: list[bpy.types.Object] = []
    try:
        scene.world = world
        for item in hidden:
            item.hide_render = True
        for mesh in character.meshes:
            for slot in mesh.material_slots:
                slot.link, slot.material = "OBJECT", ghost
        for colour, lines in control_lines(character.armature).items():
            drawn.append(_tubes(lines, colour, WIRE))
        drawn.append(_tubes(skin_lines(character.armature), (0.75, 0.78, 0.82), BONE_WIRE))
        yield
    finally:
        for item in drawn:
            curve, paint = item.data, item.data.materials[0]
            bpy.data.objects.remove(item)
            bpy.data.curves.remove(curve)
            bpy.data.materials.remove(paint)
        for mesh in character.meshes:
            for slot in mesh.material_slots:
                slot.material, slot.link = None, "DATA"
        for item in hidden:
            item.hide_render = False
        scene.world = before
        bpy.data.worlds.remove(world)
        bpy.data.materials.remove(ghost)


def control_lines(armature: bpy.types.Object) -> dict[Point, list[list[Vector]]]:
    """World-space polylines of every visible control at the current frame, by the colour that the bone shows."""
    out: dict[Point, list[list[Vector]]] = {}
    for pose in armature.pose.bones:
        if pose.custom_shape is None or not any(group.is_visible for group in pose.bone.collections):
            continue
        at = pose.custom_shape_transform or pose
        place = (
            armature.matrix_world
            @ at.matrix
            @ Matrix.Translation(pose.custom_shape_translation)
            @ pose.custom_shape_rotation_euler.to_matrix().to_4x4()
            @ Matrix.Diagonal((*pose.custom_shape_scale_xyz, 1.0))
        )
        colour = tuple(float(value) for value in pose.color.custom.normal)
        out.setdefault(colour, []).extend(_chains(pose.custom_shape.data, place))
    return out


def skin_lines(armature: bpy.types.Object) -> list[list[Vector]]:
    """World-space lines from head to tail of the bones that carry skin, but for the root's, on the floor."""
    return [
        [armature.matrix_world @ pose.head, armature.matrix_world @ pose.tail]
        for pose in armature.pose.bones
        if pose.bone.use_deform and pose.parent is not None
    ]


def _chains(mesh: bpy.types.Mesh, place: Matrix) -> list[list[Vector]]:
    """The mesh's edges as polylines: consecutive edges that share a vertex are one line."""
    lines: list[list[int]] = []
    for edge in mesh.edges:
        first, second = sorted(edge.vertices)
        if lines and lines[-1][-1] == first:
            lines[-1].append(second)
        else:
            lines.append([first, second])
    return [[place @ mesh.vertices[index].co for index in line] for line in lines]


def _tubes(lines: Sequence[Sequence[Vector]], colour: Sequence[float], radius: float) -> bpy.types.Object:
    curve = bpy.data.curves.new("rig view", "CURVE")
    curve.dimensions, curve.bevel_depth, curve.bevel_resolution = "3D", radius, 1
    curve.use_fill_caps = True
    for line in lines:
        spline = curve.splines.new("POLY")
        spline.points.add(len(line) - 1)
        spline.points.foreach_set("co", np.array([(*point, 1.0) for point in line], np.float32).ravel())
    curve.materials.append(_light("rig view", colour))
    made = bpy.data.objects.new("rig view", curve)
    bpy.context.scene.collection.objects.link(made)
    return made


def _light(name: str, colour: Sequence[float]) -> bpy.types.Material:
    """A material that shows its colour in any light."""
    made = bpy.data.materials.new(name)
    made.use_nodes = True
    tree = made.node_tree
    tree.nodes.clear()
    glow, out = tree.nodes.new("ShaderNodeEmission"), tree.nodes.new("ShaderNodeOutputMaterial")
    glow.inputs["Color"].default_value = (*colour, 1.0)
    glow.inputs["Strength"].default_value = 1.3
    tree.links.new(glow.outputs[0], out.inputs["Surface"])
    return made


def _ghost() -> bpy.types.Material:
    """See-through; its rim is denser than its middle, and its far side does not show."""
    made = bpy.data.materials.new("rig view ghost")
    made.use_nodes = True
    tree = made.node_tree
    tree.nodes.clear()
    kinds = (
        "ShaderNodeBsdfTransparent",
        "ShaderNodeEmission",
        "ShaderNodeMixShader",
        "ShaderNodeOutputMaterial",
        "ShaderNodeLayerWeight",
        "ShaderNodeNewGeometry",
        "ShaderNodeMath",
        "ShaderNodeMapRange",
    )
    clear, body, mix, out, rim, side, front, density = (tree.nodes.new(kind) for kind in kinds)
    body.inputs["Color"].default_value = (0.30, 0.40, 0.50, 1.0)
    body.inputs["Strength"].default_value = 0.9
    rim.inputs["Blend"].default_value = 0.35
    density.inputs["To Min"].default_value, density.inputs["To Max"].default_value = 0.10, 0.75
    tree.links.new(rim.outputs["Facing"], density.inputs["Value"])
    # On the far side 1 is taken away, and the clamp leaves nothing.
    front.operation = "SUBTRACT"
    front.use_clamp = True
    tree.links.new(density.outputs[0], front.inputs[0])
    tree.links.new(side.outputs["Backfacing"], front.inputs[1])
    tree.links.new(front.outputs[0], mix.inputs[0])
    tree.links.new(clear.outputs[0], mix.inputs[1])
    tree.links.new(body.outputs[0], mix.inputs[2])
    tree.links.new(mix.outputs[0], out.inputs["Surface"])
    return made
