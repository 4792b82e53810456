"""Bones of a rebuild: those that are new, those that move, those that go."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager

import bpy
import numpy as np

from ..core.plan.model import Bone
from ..core.plan.upgrade import split
from . import apply, host, remove
from .rebuild_work import SAME, Work


def arms_of(work: Work) -> tuple[str, ...]:
    """Ids of the plan's arms."""
    return tuple(dict.fromkeys(role.arm for role in work.plan.roles))


def edits(work: Work) -> tuple[list[Bone], list[str]]:
    """Bones of the plan to make or to place anew, and sentences about those that the user has moved."""
    found, notes = [], []
    bones, arms = work.armature.data.bones, arms_of(work)
    for bone in work.plan.bones:
        there = bones.get(bone.name)
        if there is None:
            found.append(bone)
            if bone.name in work.made.bones:
                notes.append(f"the bone {bone.name!r} was gone: made again")
            continue
        base = work.made.bones.get(bone.name)
        if is_placed(there, bone):
            if base is not None and _flags_move(there, base, bone):
                found.append(bone)
            continue
        if base is not None and not is_placed(there, base):
            if not split(bone.name, arms)[1]:
                # A torso that came with the arms is the user's to shape: the arms only hang on it.
                notes.append(f"the bone {bone.name!r} was moved by hand: it stays where it is")
                continue
            notes.append(f"the bone {bone.name!r} was moved by hand: put back")
        found.append(bone)
    return found, notes


def write(work: Work, changed: list[Bone]) -> None:
    """Make and place the `changed` bones."""
    armature, fresh = work.armature, work.fresh
    if changed:
        with host.mode(armature, "EDIT"), host.same_ends(armature.data), _one_side(armature.data):
            edit = armature.data.edit_bones
            for bone in changed:
                made = edit.get(bone.name)
                if made is None:
                    made = edit.new(bone.name)
                apply.place_bone(made, bone, edit)
                base = work.made.bones.get(bone.name)
                if bone.name in fresh or (base is not None and made.use_deform == base.deform):
                    made.use_deform = bone.deform


def take_out(work: Work, going: Collection[str]) -> None:
    """Remove bones that nothing needs any more; those of theirs that stay with the user hang on what carried them."""
    if not going:
        return
    with host.mode(work.armature, "EDIT"):
        for name in work.left:
            _hang_higher(work.armature.data.edit_bones[name], going)
    remove.remove_bones(work.armature, sorted(going), [])


def _hang_higher(bone: bpy.types.EditBone, going: Collection[str]) -> None:
    """Off parents that go."""
    parent = bone.parent
    if parent is None or parent.name not in going:
        return
    while parent is not None and parent.name in going:
        parent = parent.parent
    bone.parent = parent


@contextmanager
def _one_side(data: bpy.types.Armature) -> Iterator[None]:
    """Without the host's mirroring of what is done to a bone."""
    before = data.use_mirror_x
    data.use_mirror_x = False
    try:
        yield
    finally:
        data.use_mirror_x = before


def is_placed(there: bpy.types.Bone, bone: Bone) -> bool:
    """Whether a bone has the rest, length, parent and inheritance that a plan says, as far as the host can keep it."""
    rest = np.array(bone.rest)
    reach = max(1.0, float(np.abs(rest[:3, 3]).max()))
    return (
        (there.parent.name if there.parent is not None else "") == bone.parent
        and there.use_inherit_rotation == bone.inherit_rotation
        and there.inherit_scale == apply.scale_inheritance(bone)
        and abs(there.length - bone.length) <= SAME * reach
        and float(np.abs(host.rest_matrix(there) - rest).max()) <= 2.0 * SAME * reach
    )


def _flags_move(there: bpy.types.Bone, base: Bone, bone: Bone) -> bool:
    return bool(there.use_deform == base.deform != bone.deform)
