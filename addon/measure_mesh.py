"""Measures of a character's meshes."""

from __future__ import annotations

from collections.abc import Iterable

import bpy
from mathutils import Vector

from ..core.errors import HostError


def character_height(objects: Iterable[bpy.types.Object]) -> float:
    """Height of the meshes that stand in a scene, together, world space, metres. Raises HostError if there are none."""
    low, high = character_box(objects)
    return high.z - low.z


def character_foot(objects: Iterable[bpy.types.Object]) -> Vector:
    """The point under the middle of the meshes, world space. Raises HostError if there are none."""
    low, high = character_box(objects)
    return Vector(((low.x + high.x) / 2.0, (low.y + high.y) / 2.0, low.z))


def character_box(objects: Iterable[bpy.types.Object]) -> tuple[Vector, Vector]:
    """Lowest and highest corner of the meshes in scenes, world space. Raises HostError if there are none."""
    corners = [
        item.matrix_world @ Vector(corner)
        for item in objects
        if item.type == "MESH" and item.users_scene
        for corner in item.bound_box
    ]
    if not corners:
        raise HostError("there is no mesh to take the height from: select the character's mesh, or give the height")
    axes = list(zip(*corners, strict=True))
    return Vector([min(axis) for axis in axes]), Vector([max(axis) for axis in axes])
