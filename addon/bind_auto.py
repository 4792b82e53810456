"""The host's automatic weights, found on a copy of the mesh, so that the mesh itself is never half bound."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import BindError
from ..core.rig_record import RigRecord
from . import host, weights
from .weights import Weights

Array = NDArray[np.float64]


def automatic_weights(armature: bpy.types.Object, record: RigRecord, item: bpy.types.Object) -> dict[str, Weights]:
    """Weights (V,) of every deforming bone of the armature on a mesh object; a vertex's add up to 1.

    Raises BindError where the host leaves vertices of an arm without any.
    """
    with _stand_in(item) as copy:
        reason = ""
        chosen = [copy, armature]
        try:
            with bpy.context.temp_override(
                active_object=armature, object=armature, selected_objects=chosen, selected_editable_objects=chosen
            ):
                bpy.ops.object.parent_set(type="ARMATURE_AUTO")
        except RuntimeError as problem:
            reason = f" ({str(problem).strip().splitlines()[-1].removeprefix('Error: ')})"
        found = weights.dense(copy, weights.snapshot(copy))
    bones = [bone for bone in armature.data.bones if bone.use_deform]
    empty = np.zeros(len(item.data.vertices), np.float32)
    out = {bone.name: found.get(bone.name, empty) for bone in bones}
    total = np.sum(list(out.values()), axis=0, dtype=np.float64)
    bare = np.flatnonzero(total <= 0.0)
    # The heat's sums are up to a tenth short of 1: the host's modifier does not mind, other programs do.
    out = {name: np.asarray(values / np.where(total > 0.0, total, 1.0), np.float32) for name, values in out.items()}
    if not len(bare):
        return out
    arms = {bone.name for bone in bones} & {role.bone for role in record.roles}
    near = np.array([bone.name in arms for bone in bones])[_nearest(armature, bones, weights.points(item)[bare])]
    if near.any():
        raise BindError(
            f"the host found no weights for {int(near.sum())} of the {len(empty)} vertices of {item.name!r}, on its "
            f"arms{reason}: nothing was changed. Merge doubled vertices and close what is open there, or bind by the "
            "weights that the mesh has"
        )
    return out


@contextmanager
def _stand_in(item: bpy.types.Object) -> Iterator[bpy.types.Object]:
    """A mesh of the same vertices and faces in the same place, without anything else; gone afterwards."""
    mesh = item.data
    points = np.zeros(3 * len(mesh.vertices), np.float32)
    mesh.vertices.foreach_get("co", points)
    data = bpy.data.meshes.new("armwright.bind")
    data.from_pydata(
        points.reshape(-1, 3).tolist(),
        [tuple(edge.vertices) for edge in mesh.edges],
        [tuple(face.vertices) for face in mesh.polygons],
    )
    copy = bpy.data.objects.new("armwright.bind", data)
    try:
        bpy.context.scene.collection.objects.link(copy)
        copy.matrix_world = item.matrix_world
        bpy.context.view_layer.update()
        yield copy
    finally:
        bpy.data.objects.remove(copy)
        bpy.data.meshes.remove(data)


def _nearest(armature: bpy.types.Object, bones: list[bpy.types.Bone], points: Array) -> NDArray[np.int64]:
    """The index of the bone at rest next to each of `points` (V, 3), world space."""
    world = host.matrix_to_numpy(armature.matrix_world)
    ends = np.array([[list(bone.head_local), list(bone.tail_local)] for bone in bones]) @ world[:3, :3].T + world[:3, 3]
    best, at = np.full(len(points), np.inf), np.zeros(len(points), np.int64)
    for index, (head, tail) in enumerate(ends):
        line = tail - head
        place = np.clip((points - head) @ line / (line @ line), 0.0, 1.0)
        gap = np.linalg.norm(points - head - place[:, None] * line, axis=1)
        at = np.where(gap < best, index, at)
        best = np.minimum(gap, best)
    return at
