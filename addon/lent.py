"""What a rig is like before it is lent, and how it gets back to it, whatever has become of the rig meanwhile.

Nothing of the host but data blocks is held on to: the file may be edited while a rig is lent, and to write to a bone, a
constraint or a slot that is gone crashes the host. What is gone stays gone; all else is as it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from . import host, rig

# The mode first: changing it lets the host convert the rotations.
CHANNELS = ("rotation_mode", "location", "rotation_quaternion", "rotation_euler", "rotation_axis_angle", "scale")

Dials = dict[str, bool | int | float]


@dataclass(frozen=True)
class Kept:
    """A rig as it was.

    Attributes:
        armature: whose.
        channels, dials: of each bone, by its name, in the host's order.
        influences: of what carries the arms' holds, by bone and constraint.
        animated: whether it had animation data.
        action, slot, layers: what it played; the slot by its identifier.
        place: location, quaternion and Euler angles of the object.
    """

    armature: bpy.types.Object
    channels: dict[str, dict[str, Any]]
    dials: dict[str, Dials]
    influences: dict[tuple[str, str], float]
    animated: bool
    action: bpy.types.Action | None
    slot: str
    layers: bool
    place: tuple[Any, Any, Any]


def kept_of(armature: bpy.types.Object) -> Kept:
    """What has to be given back."""
    animation = armature.animation_data
    action = animation.action if animation is not None else None
    slot = host.slot_of(animation) if action is not None else None
    return Kept(
        armature=armature,
        channels={bone.name: _channels(bone) for bone in armature.pose.bones},
        dials={
            bone.name: {key: value for key, value in bone.items() if isinstance(value, (bool, int, float))}
            for bone in armature.pose.bones
        },
        influences={(bone, item.name): item.influence for bone, item in space_constraints(armature)},
        animated=animation is not None,
        action=action,
        slot=slot.identifier if slot is not None else "",
        layers=animation.use_nla if animation is not None else False,
        place=(armature.location.copy(), armature.rotation_quaternion.copy(), armature.rotation_euler.copy()),
    )


def give_back(kept: Kept) -> None:
    """Everything that is still there as it was; nothing for an armature that is gone."""
    armature = kept.armature
    if not host.is_there(armature):
        return
    _play_again(kept)
    # Evaluated, and not set to its frame again: that would undo what is posed over the keys of anything else.
    bpy.context.view_layer.update()
    # The action has written its own values; what was posed over them comes back last.
    armature.location, armature.rotation_quaternion, armature.rotation_euler = kept.place
    names = _names(kept, armature)
    for bone in armature.pose.bones:
        if bone.name in names:
            _restore(bone, kept.channels[names[bone.name]], kept.dials[names[bone.name]])
    influences = {(names.get(bone), item.name): item for bone, item in space_constraints(armature)}
    for place, influence in kept.influences.items():
        if place in influences:
            influences[place].influence = influence
    armature.update_tag()
    bpy.context.view_layer.update()


def space_constraints(armature: bpy.types.Object) -> list[tuple[str, bpy.types.Constraint]]:
    """What can carry the arms' holds, each after its bone's name; nothing on an armature without arms."""
    if not rig.has_arms(armature):
        return []
    roles = rig.read_record(armature).roles
    spaces = [role.bone for role in roles if role.role in ("hand_space", "elbow_space")]
    bones = armature.pose.bones
    return [(name, item) for name in spaces if name in bones for item in bones[name].constraints]


def _play_again(kept: Kept) -> None:
    armature = kept.armature
    if not kept.animated:
        if armature.animation_data is not None:
            armature.animation_data_clear()
        return
    animation = armature.animation_data or armature.animation_data_create()
    action = kept.action if kept.action is not None and host.is_there(kept.action) else None
    animation.action = action
    host.give_slot(animation, host.slot_called(action, kept.slot))
    animation.use_nla = kept.layers


def _names(kept: Kept, armature: bpy.types.Object) -> dict[str, str]:
    """The name before of each bone that was there, by its name now."""
    before, now = list(kept.channels), [bone.name for bone in armature.pose.bones]
    old, new = set(before), set(now)
    # A bone that is renamed stays where it is in the host's list.
    pairs = list(zip(now, before, strict=False)) if len(now) == len(before) else []
    if all(here == there or (here not in old and there not in new) for here, there in pairs):
        return dict(pairs) or {name: name for name in now if name in old}
    return {name: name for name in now if name in old}


def _restore(bone: bpy.types.PoseBone, channels: dict[str, Any], dials: Dials) -> None:
    for name, value in channels.items():
        setattr(bone, name, value)
    for key, value in dials.items():
        if key not in bone or bone[key] != value:
            bone[key] = value


def _channels(bone: bpy.types.PoseBone) -> dict[str, Any]:
    return {
        name: value if isinstance(value := getattr(bone, name), str) else tuple(value)  # type: ignore[arg-type]
        for name in CHANNELS
    }
