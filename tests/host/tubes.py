"""Meshes for the tests of skin: closed tubes along an arm and about the torso, with evenly spaced rings."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np


def tube(name: str, joints: Any, radius: float, steps: int = 12, around: int = 12) -> Any:
    """A closed tube (object) through `joints`, `steps` rings from each to the next, the ends tapered to a point."""
    import bpy

    joints = [np.array(joint, float) for joint in joints]
    vertices: list[Any] = []
    faces: list[tuple[int, ...]] = []
    rings = 0
    for index, (head, tail) in enumerate(itertools.pairwise(joints)):
        y = (tail - head) / np.linalg.norm(tail - head)
        x = np.cross(y, [0.0, 1.0, 0.1])
        x /= np.linalg.norm(x)
        z = np.cross(x, y)
        for step in range(steps + (index == len(joints) - 2)):
            centre = head + (tail - head) * step / steps
            for turn in np.arange(around) * 2.0 * np.pi / around:
                vertices.append(centre + radius * (np.cos(turn) * x + np.sin(turn) * z))
            rings += 1
    for ring in range(rings - 1):
        for k in range(around):
            a, b = ring * around + k, ring * around + (k + 1) % around
            faces.append((a, a + around, b + around, b))
    first = (joints[0] - joints[1]) / np.linalg.norm(joints[0] - joints[1])
    last = (joints[-1] - joints[-2]) / np.linalg.norm(joints[-1] - joints[-2])
    vertices += [joints[0] + 0.2 * radius * first, joints[-1] + 0.2 * radius * last]
    top = (rings - 1) * around
    for k in range(around):
        faces.append((rings * around, k, (k + 1) % around))
        faces.append((rings * around + 1, top + (k + 1) % around, top + k))
    data = bpy.data.meshes.new(name)
    data.from_pydata([tuple(point) for point in vertices], [], faces)
    item = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(item)
    bpy.context.view_layer.update()
    return item


def nested(name: str, joints: Any) -> Any:
    """A tube in another one: from the outer one no bone can be seen, so that no heat reaches it."""
    import bpy

    pieces = [tube("piece", joints, radius) for radius in (0.03, 0.05)]
    vertices, faces = [], []
    for piece in pieces:
        start = len(vertices)
        vertices += [tuple(vertex.co) for vertex in piece.data.vertices]
        faces += [tuple(start + index for index in face.vertices) for face in piece.data.polygons]
        bpy.data.meshes.remove(piece.data)
    data = bpy.data.meshes.new(name)
    data.from_pydata(vertices, [], faces)
    item = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(item)
    bpy.context.view_layer.update()
    return item


def joints_of(armature: Any, side: str) -> tuple[Any, ...]:
    """Shoulder, elbow, wrist and the hand's end at rest, armature space."""
    bones = armature.data.bones
    heads = [np.array(bones[f"skin.{part}.{side}"].head_local) for part in ("upper_arm", "forearm", "hand")]
    return (*heads, np.array(bones[f"skin.hand.{side}"].tail_local))


def groups(item: Any) -> dict[str, np.ndarray]:
    """Weights (V,) by group."""
    out = {group.name: np.zeros(len(item.data.vertices)) for group in item.vertex_groups}
    names = [group.name for group in item.vertex_groups]
    for vertex in item.data.vertices:
        for entry in vertex.groups:
            out[names[entry.group]][vertex.index] = entry.weight
    return out


def evaluated(item: Any) -> np.ndarray:
    """Vertices (V, 3) as moved by the modifiers, world space."""
    import bpy

    bpy.context.view_layer.update()
    shown = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = shown.to_mesh()
    flat = np.zeros(3 * len(mesh.vertices), np.float32)
    mesh.vertices.foreach_get("co", flat)
    shown.to_mesh_clear()
    world = np.array(shown.matrix_world)
    return flat.reshape(-1, 3).astype(float) @ world[:3, :3].T + world[:3, 3]


def skin_state(item: Any) -> Any:
    """Everything that binding may change on a mesh object, as data that compares."""
    return (
        [(group.name, group.lock_weight) for group in item.vertex_groups],
        [[(entry.group, entry.weight) for entry in vertex.groups] for vertex in item.data.vertices],
        item.vertex_groups.active_index,
        [(entry.name, entry.type, getattr(entry, "object", None)) for entry in item.modifiers],
        item.parent,
        np.array(item.matrix_world).tolist(),
        np.array(item.matrix_parent_inverse).tolist(),
        [tuple(vertex.co) for vertex in item.data.vertices],
        [key.name for key in item.data.shape_keys.key_blocks] if item.data.shape_keys else None,
    )
