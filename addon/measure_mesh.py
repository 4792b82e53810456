"""Measures of a character's meshes."""

from __future__ import annotations

from collections.abc import Iterable

import bpy
from mathutils import Vector

from ..core.errors import HostError


def character_height(objects: Iterable[bpy.types.Object]) -> float:
    """Height of the visible meshes together, world space, metres. Raises HostError if there are none."""
    heights = [
        (item.matrix_world @ Vector(corner)).z
        for item in objects
        if item.type == "MESH" and item.users_scene
        for corner in item.bound_box
    ]
    if not heights:
        raise HostError("there is no mesh to take the height from: give --stature or --guide")
    return max(heights) - min(heights)
