"""What carries a hold: the world, a bone or a prop; and changes of it that keep the pose, keyed on both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import arm_words
from ..core.errors import HostError
from . import arm_state, grabbed, host, keying_set, keys
from .arm_state import Channel
from .dependencies import Thing, needs, targets_of
from .posed import posed
from .subjects import Subject
from .switch import Outcome, check_editable, joints, outcome

Array = NDArray[np.float64]

HOLDS = ("hand", "elbow")
_HAND = "hand."
WORLD = "world"
# An influence above this is on.
ON = 0.5
KINDS = ("ARMATURE", "CHILD_OF")


@dataclass(frozen=True)
class Space:
    """One thing that can carry a hold.

    Attributes:
        key: "world", the constraint's name, or "hand." and the arm of a hand that has none yet.
        label: for people.
        constraint: name of the space bone's constraint; "" for the world, and for a hand that has none yet.
        active: whether it carries the hold now.
    """

    key: str
    label: str
    constraint: str
    active: bool = False


def spaces_of(subject: Subject, arm: str, hold: str) -> tuple[Space, ...]:
    """The world, what the hold can be carried by already, and the other hands."""
    found = [
        Space(item.name, label(subject.arms, item.name), item.name, item.influence > ON)
        for item in space_bone(subject, arm, hold).constraints
        if item.type in KINDS
    ]
    known = {space.key for space in found}
    others = [Space(hand_key(other), _hand_label(other), "") for other in subject.arms if other != arm]
    return (
        Space(WORLD, "World", "", not any(space.active for space in found)),
        *found,
        *(space for space in others if space.key not in known),
    )


def active_space(subject: Subject, arm: str, hold: str) -> Space:
    """The space that carries the hold now."""
    return next(space for space in spaces_of(subject, arm, hold) if space.active)


def space_named(subject: Subject, arm: str, hold: str, key: str) -> Space:
    """The space with this key; another hand gets its constraint. HostError with the keys there are."""
    spaces = spaces_of(subject, arm, hold)
    for space in spaces:
        if space.key == key:
            if space.constraint or key == WORLD:
                return space
            return ensure_space(
                subject, arm, hold, subject.armature, subject.record.bone(key.removeprefix(_HAND), "hand")
            )
    raise HostError(f"{whose(arm, hold)}: no space {key!r}; there are: {', '.join(space.key for space in spaces)}")


def check_target(subject: Subject, arm: str, hold: str, target: bpy.types.Object, bone: str = "") -> None:
    """Raise HostError for a thing that can not carry this hold."""
    armature = subject.armature
    check_editable(armature)
    if target == armature and not bone:
        raise HostError(f"{armature.name!r} can not hold on to itself as a whole: name one of its bones, or the world")
    if bone and (target.type != "ARMATURE" or bone not in target.pose.bones):
        raise HostError(f"{target.name!r} has no bone {bone!r}: choose one of its bones, or the object itself")
    if target.name not in bpy.context.scene.objects:
        raise HostError(f"{target.name!r} is not in this scene: link it here first")
    placed = target.evaluated_get(bpy.context.evaluated_depsgraph_get()).matrix_world
    arm_state.check_size(repr(target.name), host.matrix_to_numpy(placed))
    if not needs(Thing(target, bone), Thing(armature, space_bone(subject, arm, hold).name)):
        return
    for other in subject.arms:
        if other != arm and target == armature and bone == subject.record.bone(other, "hand"):
            way = _way(subject, other, arm)
            first, carrier = (arm_words.words(way[index]) for index in (-2, -1))
            by = f", by way of the {' and the '.join(arm_words.words(item) for item in way[1:-1])} hand" * (
                len(way) > 2
            )
            raise HostError(
                f"the {arm_words.words(other)} hand can be held in the {carrier} hand{by}, so that one can not "
                f"hold on to it: take that space off the {first} arm's holds first"
            )
    what = f"{bone!r} of {target.name!r}" if bone else repr(target.name)
    raise HostError(
        f"{what} is carried by this {hold}, so it can not carry the {hold}: "
        f"let go of it there (parents, constraints) first, or choose something else"
    )


def ensure_space(subject: Subject, arm: str, hold: str, target: bpy.types.Object, bone: str = "") -> Space:
    """The space of `target`, which is made if there is none yet, without influence. Raises as `check_target` does."""
    check_target(subject, arm, hold, target, bone)
    carrier = space_bone(subject, arm, hold)
    for item in carrier.constraints:
        if item.type in KINDS and Thing(target, bone) in list(targets_of(item)):
            return Space(item.name, label(subject.arms, item.name), item.name, item.influence > ON)
    made: Any = carrier.constraints.new("ARMATURE" if bone else "CHILD_OF")
    made.name = _new_name(subject, target, bone)
    made.influence = 0.0
    made.show_expanded = False
    if bone:
        entry = made.targets.new()
        entry.target, entry.subtarget = target, bone
    else:
        # Every channel on: with one of them off the host takes the target apart into Euler angles, which was measured
        # to be 3e-6 off at random turns and 5e-3 near the middle axis' quarter turn. A scale that stays cancels.
        made.target = target
        graph = bpy.context.view_layer.depsgraph
        inverse = target.evaluated_get(graph).matrix_world.inverted_safe()
        # The host takes the bone in the armature's space and makes the result one in the world's.
        made.inverse_matrix = inverse @ subject.armature.evaluated_get(graph).matrix_world
    return Space(made.name, label(subject.arms, made.name), made.name)


def check_settable(subject: Subject, arm: str, hold: str) -> None:
    """Raise HostError if the hold's channels or its space's influences can not be set or keyed here."""
    check_editable(subject.armature)
    bpy.context.view_layer.update()
    bone, carrier = hold_bone(subject, arm, hold), space_bone(subject, arm, hold)
    keys.check_free(subject.armature, [*hold_channels(bone), *_influences(carrier)])
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, [carrier.name])
    arm_state.check_carried(bone.name, reader.read()[0])


def set_space(subject: Subject, arm: str, hold: str, space: Space, keyed: bool | None = None) -> Outcome:
    """Let `space` carry the hold from this frame on, the hold staying where it is.

    `keyed` None keys where keying is on. Raises HostError before anything is changed.
    """
    check_settable(subject, arm, hold)
    carrier, bone = space_bone(subject, arm, hold), hold_bone(subject, arm, hold)
    if space.constraint and space.constraint not in carrier.constraints:
        raise HostError(f"{whose(arm, hold)}: the space {space.label!r} is gone; choose another")
    if space.constraint and is_gone(carrier.constraints[space.constraint]):
        raise HostError(f"{whose(arm, hold)}: {space.label!r} has been deleted; choose another space")
    armature, scene = subject.armature, bpy.context.scene
    wanted = {item.name: float(item.name == space.constraint) for item in carrier.constraints if item.type in KINDS}
    changing = [item.name for item in carrier.constraints if wanted.get(item.name, item.influence) != item.influence]
    if not changing:
        return Outcome(0.0, 0.0, False)
    own, influences = hold_channels(bone), [influence(carrier, name) for name in changing]
    wants_keys = keys.wanted(armature, [*own, *influences], keyed)
    before = _shown(subject, arm, bone)
    frame, written, kept = scene.frame_current, [*own, *influences], posed(armature)
    if wants_keys:
        keys.whole_frame()
        keys.check_before(armature, written, frame)
    sides = keys.sides(armature, written, frame - 1)
    for name in changing:
        carrier.constraints[name].influence = wanted[name]
    armature.update_tag()
    bpy.context.view_layer.update()
    place(subject, bone, before[-1])
    note = ""
    if wants_keys:
        keys.key_both(armature, own, sides, frame)
        keys.key_both(armature, influences, sides, frame)
        keys.key(armature, influences, frame, hold=True)
        note = keying_set.key_set(subject, arm, written, frame)
        keys.settle(armature, kept, written)
    else:
        bpy.context.view_layer.update()
    if space.constraint:
        grabbed.remember(subject, carrier, space.constraint, frame, keep=wants_keys)
    return outcome(subject, arm, before, _shown(subject, arm, bone), wants_keys, note)


def place(subject: Subject, bone: bpy.types.PoseBone, pose: Array) -> None:
    """Give a hold's channels the values that put it at `pose` (4, 4), armature space, under its space as evaluated."""
    arm_state.set_basis(bone, arm_state.own_transform(subject, bone, pose))
    subject.armature.update_tag()


