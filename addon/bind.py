"""Binds meshes to an armature with arms: by the host's automatic weights, or by the weights that they have already.

All of it or nothing: what is to be written is worked out first, beside the meshes; only then are they changed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.rig_record import RigRecord
from . import bind_auto, bind_names, host, rig, weights
from .weights import Weights

Array = NDArray[np.float64]

MODIFIER = "Armature"
# Modifiers that make a mesh finer: cheaper and smoother after the arms have moved it.
FINER = ("SUBSURF", "MULTIRES")


@dataclass(frozen=True)
class _Before:
    """A mesh object as it was: groups, the armature modifiers' objects, modifiers' names, parent and its inverse."""

    groups: weights.GroupsSnapshot
    moved_by: dict[str, bpy.types.Object | None]
    modifiers: tuple[str, ...]
    parent: bpy.types.Object | None
    inverse: Array


def bind_automatically(armature: bpy.types.Object, meshes: Sequence[bpy.types.Object]) -> str:
    """Weights by the host's heat for all deforming bones of the armature; what was done, a sentence.

    Raises HostError for meshes that can not be bound, BindError where the host finds no weights on an arm.
    """
    record = _checked(armature, meshes)
    for item in meshes:
        _check_no_other_armature(item, armature)

    def work(item: bpy.types.Object) -> dict[str, Weights]:
        return bind_auto.automatic_weights(armature, record, item)

    found = _bind(armature, meshes, work)
    bare = sum(int((~_weighted(values)).sum()) for values in found)
    far = f"; {bare} vertices away from the arms got no weight" if bare else ""
    return f"{_named(meshes)} bound to {armature.name} by automatic weights{far}"


def bind_by_names(
    armature: bpy.types.Object, meshes: Sequence[bpy.types.Object], mapping: Mapping[str, str] | None = None
) -> str:
    """The weights of old groups shared by the arms' skin bones; what was done, a sentence.

    Args:
        mapping: vertex group to part ("upper_arm.L") or to a bone of the armature; None to guess it from old bones.

    Raises HostError for meshes that can not be bound, BindError for a mapping that can not be followed.
    """
    record = _checked(armature, meshes)
    targets = bind_names.targets_of(armature, record)
    chosen = bind_names.mapping_for(armature, record, meshes, targets, mapping)
    for item in meshes:
        bind_names.check_other_armatures(item, armature, chosen)

    def work(item: bpy.types.Object) -> dict[str, Weights]:
        return bind_names.shared_weights(item, targets, chosen)

    _bind(armature, meshes, work, take_over=True)
    listed = ", ".join(f"{old} to {part}" for old, part in sorted(chosen.items()))
    return f"{_named(meshes)} bound to {armature.name} by the weights there were: {listed}"


def _bind(
    armature: bpy.types.Object,
    meshes: Sequence[bpy.types.Object],
    work: Callable[[bpy.types.Object], dict[str, Weights]],
    *,
    take_over: bool = False,
) -> list[dict[str, Weights]]:
    with host.mode(armature, "OBJECT"):
        found = [work(item) for item in meshes]
        before = [_remember(item) for item in meshes]
        try:
            for item, values, kept in zip(meshes, found, before, strict=True):
                weights.write(item, values, kept.groups)
                _attach(item, armature, take_over=take_over)
        except BaseException:
            for item, kept in zip(meshes, before, strict=True):
                _put_back(item, kept)
            raise
    bpy.context.view_layer.update()
    return found


def _checked(armature: bpy.types.Object, meshes: Sequence[bpy.types.Object]) -> RigRecord:
    record = rig.read_record(armature)
    if armature.name not in bpy.context.view_layer.objects:
        raise HostError(f"{armature.name!r} is not in the current view layer: enable the collection that it is in")
    if not meshes:
        raise HostError("there is no mesh to bind: select the character's meshes, and the armature last")
    for item in meshes:
        _check_mesh(item)
    return record


def _check_mesh(item: bpy.types.Object) -> None:
    name = item.name
    if item.type != "MESH":
        raise HostError(f"{name!r} is a {item.type.lower()}, which has no vertex weights: convert it to a mesh first")
    if item.library is not None or item.override_library is not None or item.data.library is not None:
        source = (item.library or item.data.library or item.override_library.reference.library).filepath
        raise HostError(f"{name!r} is linked from {source!r}: bind it in that file")
    if item.data.users > 1:
        raise HostError(
            f"{name!r} shares its mesh with {item.data.users - 1} other users of {item.data.name!r}, which would be "
            "bound along: make it single-user first (Object > Relations > Make Single User > Object & Data)"
        )
    if name not in bpy.context.view_layer.objects:
        raise HostError(f"{name!r} is not in the current view layer: enable the collection that it is in")
    if not item.data.vertices and item.mode != "EDIT":
        raise HostError(f"{name!r} has no vertices: choose the character's mesh")
    flat = abs(np.linalg.det(host.matrix_to_numpy(item.matrix_world)[:3, :3]))
    if not flat > 0.0:
        raise HostError(f"{name!r} is scaled to nothing: give it a scale first")


def _check_no_other_armature(item: bpy.types.Object, armature: bpy.types.Object) -> None:
    for entry in weights.movers(item):
        if entry.object is not None and entry.object is not armature:
            raise HostError(
                f"{item.name!r} is moved by {entry.object.name!r} already and would be moved twice: keep the weights "
                "that it has (bind by names), or remove that modifier first"
            )


def _weighted(values: Mapping[str, Weights]) -> NDArray[np.bool_]:
    return np.asarray(np.sum(list(values.values()), axis=0) > 0.0)


def _named(meshes: Sequence[bpy.types.Object]) -> str:
    return ", ".join(item.name for item in meshes)


def _attach(item: bpy.types.Object, armature: bpy.types.Object, *, take_over: bool) -> None:
    """The armature modifier, and the armature as parent of what has none."""
    movers = weights.movers(item)
    if all(entry.object is not armature for entry in movers):
        free = [entry for entry in movers if take_over or entry.object is None]
        if free:
            free[0].object = armature
        else:
            item.modifiers.new(MODIFIER, "ARMATURE")
            weights.movers(item)[-1].object = armature
            places = [place for place, entry in enumerate(item.modifiers) if entry.type in FINER]
            if places:
                item.modifiers.move(len(item.modifiers) - 1, places[0])
    if item.parent is None:
        item.parent = armature
        item.matrix_parent_inverse = armature.matrix_world.inverted()


def _remember(item: bpy.types.Object) -> _Before:
    return _Before(
        weights.snapshot(item),
        {entry.name: entry.object for entry in weights.movers(item)},
        tuple(entry.name for entry in item.modifiers),
        item.parent,
        host.matrix_to_numpy(item.matrix_parent_inverse),
    )


def _put_back(item: bpy.types.Object, before: _Before) -> None:
    weights.restore(item, before.groups)
    for entry in list(item.modifiers):
        if entry.name not in before.modifiers:
            item.modifiers.remove(entry)
    for mover in weights.movers(item):
        mover.object = before.moved_by[mover.name]
    if item.parent is not before.parent:
        item.parent = before.parent
        item.matrix_parent_inverse = host.numpy_to_matrix(before.inverse)
