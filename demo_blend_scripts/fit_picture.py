"""A picture of the joints that are read from a mesh: the body half transparent, from the front and from the side.

python -m armwright.demo_blend_scripts.fit_picture BODY.blend fit.png
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..addon.read_mesh import character_surface
from ..core.fit.mesh import Fit, fit_mesh

WIDTH, HEIGHT, SAMPLES = 600, 400, 16
# Part of the stature that the picture shows, from the top down; the turn of the second view, radians.
SHOWN, TURN = 0.62, math.radians(70.0)
BODY, READ, GUESSED, BONE = (0.16, 0.20, 0.26), (0.03, 0.18, 0.9), (1.0, 0.22, 0.01), (0.02, 0.02, 0.03)
BODY_ALPHA = 0.4
JOINTS = ("clavicle", "shoulder", "elbow", "wrist", "hand_end")


def draw(path: Path, out: Path) -> Fit:
    """Read the joints of the character in the .blend at `path` and write their picture, a PNG, to `out`."""
    bpy.ops.wm.open_mainfile(filepath=str(path), load_ui=False, use_scripts=False)
    vertices, triangles = character_surface(bpy.data.objects)
    found = fit_mesh(vertices, triangles, path.stem)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    size = float(high[2] - low[2])
    for aside, turn in ((-0.23, 0.0), (0.27, TURN)):
        middle = Vector(0.5 * (low + high))
        place = (
            Matrix.Translation((aside * size, 0.0, 0.0)) @ Matrix.Rotation(turn, 4, "Z") @ Matrix.Translation(-middle)
        )
        _add_view(vertices, triangles, found, size, place)
    _light_and_camera(size)
    scene = bpy.context.scene
    scene.render.filepath = str(out)
    bpy.ops.render.render(write_still=True)
    return found


def _add_view(vertices: np.ndarray, triangles: np.ndarray, found: Fit, size: float, place: Matrix) -> None:
    mesh = bpy.data.meshes.new("body")
    mesh.from_pydata([tuple(point) for point in vertices.tolist()], [], [tuple(face) for face in triangles.tolist()])
    mesh.materials.append(_material(BODY, BODY_ALPHA))
    body = bpy.data.objects.new("body", mesh)
    body.matrix_world = place
    bpy.context.scene.collection.objects.link(body)
    guessed = {(reading.side, reading.part) for reading in found.readings if reading.guessed}
    for arm in found.guide.arms:
        chains = [[(joint, getattr(arm, joint)) for joint in JOINTS]]
        chains += [[(f"{f.name}.{k + 1}", at) for k, at in enumerate(f.joints)] for f in arm.fingers]
        for chain in chains:
            points = [place @ Vector(at) for _, at in chain]
            for (part, _), at in zip(chain, points, strict=True):
                radius = size * (0.004 if "." in part else 0.009)
                _ball(at, radius, GUESSED if (arm.side, part) in guessed else READ)
            for a, b in pairwise(points):
                _rod(a, b, 0.0022 * size)


def _ball(at: Vector, radius: float, colour: tuple[float, float, float]) -> None:
    bpy.ops.mesh.primitive_uv_sphere_add(radius=radius, location=at, segments=20, ring_count=12)
    bpy.context.object.data.materials.append(_material(colour, 1.0))


def _rod(a: Vector, b: Vector, radius: float) -> None:
    bpy.ops.mesh.primitive_cylinder_add(radius=radius, depth=(b - a).length, location=(a + b) / 2.0, vertices=10)
    bpy.context.object.rotation_euler = (b - a).to_track_quat("Z", "Y").to_euler()
    bpy.context.object.data.materials.append(_material(BONE, 1.0))


def _material(colour: tuple[float, float, float], alpha: float) -> bpy.types.Material:
    material = bpy.data.materials.new("colour")
    material.use_nodes = True
    shader = material.node_tree.nodes["Principled BSDF"]
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Alpha"].default_value = alpha
    shader.inputs["Roughness"].default_value = 1.0
    if alpha == 1.0:
        # Joints are inside: they shine, so that the body's shade does not hide them.
        shader.inputs["Emission Color"].default_value = (*colour, 1.0)
        shader.inputs["Emission Strength"].default_value = 1.0
    return material


def _light_and_camera(size: float) -> None:
    scene = bpy.context.scene
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.data.type = "ORTHO"
    camera.data.ortho_scale = SHOWN * size * WIDTH / HEIGHT
    camera.data.clip_end = 20.0 * size
    camera.location = (0.0, -5.0 * size, (0.5 - 0.5 * SHOWN + 0.02) * size)
    camera.rotation_euler = (math.pi / 2.0, 0.0, 0.0)
    sun = bpy.data.objects.new("sun", bpy.data.lights.new("sun", "SUN"))
    sun.data.energy, sun.data.angle = 2.0, 0.0
    sun.rotation_euler = (math.radians(55.0), 0.0, math.radians(-25.0))
    for item in (camera, sun):
        scene.collection.objects.link(item)
    scene.camera = camera
    scene.world = bpy.data.worlds.new("world")
    scene.world.use_nodes = True
    background = scene.world.node_tree.nodes["Background"].inputs
    background[0].default_value, background[1].default_value = (1.0, 1.0, 1.0, 1.0), 0.9
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.transparent_max_bounces, scene.cycles.use_denoising = SAMPLES, 24, True
    scene.render.resolution_x, scene.render.resolution_y = WIDTH, HEIGHT
    scene.render.image_settings.file_format, scene.render.image_settings.color_mode = "PNG", "RGB"
    scene.render.image_settings.compression = 100
    scene.view_settings.view_transform = "Standard"


def main(arguments: Sequence[str]) -> int:
    """The joints' picture; 2 for wrong arguments."""
    if len(arguments) != 2:
        print("give a .blend file with a character's mesh, and the picture to write", file=sys.stderr)
        return 2
    found = draw(Path(arguments[0]), Path(arguments[1]).resolve())
    for warning in found.warnings:
        print(f"note: {warning}")
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    os._exit(code)