def is_gone(constraint: Any) -> bool:
    """Whether what a constraint holds on to was deleted."""
    if constraint.type == "ARMATURE":
        return not any(
            entry.target is not None and _is_here(entry.target) and entry.subtarget in entry.target.pose.bones
            for entry in constraint.targets
        )
    return constraint.target is None or not _is_here(constraint.target)


def _is_here(item: bpy.types.Object) -> bool:
    # Deleted in the viewport, an object that somebody still uses stays in the file, outside every scene.
    return bool(item.users_scene)


def space_bone(subject: Subject, arm: str, hold: str) -> bpy.types.PoseBone:
    """The bone that carries the hold; HostError for another word than "hand" or "elbow"."""
    return _bone(subject, arm, hold, "space")


def hold_bone(subject: Subject, arm: str, hold: str) -> bpy.types.PoseBone:
    """The hold itself."""
    return _bone(subject, arm, hold, "hold")


def hold_channels(bone: bpy.types.PoseBone) -> list[Channel]:
    """The channels that place a hold."""
    return [Channel(bone.name, "location"), Channel(bone.name, arm_state.rotation_path(bone))]


def influence(carrier: bpy.types.PoseBone, constraint: str) -> Channel:
    """The influence of one of its constraints."""
    return Channel(carrier.name, f'constraints["{bpy.utils.escape_identifier(constraint)}"].influence')


