"""What the selection is about: which armature, which of its arms, what there is to hold on to; or why nothing can be
done.
"""

from __future__ import annotations

from collections.abc import Callable

import bpy

from ..core import arm_words
from ..core.arm.names import ELBOW, IK, ISOLATE, LIFT, STRETCH
from ..core.errors import HostError
from ..core.rig_record import RigRecord
from . import host, rig
from .grab import Thing
from .holds import MODES, mode_of
from .switch import check_editable

SELECTED, BOTH = "SELECTED", "BOTH"
# Modes of the whole window in which a change of the pose is an undo step of its own.
MODES_OF_WORK = ("OBJECT", "POSE")
DIAL_WORDS = {IK: "FK to IK", ELBOW: "Elbow hold", ISOLATE: "Isolate", LIFT: "Lift", STRETCH: "Stretch"}


def armature_of(context: bpy.types.Context) -> bpy.types.Object:
    """The armature with arms that the selection is about: the active object, what moves it, or another selected one.

    Raises HostError with what to select.
    """
    for item in (context.object, *_movers(context.object)):
        if rig.has_arms(item):
            return item
    found = [item for item in context.selected_objects if rig.has_arms(item)]
    if len(found) > 1:
        names = ", ".join(repr(item.name) for item in found)
        raise HostError(f"{len(found)} armatures with arms are selected ({names}): make one of them active")
    if not found:
        raise HostError("select an armature that has arms, or the mesh that it moves")
    return found[0]


def other_rig(context: bpy.types.Context) -> bpy.types.Object:
    """The active armature, or the one that moves the active mesh, whose arms were built by other means.

    Raises HostError where there is none.
    """
    armature = rig.require(context.object)
    if rig.has_arms(armature):
        raise HostError(f"{armature.name!r} has arms built by Armwright, which are proved without a card: use Proof")
    return armature


def proved_armature(context: bpy.types.Context) -> bpy.types.Object:
    """The armature whose proof the selection is about, with or without a card. Raises HostError where there is none."""
    try:
        return other_rig(context)
    except HostError:
        return armature_of(context)


def why_no_card(context: bpy.types.Context) -> str:
    """Why no card of the active armature can be drafted or proved by now, a sentence; "" if one can."""
    return _why_not(context, other_rig, "Go to pose mode or object mode first")


def why_not(context: bpy.types.Context) -> str:
    """Why no arm can be changed now, a sentence; "" if they can."""
    return _why_not(context, armature_of, "Go to pose mode or object mode: the arms can not be changed in this one")


def _why_not(context: bpy.types.Context, rig_of: Callable[[bpy.types.Context], bpy.types.Object], mode: str) -> str:
    """Why nothing can be done now with the rig that `rig_of` finds; `mode`: what to say of a mode that forbids it."""
    try:
        armature = rig_of(context)
        check_editable(armature)
    except HostError as problem:
        return sentence(str(problem))
    if context.mode not in MODES_OF_WORK or armature.mode not in MODES_OF_WORK:
        return mode
    if context.window_manager.armwright_proof.running:
        return "A proof is running: press Esc in the viewport to stop it"
    return ""


def selected_arms(armature: bpy.types.Object, record: RigRecord) -> tuple[str, ...]:
    """The arms that selected bones are parts of; where there are none, the arm of the active bone."""
    parts = {role.bone: role.arm for role in record.roles}
    found = {
        parts[bone.name]
        for bone in armature.pose.bones
        if bone.name in parts and host.is_selected(bone) and _is_shown(bone.bone)
    }
    active = armature.data.bones.active
    if not found and active is not None and active.name in parts:
        found = {parts[active.name]}
    return tuple(arm for arm in record.arms if arm in found)


def arms_of(armature: bpy.types.Object, record: RigRecord, choice: str) -> tuple[str, ...]:
    """The arms that a choice means: SELECTED, BOTH (all of them) or an id. Raises HostError if there are none."""
    if choice == BOTH:
        return record.arms
    if choice != SELECTED:
        if choice not in record.arms:
            has = ", ".join(arm_words.words(arm) for arm in record.arms)
            # A shortcut that names an arm of another character comes without a name.
            what = f"no {arm_words.name(choice)}" if choice else "not the arm that is asked for"
            raise HostError(f"{armature.name!r} has {what}; its arms: {has}")
        return (choice,)
    found = selected_arms(armature, record)
    if not found:
        raise HostError(
            "no control of an arm is selected: select one in pose mode, or use the buttons of the arm that you mean"
        )
    return found


def thing_to_hold(context: bpy.types.Context, armature: bpy.types.Object) -> Thing | None:
    """What is selected besides the arms: another object, or the active bone if it is not a part of them; None for the
    world.

    Raises HostError where that is not one thing.
    """
    others = selected_besides(context, armature)
    if len(others) > 1:
        raise HostError(
            f"{len(others)} objects are selected besides {armature.name!r}: select the one to hold on to, or none"
        )
    if others:
        item = others[0]
        active = item.data.bones.active if item.type == "ARMATURE" else None
        return Thing(item, active.name if active is not None else "")
    bone = context.active_pose_bone
    parts = {role.bone for role in rig.read_record(armature).roles}
    if bone is None or bone.id_data != armature or bone.name in parts:
        return None
    return Thing(armature, bone.name)


def selected_besides(context: bpy.types.Context, armature: bpy.types.Object) -> list[bpy.types.Object]:
    """The selected objects that are neither the armature nor moved by it."""
    return [item for item in context.selected_objects if item != armature and armature not in _movers(item)]


def driven_dials(armature: bpy.types.Object, record: RigRecord) -> dict[str, tuple[str, ...]]:
    """For each arm the dials that somebody has put a driver on, so that they can not be set."""
    curves = armature.animation_data.drivers if armature.animation_data is not None else ()
    driven = {curve.data_path for curve in curves}
    return {
        arm: tuple(key for key in DIAL_WORDS if f'pose.bones["{record.bone(arm, "dials")}"]["{key}"]' in driven)
        for arm in record.arms
    }


def driven_words(keys: tuple[str, ...]) -> str:
    """Why dials can not be set, a sentence."""
    return f"{' and '.join(DIAL_WORDS[key] for key in keys)}: driven, so it can not be set; remove the driver first"


def holding(armature: bpy.types.Object, record: RigRecord, arms: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the arms that hold something, if only in part."""
    return tuple(arm for arm in arms if mode_of(armature, record, arm) != next(iter(MODES)))


def sentence(text: str) -> str:
    """An error's words as a sentence of its own."""
    return text[:1].upper() + text[1:]


def _movers(item: bpy.types.Object | None) -> list[bpy.types.Object]:
    """The armatures that deform an object."""
    modifiers = getattr(item, "modifiers", ())
    return [entry.object for entry in modifiers if entry.type == "ARMATURE" and entry.object is not None]


def _is_shown(bone: bpy.types.Bone) -> bool:
    collections = list(bone.collections)
    return not bone.hide and (not collections or any(entry.is_visible_effectively for entry in collections))
