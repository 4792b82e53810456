"""Takes things out of the host's file again: a failed build, or arms that are no longer wanted."""

from __future__ import annotations

from dataclasses import dataclass

import bpy

from ..core.errors import HostError
from ..core.plan.made import bone_path
from ..core.rig_record import RigRecord
from . import dependents, hand_poses, host, kept_results, rig


@dataclass(frozen=True)
class FileSnapshot:
    """Names of the data blocks that were there."""

    objects: frozenset[str]
    meshes: frozenset[str]
    armatures: frozenset[str]


@dataclass(frozen=True)
class ArmatureSnapshot:
    """What an armature consisted of."""

    file: FileSnapshot
    bones: frozenset[str]
    collections: frozenset[str]
    had_animation: bool
    had_record: bool


def snapshot_file() -> FileSnapshot:
    """The data blocks that a build may add to."""
    return FileSnapshot(
        frozenset(bpy.data.objects.keys()), frozenset(bpy.data.meshes.keys()), frozenset(bpy.data.armatures.keys())
    )


def snapshot(armature: bpy.types.Object) -> ArmatureSnapshot:
    """What `armature` consists of now."""
    return ArmatureSnapshot(
        snapshot_file(),
        frozenset(armature.data.bones.keys()),
        frozenset(armature.data.collections_all.keys()),
        armature.animation_data is not None,
        rig.KEY in armature,
    )


def roll_back(armature: bpy.types.Object, before: ArmatureSnapshot) -> None:
    """Take away whatever was added to `armature`, which is in object mode, since `before`."""
    names = [bone.name for bone in armature.data.bones if bone.name not in before.bones]
    collections = sorted(set(armature.data.collections_all.keys()) - before.collections)
    remove_bones(armature, names, collections)
    if not before.had_animation:
        armature.animation_data_clear()
    if not before.had_record and rig.KEY in armature:
        del armature[rig.KEY]
    roll_back_file(before.file)


def roll_back_file(before: FileSnapshot) -> None:
    """Take away objects, meshes and armatures added since `before`."""
    for item in [item for item in bpy.data.objects if item.name not in before.objects]:
        bpy.data.objects.remove(item)
    for mesh in [mesh for mesh in bpy.data.meshes if mesh.name not in before.meshes]:
        bpy.data.meshes.remove(mesh)
    for data in [data for data in bpy.data.armatures if data.name not in before.armatures]:
        bpy.data.armatures.remove(data)


def remove_bones(armature: bpy.types.Object, names: list[str], collections: list[str]) -> None:
    """Remove bones with their drivers, and bone collections that are empty by then."""
    wanted = set(names)
    animation = armature.animation_data
    if animation is not None:
        prefixes = tuple(map(bone_path, wanted))
        for curve in [curve for curve in animation.drivers if curve.data_path.startswith(prefixes)]:
            animation.drivers.remove(curve)
    if wanted:
        with host.mode(armature, "EDIT"):
            edit = armature.data.edit_bones
            for name in names:
                if name in edit:
                    edit.remove(edit[name])
    for name in collections:
        collection = armature.data.collections_all.get(name)
        if collection is not None and not collection.bones:
            armature.data.collections.remove(collection)


def remove_arms(armature: bpy.types.Object, *, losing: bool = False) -> None:
    """Remove the arms that were built on `armature`, leaving the rest as it was.

    A torso that was built with the arms stays: other bones may hang on it by now. Raises HostError if there are no
    arms, and, unless `losing`, if something of the user's would be lost with them.
    """
    record = rig.read_record(armature)
    rig.check_editable(armature)
    lost = [] if losing else losses(armature)
    if lost:
        raise HostError(
            f"{armature.name!r}: with the arms would go, or hang in the air, {dependents.listed(lost)}: "
            "move these elsewhere first, or choose to lose them"
        )
    with host.mode(armature, "OBJECT"):
        remove_bones(armature, _arm_bones(record), list(record.collections))
    animation = armature.animation_data
    if animation is not None and animation.action is None and not animation.drivers and not animation.nla_tracks:
        armature.animation_data_clear()
    del armature[rig.KEY]
    # What was proved of arms that are gone says nothing.
    if kept_results.KEY in armature:
        del armature[kept_results.KEY]
    hand_poses.remove_hand_poses(armature)
    remove_shapes()


def losses(armature: bpy.types.Object) -> list[str]:
    """What of the user's is on the arms' bones or depends on them, in words; weights and keys outlive the bones."""
    # A build needs this file to take back what it has begun.
    from .rebuild_plan import last_made

    record = rig.read_record(armature)
    with host.mode(armature, "OBJECT"):
        found = dependents.dependents(armature, _arm_bones(record), last_made(armature, record))
    return list(dict.fromkeys(words for bone in found.values() for words in bone))


def _arm_bones(record: RigRecord) -> list[str]:
    sides = tuple(f".{arm}" for arm in record.arms)
    return [name for name in record.bones if name.endswith(sides)]


def remove_shapes() -> None:
    """Wire shapes that nothing wears any more."""
    for item in [item for item in bpy.data.objects if item.name.startswith("armwright.shape.") and item.users == 0]:
        mesh = item.data
        bpy.data.objects.remove(item)
        if mesh.users == 0:
            bpy.data.meshes.remove(mesh)
