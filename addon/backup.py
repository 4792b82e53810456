"""A copy of an armature aside, from which everything can be put back if a change of its arms fails half way."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import bpy

from . import remove, rig
from .remove import FileSnapshot

_VALUES = ("BOOLEAN", "INT", "FLOAT", "STRING", "ENUM")
# Follows from others; writing it would turn the channels over.
_FOLLOWS = frozenset({"matrix", "matrix_basis", "name"})


@dataclass(frozen=True)
class Backup:
    """Attributes:
    copy: the armature object as it was, on data of its own; in no scene.
    file: the data blocks that there were.
    name: of the armature's data.
    record: what the armature remembered.
    """

    copy: bpy.types.Object
    file: FileSnapshot
    name: str
    record: str


def take(armature: bpy.types.Object) -> Backup:
    """Copy `armature`, which is in object mode."""
    before = remove.snapshot_file()
    copy = armature.copy()
    # Of its own, or the host would carry changes of the bones over to the copy's pose.
    copy.data = armature.data.copy()
    return Backup(copy, before, armature.data.name, str(armature[rig.KEY]))


def drop(backup: Backup) -> None:
    """Take the copy out of the file."""
    data = backup.copy.data
    bpy.data.objects.remove(backup.copy)
    if data is not None and data.users == 0:
        bpy.data.armatures.remove(data)


def put_back(armature: bpy.types.Object, backup: Backup, bones: Collection[str]) -> None:
    """Make `armature`, in object mode, what it was; the pose of `bones` is taken from the copy.

    Bones that the host has renamed since have their names back already: the host keeps curves and groups by name.
    """
    copy, changed = backup.copy, armature.data
    armature.data = copy.data
    changed.user_remap(armature.data)
    bpy.data.armatures.remove(changed)
    armature.data.name = backup.name
    bpy.context.view_layer.update()
    for name in bones:
        if name in armature.pose.bones and name in copy.pose.bones:
            _put_back_bone(armature, armature.pose.bones[name], copy.pose.bones[name])
    _put_back_drivers(armature, copy)
    # What pointed to the armature itself points to the copy in the copy.
    copy.user_remap(armature)
    armature[rig.KEY] = backup.record
    bpy.data.objects.remove(copy)
    remove.roll_back_file(backup.file)


def _put_back_bone(armature: bpy.types.Object, bone: bpy.types.PoseBone, was: bpy.types.PoseBone) -> None:
    for item in list(bone.constraints):
        bone.constraints.remove(item)
    for item in was.constraints:
        bone.constraints.copy(item)
    for key in [key for key, _ in bone.items() if key not in was]:
        del bone[key]
    for key, value in was.items():
        if hasattr(value, "bl_rna"):
            continue
        bone[key] = value
        if isinstance(value, bool | int | float | str):
            bone.id_properties_ui(key).update_from(was.id_properties_ui(key))
        path = f'["{bpy.utils.escape_identifier(key)}"]'
        bone.property_overridable_library_set(path, was.is_property_overridable_library(path))
    # First, because the host converts the channels when it is written.
    bone.rotation_mode = was.rotation_mode
    _put_back_values(bone, was)
    _put_back_values(bone.color, was.color)
    _put_back_values(bone.color.custom, was.color.custom)
    bone.custom_shape = was.custom_shape
    at = was.custom_shape_transform
    bone.custom_shape_transform = armature.pose.bones[at.name] if at is not None else None


def _put_back_values(item: Any, was: Any) -> None:
    """Every plain value that can be written."""
    for entry in item.bl_rna.properties:
        if entry.type in _VALUES and not entry.is_readonly and entry.identifier not in _FOLLOWS:
            value = getattr(was, entry.identifier)
            if getattr(item, entry.identifier) != value:
                setattr(item, entry.identifier, value)


def _put_back_drivers(armature: bpy.types.Object, copy: bpy.types.Object) -> None:
    if armature.animation_data is None:
        return
    drivers = armature.animation_data.drivers
    for curve in list(drivers):
        drivers.remove(curve)
    for curve in copy.animation_data.drivers if copy.animation_data is not None else ():
        drivers.from_existing(src_driver=curve)
    if copy.animation_data is None:
        armature.animation_data_clear()
