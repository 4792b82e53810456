"""Keys of an arm's channels: both sides of a change, so that the frames around it stay as they were."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import bpy

from ..core.errors import HostError
from .arm_state import Channel
from .curve_shape import SAME_FRAME, restore, shapes_of
from .curves import curves_of


def keying_is_on(armature: bpy.types.Object, channels: Iterable[Channel]) -> bool:
    """Whether a change is to be keyed: automatic keying is on, or one of the channels has keys already."""
    return bool(bpy.context.scene.tool_settings.use_keyframe_insert_auto) or any(
        True for channel in channels for _ in curves_for(armature, channel)
    )


def curves_for(armature: bpy.types.Object, channel: Channel) -> list[bpy.types.FCurve]:
    """The curves of a channel in the armature's own action."""
    animation = armature.animation_data
    if animation is None or animation.action is None:
        return []
    path = _path(channel)
    return [curve for curve in curves_of(animation.action) if curve.data_path == path]


def check_free(armature: bpy.types.Object, channels: Sequence[Channel]) -> None:
    """Raise HostError, before anything is changed, if a channel can not take a key or a value."""
    animation = armature.animation_data
    driven = {curve.data_path for curve in animation.drivers} if animation is not None else set()
    for channel in channels:
        if _path(channel) in driven:
            raise HostError(
                f"{channel.bone!r}: {channel.path} is driven, so it can not be set: remove that driver, "
                "or change what drives it"
            )
        for curve in curves_for(armature, channel):
            if curve.lock:
                raise HostError(
                    f"{channel.bone!r}: the curve of {channel.path} is locked: unlock it in the graph editor"
                )
            if curve.mute:
                raise HostError(
                    f"{channel.bone!r}: the curve of {channel.path} is muted: unmute it in the graph editor"
                )
    if animation is not None and animation.action is not None:
        if animation.action.library is not None:
            raise HostError(
                f"the action {animation.action.name!r} is linked: make it local first, so that it can be keyed"
            )
        users = [
            item for item in bpy.data.objects if item.animation_data and item.animation_data.action == animation.action
        ]
        slots = {getattr(item.animation_data, "action_slot", None) for item in users}
        if len(users) > 1 and len(slots) == 1:
            raise HostError(
                f"the action {animation.action.name!r} also moves "
                f"{next(item.name for item in users if item != armature)!r}: "
                "make it single-user first (the number beside its name)"
            )


def key(armature: bpy.types.Object, channels: Sequence[Channel], frame: float, *, hold: bool) -> None:
    """Key the channels' present values at `frame`; `hold` keeps them until the next key, as dials always do.

    Up to the key, and from the next key on, the curves keep their shape.
    """
    for channel in channels:
        before = shapes_of(curves_for(armature, channel))
        # From the object on: a bone does not take the path of a constraint's influence.
        armature.keyframe_insert(_path(channel), frame=frame, group=channel.bone)
        restore(curves_for(armature, channel), before, frame)
        if not (hold or channel.is_dial):
            continue
        for curve in curves_for(armature, channel):
            for point in curve.keyframe_points:
                if abs(point.co.x - frame) < SAME_FRAME:
                    point.interpolation = "CONSTANT"


def next_key(armature: bpy.types.Object, channel: Channel, frame: float) -> float | None:
    """The first key of a channel after `frame`; None if there is none."""
    later = [
        point.co.x
        for curve in curves_for(armature, channel)
        for point in curve.keyframe_points
        if point.co.x > frame + SAME_FRAME
    ]
    return min(later, default=None)


def value(armature: bpy.types.Object, channel: Channel) -> float | list[float]:
    """What a channel is now."""
    found = armature.path_resolve(_path(channel))
    return [float(item) for item in found] if hasattr(found, "__len__") else float(found)


def set_value(armature: bpy.types.Object, channel: Channel, wanted: float | list[float]) -> None:
    """Set a dial, or a location or rotation."""
    bone = armature.pose.bones[channel.bone]
    if channel.is_dial:
        bone[channel.path[2:-2]] = wanted
    else:
        setattr(bone, channel.path, wanted)
    armature.update_tag()


def _path(channel: Channel) -> str:
    joint = "" if channel.is_dial else "."
    return f'pose.bones["{channel.bone}"]{joint}{channel.path}'
