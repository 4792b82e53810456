"""Meshes out of the host, as they are shown: modifiers applied, posed, in world space."""

from __future__ import annotations

from collections.abc import Iterable

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from .host import matrix_to_numpy


def character_surface(objects: Iterable[bpy.types.Object]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices, (V, 3), world space, and triangles, (F, 3), of the meshes in the shown scene, together.

    Raises HostError if none of `objects` is one, or none has faces.
    """
    shown = bpy.context.view_layer.objects
    meshes = [item for item in objects if item.type == "MESH" and item.name in shown and item.visible_get()]
    if not meshes:
        raise HostError("there is no visible mesh in the scene: show the character's mesh, or name it")
    graph = bpy.context.evaluated_depsgraph_get()
    vertices, triangles, count = [], [], 0
    for item in meshes:
        evaluated = item.evaluated_get(graph)
        points, corners = _surface(evaluated)
        world = matrix_to_numpy(evaluated.matrix_world)
        vertices.append(points @ world[:3, :3].T + world[:3, 3])
        triangles.append(corners + count)
        count += len(points)
    if not sum(map(len, triangles)):
        raise HostError("the visible meshes have no faces: give the character's surface")
    return np.concatenate(vertices), np.concatenate(triangles)


def _surface(evaluated: bpy.types.Object) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    mesh = evaluated.to_mesh()
    try:
        mesh.calc_loop_triangles()
        points = np.zeros(3 * len(mesh.vertices), np.float32)
        mesh.vertices.foreach_get("co", points)
        corners = np.zeros(3 * len(mesh.loop_triangles), np.int32)
        mesh.loop_triangles.foreach_get("vertices", corners)
        return points.reshape(-1, 3).astype(np.float64), corners.reshape(-1, 3).astype(np.int64)
    finally:
        evaluated.to_mesh_clear()
