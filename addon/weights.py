"""Vertex weights of a mesh object as arrays, in and out; and what a group held before, kept beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from . import host

Weights = NDArray[np.float32]

# Ending of the group that keeps what another one held before; no bone has its name, so that it moves nothing.
KEPT = ".kept"


@dataclass(frozen=True)
class GroupsSnapshot:
    """Names, locks and members with their weights of all groups, in order, and the active group's index."""

    names: tuple[str, ...]
    locks: tuple[bool, ...]
    members: tuple[tuple[NDArray[np.int64], Weights], ...]
    active: int


def snapshot(item: bpy.types.Object) -> GroupsSnapshot:
    """All vertex groups of a mesh object as they are."""
    groups = item.vertex_groups
    indices: list[list[int]] = [[] for _ in groups]
    values: list[list[float]] = [[] for _ in groups]
    for vertex in item.data.vertices:
        for entry in vertex.groups:
            # A weight can outlive its group.
            if entry.group < len(indices):
                indices[entry.group].append(vertex.index)
                values[entry.group].append(entry.weight)
    return GroupsSnapshot(
        tuple(group.name for group in groups),
        tuple(group.lock_weight for group in groups),
        tuple(
            (np.array(where, np.int64), np.array(what, np.float32)) for where, what in zip(indices, values, strict=True)
        ),
        groups.active_index,
    )


def restore(item: bpy.types.Object, before: GroupsSnapshot) -> None:
    """All vertex groups as `before`."""
    item.vertex_groups.clear()
    for name, lock, (where, what) in zip(before.names, before.locks, before.members, strict=True):
        group = item.vertex_groups.new(name=name)
        _add(group, where, what)
        group.lock_weight = lock
    if before.names:
        item.vertex_groups.active_index = before.active


def dense(item: bpy.types.Object, before: GroupsSnapshot) -> dict[str, Weights]:
    """Weights (V,) of each group by name; 0 where a vertex is not in it."""
    out = {}
    for name, (where, what) in zip(before.names, before.members, strict=True):
        out[name] = np.zeros(len(item.data.vertices), np.float32)
        out[name][where] = what
    return out


def points(item: bpy.types.Object) -> NDArray[np.float64]:
    """Vertices (V, 3) of the mesh itself, without its modifiers, world space."""
    flat = np.zeros(3 * len(item.data.vertices), np.float32)
    item.data.vertices.foreach_get("co", flat)
    world = host.matrix_to_numpy(item.matrix_world)
    return np.asarray(flat.reshape(-1, 3).astype(float) @ world[:3, :3].T + world[:3, 3])


def write(item: bpy.types.Object, weights: Mapping[str, Weights], before: GroupsSnapshot) -> None:
    """Let the groups named in `weights` (V,) hold exactly these, without members of weight 0.

    What a group held before stays in a group named after it, if it held any weight; the group itself stays too.
    """
    bones = _bone_names(item)
    held = dense(item, before)
    everyone = list(range(len(item.data.vertices)))
    for name, values in weights.items():
        group = item.vertex_groups.get(name) or item.vertex_groups.new(name=name)
        if name in held and held[name].any() and not np.array_equal(held[name], values):
            kept = item.vertex_groups.new(name=_kept_name(name, bones))
            where = np.flatnonzero(held[name])
            _add(kept, where, held[name][where])
            kept.lock_weight = True
        group.remove(everyone)
        where = np.flatnonzero(values)
        _add(group, where, values[where])
    if before.names:
        item.vertex_groups.active_index = before.active


def movers(item: bpy.types.Object) -> list[bpy.types.ArmatureModifier]:
    """The modifiers by which armatures move a mesh object."""
    return [entry for entry in item.modifiers if isinstance(entry, bpy.types.ArmatureModifier)]


def _bone_names(item: bpy.types.Object) -> set[str]:
    armatures = [entry.object for entry in movers(item) if entry.object is not None]
    return {bone.name for armature in armatures for bone in armature.data.bones}


def _kept_name(name: str, bones: set[str]) -> str:
    # The host keeps a name in 63 bytes.
    kept = name.encode()[: 63 - 8].decode(errors="ignore") + KEPT
    while kept in bones:
        kept += "_"
    return kept


def _add(group: bpy.types.VertexGroup, where: NDArray[np.int64], what: Weights) -> None:
    if not len(where):
        return
    # One call for all vertices of a weight: most of a group's are 1, and a call for each would be slow.
    values, places = np.unique(what, return_inverse=True)
    order = np.argsort(places, kind="stable")
    for value, part in zip(values, np.split(where[order], np.cumsum(np.bincount(places))[:-1]), strict=True):
        group.add(part.tolist(), float(value), "REPLACE")
