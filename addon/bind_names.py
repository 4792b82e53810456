"""Weights that a mesh has already, taken over by the arms: which group goes where, and how a segment's is shared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.bind.mapping import Stretch, check_mapping, guess_mapping
from ..core.bind.shares import along, overlap_shares, split
from ..core.errors import HostError
from ..core.rig_record import RigRecord
from . import host, weights
from .weights import Weights

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Target:
    """Where weights can go: bones that share them along a stretch of the world at rest."""

    bones: tuple[str, ...]
    stretch: Stretch


def targets_of(armature: bpy.types.Object, record: RigRecord) -> dict[str, Target]:
    """The parts of every arm ("clavicle.L", "upper_arm.L", "forearm.L", "hand.L"), and every other deforming bone."""
    out = {}
    for arm in record.arms:
        clavicle, hand = record.bone(arm, "clavicle"), record.bone(arm, "hand")
        upper, fore = record.bones_of(arm, "skin_upper_arm"), record.bones_of(arm, "skin_forearm")
        heads = {name: _ends(armature, name)[0] for name in (clavicle, upper[0], fore[0], hand)}
        out[f"clavicle.{arm}"] = Target((clavicle,), Stretch(heads[clavicle], heads[upper[0]], "tail"))
        out[f"upper_arm.{arm}"] = Target(upper, Stretch(heads[upper[0]], heads[fore[0]]))
        out[f"forearm.{arm}"] = Target(fore, Stretch(heads[fore[0]], heads[hand]))
        out[f"hand.{arm}"] = Target((hand,), Stretch(*_ends(armature, hand), "head"))
    for bone in armature.data.bones:
        if bone.use_deform:
            out.setdefault(bone.name, Target((bone.name,), Stretch(*_ends(armature, bone.name))))
    return out


def mapping_for(
    armature: bpy.types.Object,
    record: RigRecord,
    meshes: Sequence[bpy.types.Object],
    targets: Mapping[str, Target],
    given: Mapping[str, str] | None,
) -> dict[str, str]:
    """The mapping to follow: the one given, or a guess from old bones whose names are vertex groups.

    Raises BindError for one that can not be followed.
    """
    groups = {group.name for item in meshes for group in item.vertex_groups}
    if given is not None:
        chosen = dict(given)
    else:
        parts = {name: target.stretch for name, target in targets.items() if name not in armature.data.bones}
        chosen = guess_mapping(_old_bones(armature, record, meshes, groups), parts)
    check_mapping(chosen, groups, targets)
    return chosen


def check_other_armatures(item: bpy.types.Object, armature: bpy.types.Object, mapping: Mapping[str, str]) -> None:
    """Refuse, with HostError, a mesh that another armature moves by groups that would move it no more."""
    ours = {bone.name for bone in armature.data.bones if bone.use_deform}
    before = weights.snapshot(item)
    used = [name for name, (_, what) in zip(before.names, before.members, strict=True) if what.any()]
    for other in _other_armatures(item, armature):
        bones = {bone.name for bone in other.data.bones if bone.use_deform}
        lost = [name for name in used if name in bones and name not in mapping and name not in ours]
        if lost:
            raise HostError(
                f"{item.name!r} is moved by {other.name!r} as well, and its group {lost[0]!r}"
                + (f" (and {len(lost) - 1} more)" if len(lost) > 1 else "")
                + f" belongs to no bone of {armature.name!r}: map it to a part of an arm or to one of its bones"
            )


def shared_weights(
    item: bpy.types.Object, targets: Mapping[str, Target], mapping: Mapping[str, str]
) -> dict[str, Weights]:
    """Weights (V,) of every group that changes: the old ones hold nothing, the arms' what they held."""
    held = weights.dense(item, weights.snapshot(item))
    given = {old: targets[part] for old, part in mapping.items() if old in held}
    points = weights.points(item)
    out: dict[str, Weights] = {old: np.zeros(len(points), np.float32) for old in given}
    for old, target in given.items():
        place = along(points, target.stretch.head, target.stretch.tail)
        parts = split(held[old], overlap_shares(place, len(target.bones)))
        for bone, part in zip(target.bones, parts.T, strict=True):
            start = out[bone] if bone in out else held.get(bone, np.zeros(len(points), np.float32))
            out[bone] = start + part
    return out


def _old_bones(
    armature: bpy.types.Object, record: RigRecord, meshes: Sequence[bpy.types.Object], groups: set[str]
) -> dict[str, Stretch]:
    """Deforming bones, not the arms' own, that a vertex group is named after, at rest, world space."""
    ours = set(record.bones)
    out = {}
    others = [other for item in meshes for other in _other_armatures(item, armature)]
    for owner in (*others, armature):
        for bone in owner.data.bones:
            if bone.use_deform and bone.name in groups and not (owner is armature and bone.name in ours):
                out[bone.name] = Stretch(*_ends(owner, bone.name))
    return out


def _other_armatures(item: bpy.types.Object, armature: bpy.types.Object) -> list[bpy.types.Object]:
    return [entry.object for entry in weights.movers(item) if entry.object is not None and entry.object is not armature]


def _ends(armature: bpy.types.Object, name: str) -> tuple[Array, Array]:
    """Head and tail of a bone at rest, world space."""
    bone = armature.data.bones[name]
    world = host.matrix_to_numpy(armature.matrix_world)
    head, tail = (world[:3, :3] @ np.array(end) + world[:3, 3] for end in (bone.head_local, bone.tail_local))
    return np.asarray(head), np.asarray(tail)
