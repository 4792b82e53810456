"""Renames bones by the host's own rename, so that weights, actions, constraints and drivers follow."""

from __future__ import annotations

from collections.abc import Mapping

import bpy

from ..core.errors import HostError
from ..core.plan.made import bone_path
from .curves import curves_of


def check_renames(armature: bpy.types.Object, names: Mapping[str, str]) -> None:
    """Raise HostError if a rename would run two vertex groups of a mesh together."""
    for item in bpy.data.objects:
        if not any(entry.type == "ARMATURE" and entry.object == armature for entry in getattr(item, "modifiers", ())):
            continue
        for old, new in names.items():
            if old in item.vertex_groups and new in item.vertex_groups:
                raise HostError(
                    f"{item.name!r} has a vertex group {old!r} and one named {new!r}, which the first is to be called "
                    "from now on: rename or merge one of them"
                )


def rename(armature: bpy.types.Object, names: Mapping[str, str]) -> None:
    """Rename bones of `armature`, which is in object mode, from the keys to the values.

    The host renames in what plays on the armature now. Actions that nothing plays are an animator's shelf: their
    curves follow as well, unless something else in the file plays them.
    """
    for old, new in names.items():
        if old not in armature.data.bones:
            continue
        armature.data.bones[old].name = new
        for action in bpy.data.actions:
            if action.library is None and not _played_elsewhere(action, armature):
                _follow(action, bone_path(old), bone_path(new))


def _follow(action: bpy.types.Action, old: str, new: str) -> None:
    for curve in curves_of(action):
        if curve.data_path.startswith(old):
            curve.data_path = new + curve.data_path[len(old) :]


def _played_elsewhere(action: bpy.types.Action, armature: bpy.types.Object) -> bool:
    """Whether another object than `armature` plays the action, in its own right or from a strip."""
    for item in bpy.data.objects:
        animation = item.animation_data
        if item == armature or animation is None or not item.users_scene:
            continue
        if animation.action == action:
            return True
        if any(strip.action == action for track in animation.nla_tracks for strip in track.strips):
            return True
    return False
