"""The animator's active keying set, as far as it is about an arm: what a change keys besides what it changes.

A keying set says what somebody wants keyed on a frame that they key. A change of what is held is such a frame, so the
set's paths on this arm's bones get a key there too; they do not change, so the frames around it stay as they are. What
the change itself needs is keyed whether the set names it or not (keys.py). Sets of the host's own that go by the
selection count for the arm's selected bones.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import bpy

from ..core.errors import HostError
from . import host, keys
from .arm_state import Channel, rotation_path
from .subjects import Subject

LOCATION, ROTATION, SCALE, DIALS, KEYED = "location", "rotation", "scale", "dials", "keyed"
# The host's own sets, by their identifier: what they key of a bone. Those of "visual" transforms and of what bones do
# not have are not among them.
OF_SELECTION = {
    "Available": (KEYED,),
    "Location": (LOCATION,),
    "Rotation": (ROTATION,),
    "Scaling": (SCALE,),
    "BUILTIN_KSI_LocRot": (LOCATION, ROTATION),
    "BUILTIN_KSI_LocScale": (LOCATION, SCALE),
    "BUILTIN_KSI_RotScale": (ROTATION, SCALE),
    "LocRotScale": (LOCATION, ROTATION, SCALE),
    "LocRotScaleCProp": (LOCATION, ROTATION, SCALE, DIALS),
    "WholeCharacterSelected": (LOCATION, ROTATION, SCALE, DIALS),
}
WHOLE = "WholeCharacter"
_BONE = 'pose.bones["'


def key_set(subject: Subject, arm: str, changed: Iterable[Channel], frame: int) -> str:
    """Key what the active keying set has on this arm and `changed` has not; what was keyed, for people, or ""."""
    armature, active = subject.armature, bpy.context.scene.keying_sets.active
    if active is None:
        return ""
    known = {*changed}
    free, others = [], 0
    for channel in dict.fromkeys(_channels(subject, arm, active)):
        if channel in known or Channel(channel.bone, channel.path) in known:
            continue
        try:
            keys.check_free(armature, [channel])
        except HostError:
            others += 1
        else:
            free.append(channel)
    over = keys.posed_over(armature, free)
    keys.key_both(armature, over, keys.sides(armature, over, frame - 1), frame)
    keys.key(armature, [item for item in free if item not in over], frame, hold=False)
    if not free and not others:
        return ""
    left = f" ({others} of its channels can not be keyed)" if others else ""
    return f"{len(free)} more channels of the keying set {active.bl_label!r} keyed{left}"


def _channels(subject: Subject, arm: str, active: Any) -> Iterator[Channel]:
    armature = subject.armature
    own = dict.fromkeys(entry.bone for entry in subject.record.roles if entry.arm == arm)
    bones = [armature.pose.bones[name] for name in own if name in armature.pose.bones]
    if active.is_path_absolute:
        for path in active.paths:
            if path.id == armature and path.data_path.startswith(_BONE):
                name, _, rest = path.data_path[len(_BONE) :].partition('"]')
                found = Channel(name, rest.removeprefix("."), -1 if path.use_entire_array else path.array_index)
                if name in own and _is_there(armature, found):
                    yield found
        return
    name = active.bl_idname
    for bone in bones:
        if name == WHOLE or host.is_selected(bone):
            for what in OF_SELECTION["WholeCharacterSelected"] if name == WHOLE else OF_SELECTION.get(name, ()):
                yield from _of_bone(armature, bone, what)


def _of_bone(armature: bpy.types.Object, bone: bpy.types.PoseBone, what: str) -> Iterator[Channel]:
    if what == ROTATION:
        yield Channel(bone.name, rotation_path(bone))
    elif what in (LOCATION, SCALE):
        yield Channel(bone.name, what)
    else:
        for candidate in _dials(bone) if what == DIALS else (*_all(bone), *_dials(bone)):
            if what == DIALS or keys.curves_for(armature, candidate):
                yield candidate


def _all(bone: bpy.types.PoseBone) -> tuple[Channel, ...]:
    return tuple(Channel(bone.name, path) for path in (LOCATION, rotation_path(bone), SCALE))


def _dials(bone: bpy.types.PoseBone) -> Iterator[Channel]:
    for name, entry in bone.items():
        if isinstance(entry, float | int) and not isinstance(entry, bool):
            yield Channel(bone.name, f'["{bpy.utils.escape_identifier(name)}"]')


def _is_there(armature: bpy.types.Object, channel: Channel) -> bool:
    try:
        armature.path_resolve(channel.data_path)
    except ValueError:
        return False
    return True