def hand_key(arm: str) -> str:
    """Key and constraint of the space of another arm's hand."""
    return f"{_HAND}{arm}"


def _hand_label(arm: str) -> str:
    words = arm_words.words(arm)
    return f"{words[:1].upper()}{words[1:]} hand"


def _bone(subject: Subject, arm: str, hold: str, part: str) -> bpy.types.PoseBone:
    if hold not in HOLDS:
        raise HostError(f"no hold {hold!r}: there are {' and '.join(HOLDS)}")
    if arm not in subject.arms:
        raise HostError(f"{subject.armature.name!r} has no arm {arm!r}; it has: {', '.join(subject.arms)}")
    return subject.armature.pose.bones[subject.record.bone(arm, f"{hold}_{part}")]


def _influences(carrier: bpy.types.PoseBone) -> list[Channel]:
    return [influence(carrier, item.name) for item in carrier.constraints if item.type in KINDS]


def label(arms: Sequence[str], constraint: str) -> str:
    """What people call the space of a constraint of this name; "" is the world."""
    arm = constraint.removeprefix(_HAND)
    if constraint == hand_key(arm) and arm in arms:
        return _hand_label(arm)
    return constraint[:1].upper() + constraint[1:] if constraint else "World"


def _new_name(subject: Subject, target: bpy.types.Object, bone: str) -> str:
    for arm in subject.arms:
        if target == subject.armature and bone == subject.record.bone(arm, "hand"):
            return hand_key(arm)
    # Quotes would have to be escaped in every curve's path.
    return (f"{target.name}:{bone}" if bone else target.name).replace('"', "'").replace("\\", "/")


def whose(arm: str, hold: str) -> str:
    """ "lower left hand", "right elbow"."""
    return f"{arm_words.words(arm)} {hold}"


def _way(subject: Subject, start: str, end: str) -> list[str]:
    """The arms from one to another, each of which can be held in the next one's hand; the two if there is no way."""
    hands = {Thing(subject.armature, subject.record.bone(arm, "hand")): arm for arm in subject.arms}
    ways = [[start]]
    for way in ways:
        constraints = [item for hold in HOLDS for item in space_bone(subject, way[-1], hold).constraints]
        found = {hands[thing]: None for item in constraints for thing in targets_of(item) if thing in hands}
        if end in found:
            return [*way, end]
        ways += [[*way, arm] for arm in found if all(arm not in known for known in ways)]
    return [start, end]


def _shown(subject: Subject, arm: str, bone: bpy.types.PoseBone) -> Array:
    hold = host.PoseReader(subject.armature, bpy.context.view_layer, [bone.name]).read()
    return np.concatenate([joints(subject, arm), hold])
