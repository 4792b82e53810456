"""Whose motion is studied: the arms of an armature, by our own roles, by a rig card, or by a card drafted on the spot.

An arm's joints are the heads of its bones. How its hand is turned goes by anatomy, never by how a bone was rolled.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.card.check import problems_of
from ..core.card.draft import draft
from ..core.card.fit_check import misfits
from ..core.card.model import RigCard
from ..core.card.palms import HandRest, hand_rest
from ..core.card.problems import refuse
from ..core.card.sketch import RigSketch
from ..core.errors import HostError
from . import rig, subjects
from .card_sketch import sketch_of
from .switch import JOINT_ROLES

Array = NDArray[np.float64]

# The end of a hand is no further from its wrist than the forearm is long (Winter, fig. 4.1: 0.74 of it): what hangs
# further out is held in the hand.
LONGEST_HAND = 1.0


@dataclass(frozen=True, eq=False)
class ArmBones:
    """One arm's id and its bones: heads of the first three are shoulder, elbow and wrist; `tip` ends where the hand
    does.

    `hand_axes` (3, 3): at rest, armature space, Y along the hand and Z out of its palm; None where nothing tells them.
    """

    arm: str
    upper_arm: str
    forearm: str
    hand: str
    tip: str
    hand_axes: Array | None = None


@dataclass(frozen=True)
class Actor:
    """Whose motion is studied.

    Attributes:
        armature: the object.
        arms: its arms.
        torso: the bone that carries the shoulders; "" where there is none, and the object itself stands for it.
        facing: (3, 3), the character's left, back and up at rest, armature space.
        metres: of one unit of the scene.
        notes: sentences on how arms and unit were found.
    """

    armature: bpy.types.Object
    arms: tuple[ArmBones, ...]
    torso: str
    facing: Array
    metres: float
    notes: tuple[str, ...] = ()


def armature_in(item: bpy.types.Object | None) -> bpy.types.Object:
    """The armature that `item` is, or that deforms it; raises HostError with what to select instead."""
    if item is not None and item.type == "EMPTY" and item.instance_collection is not None:
        raise HostError(
            f"{item.name!r} shows a collection and is no armature: make a library override of it (Object > Library "
            "Override > Make), or link the armature itself, and select that"
        )
    return rig.require(item)


def active_action(armature: bpy.types.Object) -> bpy.types.Action:
    """The action that plays on the armature; raises HostError without one, or where its frames are not the scene's."""
    animation: Any = armature.animation_data
    if animation is not None and animation.use_tweak_mode:
        raise HostError(f"a strip of {armature.name!r} is being tweaked: leave that mode first (Tab)")
    if animation is not None and animation.action is not None:
        return animation.action
    there = ", ".join(repr(action.name) for action in bpy.data.actions) or "none"
    if strips_of(armature):
        raise HostError(
            f"{armature.name!r} plays strips of the NLA alone and no action: bake them (Pose > Animation > Bake "
            f"Action), or choose an action in the action editor; there is: {there}"
        )
    raise HostError(f"{armature.name!r} plays no action: choose one in the action editor; there is: {there}")


def strips_of(armature: bpy.types.Object) -> list[str]:
    """Names of the NLA's strips that play on the armature."""
    animation: Any = armature.animation_data
    if animation is None or not animation.use_nla:
        return []
    tracks = [track for track in animation.nla_tracks if not track.mute]
    tracks = [track for track in tracks if track.is_solo] or tracks
    return [strip.name for track in tracks for strip in track.strips if not strip.mute]


def actor_of(armature: bpy.types.Object | None, card: RigCard | None = None) -> Actor:
    """The arms of an armature: by our own roles, by `card`, or by a card that is drafted here.

    Raises HostError for what is no armature or shows no pose, CardError where there are no arms or the card does not
    fit.
    """
    armature = armature_in(armature)
    subjects.check_shown(armature)
    if armature.mode == "EDIT":
        raise HostError(f"the bones of {armature.name!r} are being edited: leave edit mode first")
    subjects.check_posed(armature)
    if card is None and rig.has_arms(armature):
        subject = subjects.subject_of(armature)
        arms = []
        for arm in subject.arms:
            upper, fore, hand = (subject.record.bone(arm, role) for role in JOINT_ROLES)
            # By docs/arm.md, "Rest frames", a hand of ours has Y along it and Z at its palm.
            arms.append(ArmBones(arm, upper, fore, hand, hand, subject.geometries[arm].hand[:3, :3]))
        return Actor(armature, tuple(arms), subject.record.torso, subject.facing, _scene_unit())
    sketch = sketch_of(armature)
    if card is not None:
        refuse((*problems_of(card), *misfits(card, sketch)))
        return _by_card(armature, card, sketch, ())
    drafted = draft(sketch)
    found = "; ".join(f"{arm.arm} is {arm.upper_arm}, {arm.forearm}, {arm.hand}" for arm in drafted.arms)
    return _by_card(armature, drafted, sketch, (f"arms found by their shape: {found}",))


def _by_card(armature: bpy.types.Object, card: RigCard, sketch: RigSketch, notes: tuple[str, ...]) -> Actor:
    hands = {arm.arm: hand_rest(sketch, arm) for arm in card.arms}
    arms = tuple(
        ArmBones(
            arm.arm, arm.upper_arm, arm.forearm, arm.hand, _tip(armature, arm.forearm, arm.hand), hands[arm.arm].axes
        )
        for arm in card.arms
    )
    notes = (*notes, *_of_hands(hands))
    up, front = np.array(card.up, float), np.array(card.front, float)
    facing = np.stack([np.cross(up, front), -front, up], axis=1)
    size = float(np.cbrt(abs(np.prod(np.array(armature.matrix_world.to_scale())))))
    metres = card.unit_m / size if size > 0.0 else card.unit_m
    if not math.isclose(metres, _scene_unit(), rel_tol=1e-3):
        notes = (*notes, f"one unit of the scene is taken as {metres:.4g} m, by the card")
    if not card.torso:
        notes = (*notes, f"no bone carries the shoulders: {armature.name} itself is taken for the torso")
    return Actor(armature, arms, card.torso[-1] if card.torso else "", facing, metres, notes)


def _of_hands(hands: Mapping[str, HandRest]) -> list[str]:
    """A sentence for each thing that tells where palms face, or that leaves it open."""
    out = []
    for why in dict.fromkeys(hand.why for hand in hands.values()):
        own = [arm for arm, hand in hands.items() if hand.why == why]
        which = f"arm{'s' if len(own) > 1 else ''} {' and '.join(own)}"
        if any(hands[arm].axes is None for arm in own):
            out.append(f'{which}: {why}, so the ranges of forearm and wrist are left out; give a rig card with "palm"')
        else:
            out.append(f"{which}: {why}")
    return out


def _tip(armature: bpy.types.Object, forearm: str, hand: str) -> str:
    """The bone whose tail is the hand's end: the furthest along below the hand, as far as a hand goes."""
    bones = armature.data.bones
    wrist = bones[hand].head_local
    most = LONGEST_HAND * (wrist - bones[forearm].head_local).length
    below = [bones[hand], *(bone for bone in bones[hand].children_recursive if bone.use_deform)]
    fitting = [bone for bone in below if (bone.tail_local - wrist).length <= most]
    return max(fitting, key=lambda bone: (bone.tail_local - wrist).length, default=bones[hand]).name


def _scene_unit() -> float:
    return float(bpy.context.scene.unit_settings.scale_length)
