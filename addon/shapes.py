"""Wire shapes and colours of the controls.

Shape and hue both tell what holds a control: round and teal travels with the body, cornered and amber is held in a
space,
an open arch in violet is the shoulder.
"""

from __future__ import annotations

import math

import bpy

from ..core.arm.names import COLLECTION_WORKINGS
from ..core.plan.model import Display

HIDDEN_COLLECTIONS = frozenset({COLLECTION_WORKINGS, "Arms skin"})

Point = tuple[float, float, float]
Line = tuple[Point, ...]

# hue: normal, selected, active
HUES: dict[str, tuple[Point, Point, Point]] = {
    "body": ((0.05, 0.62, 0.60), (0.45, 0.90, 0.86), (0.80, 1.00, 0.98)),
    "held": ((0.92, 0.58, 0.08), (1.00, 0.78, 0.36), (1.00, 0.93, 0.74)),
    "shoulder": ((0.56, 0.34, 0.86), (0.76, 0.60, 0.98), (0.91, 0.84, 1.00)),
}


def _circle(radius: float, y: float = 0.0, start: float = 0.0, turn: float = 1.0, steps: int = 32) -> Line:
    angles = [2.0 * math.pi * (start + turn * step / steps) for step in range(steps + 1)]
    return tuple((radius * math.cos(angle), y, radius * math.sin(angle)) for angle in angles)


def _box(x: float, y: float, z: float) -> tuple[Line, ...]:
    def face(level: float) -> Line:
        return ((-x, level, -z), (x, level, -z), (x, level, z), (-x, level, z), (-x, level, -z))

    posts = tuple(((sx, -y, sz), (sx, y, sz)) for sx in (-x, x) for sz in (-z, z))
    return (face(-y), face(y), *posts)


def _band() -> tuple[Line, ...]:
    """Two circles around the Y axis and what joins them: seen from its end and from its side alike."""
    corners = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))
    return (_circle(1.0, -0.5), _circle(1.0, 0.5), *(((x, -0.5, z), (x, 0.5, z)) for x, z in corners))


def _star() -> tuple[Line, ...]:
    tips: tuple[Point, ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    return (*(((-x, -y, -z), (x, y, z)) for x, y, z in tips), _circle(0.45))


def _fan() -> tuple[Line, ...]:
    """Four rays in the bone's plane of X and Y, and their ends joined: an open hand's fingers."""
    ends: tuple[Point, ...] = ((-0.8, 0.75, 0.0), (-0.28, 1.0, 0.0), (0.28, 1.0, 0.0), (0.8, 0.75, 0.0))
    rays = tuple(((0.4 * x, 0.0, 0.0), (x, y, z)) for x, y, z in ends)
    return (*rays, ends, tuple(ray[0] for ray in rays))


SHAPES: dict[str, tuple[Line, ...]] = {
    "band": _band(),
    "fan": _fan(),
    "hoop": (_circle(1.0), _circle(0.94)),
    "cube": _box(0.5, 0.5, 0.5),
    "slab": _box(0.5, 0.5, 0.5),
    "star": _star(),
    "arch": (_circle(1.0, 0.12, 0.06, 0.38, 16), _circle(1.0, -0.12, 0.06, 0.38, 16)),
    "floor": (
        # The root's Y points to the character's back, its Z up.
        ((-1.0, -1.0, 0.0), (1.0, -1.0, 0.0), (1.0, 1.0, 0.0), (-1.0, 1.0, 0.0), (-1.0, -1.0, 0.0)),
        ((-0.25, -1.0, 0.0), (0.0, -1.3, 0.0), (0.25, -1.0, 0.0)),
    ),
}


def mesh_name(shape: str) -> str:
    """Name of the shape's object and mesh."""
    return f"armwright.shape.{shape}"


def shape_object(shape: str) -> bpy.types.Object:
    """The wire object of a shape; made once a file, and never linked to a scene."""
    name = mesh_name(shape)
    found = bpy.data.objects.get(name)
    if found is not None and found.library is None:
        return found
    vertices: list[Point] = []
    edges: list[tuple[int, int]] = []
    for line in SHAPES[shape]:
        start = len(vertices)
        vertices.extend(line)
        edges.extend((index, index + 1) for index in range(start, start + len(line) - 1))
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, edges, [])
    return bpy.data.objects.new(name, mesh)


def dress(pose_bone: bpy.types.PoseBone, display: Display, pose: bpy.types.bpy_prop_collection) -> None:
    """Give a control its shape and hue."""
    pose_bone.custom_shape = shape_object(display.shape)
    pose_bone.use_custom_shape_bone_size = False
    pose_bone.custom_shape_scale_xyz = display.size
    pose_bone.custom_shape_translation = display.offset
    pose_bone.custom_shape_wire_width = 2.0
    if display.at:
        pose_bone.custom_shape_transform = pose[display.at]
    normal, selected, active = HUES[display.hue]
    pose_bone.color.palette = "CUSTOM"
    pose_bone.color.custom.normal = normal
    pose_bone.color.custom.select = selected
    pose_bone.color.custom.active = active
