"""Holds whose prop was deleted: back into the world, in place, with a sentence for each."""

from __future__ import annotations

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.arm import names as n
from ..core.errors import HostError
from . import arm_state, grabbed, keys
from .curves import own_bag
from .posed import back, posed
from .spaces import (
    HOLDS,
    KINDS,
    ON,
    Space,
    check_settable,
    hold_bone,
    hold_channels,
    influence,
    is_gone,
    place,
    space_bone,
    whose,
)
from .subjects import Subject
from .switch import check_editable

Array = NDArray[np.float64]


def mend_spaces(subject: Subject) -> tuple[str, ...]:
    """Move every hold whose space was deleted to the world, where it was grabbed; a sentence for each.

    Where the space was keyed, every key of the hold within is rewritten, so that the hold stays where it was grabbed
    all along. Raises HostError before anything is changed.
    """
    check_editable(subject.armature)
    found = [
        (arm, hold, item.name)
        for arm in subject.arms
        for hold in HOLDS
        for item in space_bone(subject, arm, hold).constraints
        if item.type in KINDS and is_gone(item)
    ]
    for arm, hold, _ in found:
        check_settable(subject, arm, hold)
    if subject.armature.override_library is not None:
        for arm, hold, name in found:
            if space_bone(subject, arm, hold).constraints[name].is_override_data:
                raise HostError(f"{name!r} of {subject.armature.name!r} comes from the linked file: mend it there")
    scene = bpy.context.scene
    at, kept = (scene.frame_current, scene.frame_subframe), posed(subject.armature)
    try:
        return tuple(_mend(subject, arm, hold, name) for arm, hold, name in found)
    finally:
        if found and (scene.frame_current, scene.frame_subframe) != at:
            mended = [hold_channels(hold_bone(subject, arm, hold)) for arm, hold, _ in found]
            back(subject.armature, at, kept, [channel for pair in mended for channel in pair])


def take_off(subject: Subject, arm: str, hold: str, space: Space) -> str:
    """Remove a space that was added to a hold and does not carry it; a sentence.

    Raises HostError, before anything is changed, for one that carries the hold, is keyed or belongs to the rig.
    """
    check_settable(subject, arm, hold)
    carrier, mine = space_bone(subject, arm, hold), whose(arm, hold)
    if space.constraint not in carrier.constraints or space.constraint in (n.SPACE_TORSO, n.SPACE_HEAD):
        raise HostError(f"{mine}: {space.label!r} belongs to the rig: only spaces that were added can be taken off")
    constraint = carrier.constraints[space.constraint]
    if subject.armature.override_library is not None and constraint.is_override_data:
        raise HostError(f"{mine}: {space.label!r} comes from the linked file: take it off there")
    if keys.curves_for(subject.armature, influence(carrier, space.constraint)):
        raise HostError(f"{mine}: {space.label!r} is keyed, so it may carry the hold on other frames: delete its keys")
    if constraint.influence > 0.0:
        raise HostError(f"{mine}: {space.label!r} carries the hold now: choose another space first")
    carrier.constraints.remove(constraint)
    grabbed.forget(carrier, space.constraint)
    return f"{mine}: {space.label!r} is taken off"


def _mend(subject: Subject, arm: str, hold: str, name: str) -> str:
    armature, scene = subject.armature, bpy.context.scene
    carrier, bone = space_bone(subject, arm, hold), hold_bone(subject, arm, hold)
    own, dial = hold_channels(bone), influence(carrier, name)
    dials = keys.curves_for(armature, dial)
    known = grabbed.where(subject, carrier, name, scene.frame_current) is not None
    held = carrier.constraints[name].influence > ON
    poses: list[tuple[int | None, Array]] = []
    if dials:
        curves = [curve for channel in own for curve in keys.curves_for(armature, channel)]
        frames = sorted({point.co.x for curve in [*curves, *dials] for point in curve.keyframe_points})
        for frame in frames:
            if dials[0].evaluate(frame) > ON:
                scene.frame_set(int(np.floor(frame)), subframe=float(frame - np.floor(frame)))
                poses.append((frame, _left(subject, carrier, bone, name, frame)))
    elif held:
        poses.append((None, _left(subject, carrier, bone, name, scene.frame_current)))
    carrier.constraints.remove(carrier.constraints[name])
    _drop_curves(armature, dials)
    for frame, pose in poses:
        if frame is not None:
            scene.frame_set(int(np.floor(frame)), subframe=float(frame - np.floor(frame)))
        armature.update_tag()
        bpy.context.view_layer.update()
        place(subject, bone, pose)
        if frame is not None:
            keys.key(armature, own, frame, hold=False)
    bpy.context.view_layer.update()
    grabbed.forget(carrier, name)
    mine = whose(arm, hold)
    if not poses:
        return f"{mine}: {name!r} was deleted and carried nothing; its space is taken off"
    where = "where it was grabbed" if known else "at rest, because where it was grabbed is not known"
    return f"{mine}: {name!r} was deleted, so the hold is in the world now, {where}"


def _left(subject: Subject, carrier: bpy.types.PoseBone, bone: bpy.types.PoseBone, name: str, frame: float) -> Array:
    """Where the hold is at this frame on the space as it was grabbed."""
    space = grabbed.where(subject, carrier, name, frame)
    if space is None:
        space = grabbed.uncarried(subject, carrier)
    return arm_state.pose_under(bone, space)


def _drop_curves(armature: bpy.types.Object, unwanted: list[bpy.types.FCurve]) -> None:
    bag, paths = own_bag(armature), {curve.data_path for curve in unwanted}
    for curve in [item for item in bag.fcurves if item.data_path in paths] if paths else ():
        bag.fcurves.remove(curve)
