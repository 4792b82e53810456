"""Writes the keys of a converted range into an armature's own curves, so that all of it can be taken back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from . import keys
from .arm_state import Channel
from .convert_read import Frames
from .convert_splice import AUTO, AUTO_CLAMPED, Keys, RangeKeys, freeze, read_keys, splice, write_keys

Array = NDArray[np.float64]

SMOOTHED = (AUTO, AUTO_CLAMPED)


@dataclass(frozen=True)
class Track:
    """Values of one channel on every frame of a range.

    Attributes:
        channel: which.
        values: (N, C).
        kept: rows that get a key.
        stepped: whether a value holds until the next key.
    """

    channel: Channel
    values: Array
    kept: NDArray[np.intp]
    stepped: bool


class Journal:
    """What was written, and how it was before. It guards the curves' keys from before."""

    def __init__(self, armature: bpy.types.Object) -> None:
        self._armature = armature
        self._bag = curve_bag(armature)
        self._before: list[tuple[bpy.types.FCurve, Keys]] = []
        self._new: list[bpy.types.FCurve] = []
        self._groups = {group.name for group in self._bag.groups}

    def write(self, frames: Frames, tracks: Sequence[Track]) -> int:
        """Key `tracks` over `frames`; returns the number of keys within them."""
        known = {(curve.data_path, curve.array_index): curve for curve in self._bag.fcurves}
        return sum(
            self._write_curve(frames, track, column, known.get((path_of(track.channel), column)))
            for track in tracks
            for column in range(track.values.shape[1])
        )

    def _write_curve(self, frames: Frames, track: Track, column: int, curve: bpy.types.FCurve | None) -> int:
        values = track.values[:, column]
        new = RangeKeys(
            frames.first, frames.last, frames.numbers[track.kept], values[track.kept], stepped=track.stepped
        )
        level = _value(self._armature, track.channel, column)
        if curve is None:
            curve = self._bag.fcurves.new(path_of(track.channel), index=column)
            self._new.append(curve)
            name = track.channel.bone
            curve.group = self._bag.groups.get(name) or self._bag.groups.new(name)
            written = splice(read_keys(curve), new, False, lambda frame: level)
        else:
            old = read_keys(curve)
            self._before.append((curve, old))
            value_at = curve.evaluate if len(old) else lambda frame: level
            written = splice(old, new, curve.extrapolation == "LINEAR" and len(old) > 0, value_at)
        write_keys(curve, written)
        curve.update()
        _keep_handles(curve, written, frames)
        return len(new.frames)

    def undo(self) -> None:
        """Every curve, key and handle as before."""
        for curve, old in self._before:
            write_keys(curve, old)
        for curve in self._new:
            self._bag.fcurves.remove(curve)
        for group in [group for group in self._bag.groups if group.name not in self._groups]:
            self._bag.groups.remove(group)
        self._before, self._new = [], []


def _keep_handles(curve: bpy.types.FCurve, written: Keys, frames: Frames) -> None:
    """Freeze the handles outside the range if the host, which smooths over many keys at once, has moved one."""
    settled = read_keys(curve)
    outside = (written["co"][:, 0] < frames.first) | (written["co"][:, 0] > frames.last)
    moved = any(np.abs(settled[name] - written[name])[outside].any() for name in ("handle_left", "handle_right"))
    if not moved:
        return
    free = written.copy()
    computed = np.isin(written["handle_left_type"], SMOOTHED) | np.isin(written["handle_right_type"], SMOOTHED)
    freeze(free, outside & computed)
    write_keys(curve, free)
    curve.update()


def path_of(channel: Channel) -> str:
    """The channel's data path on its armature."""
    return f'pose.bones["{channel.bone}"]{"" if channel.is_dial else "."}{channel.path}'


def keys_within(armature: bpy.types.Object, channel: Channel, frames: Frames) -> int:
    """How many keys a channel has in the range, over all its curves."""
    curves = [curve for curve in curve_bag(armature).fcurves if curve.data_path == path_of(channel)]
    times = [read_keys(curve)["co"][:, 0] for curve in curves]
    return sum(int(np.sum((of_curve >= frames.first) & (of_curve <= frames.last))) for of_curve in times)


def curve_bag(armature: bpy.types.Object) -> Any:
    """The curves and groups that move this armature: of its own slot, where the action serves several characters.

    Raises HostError where there are no keys at all.
    """
    animation = armature.animation_data
    action: Any = animation.action if animation is not None else None
    bag: Any = None
    if action is not None and hasattr(action, "layers"):
        slot = animation.action_slot
        strips = [strip for layer in action.layers for strip in layer.strips]
        bag = strips[0].channelbag(slot) if strips and slot is not None else None
    elif action is not None:
        bag = action
    if bag is None or not any(len(curve.keyframe_points) for curve in bag.fcurves):
        raise HostError(
            f"{armature.name!r} has no keyframes to convert: key the animation first, or switch what the arm holds "
            "on this frame alone"
        )
    return bag


def check_action(armature: bpy.types.Object, frames: Frames) -> None:
    """Raise HostError where keys in the armature's action would not be what the host shows over `frames`."""
    animation, scene = armature.animation_data, bpy.context.scene
    curve_bag(armature)
    action = animation.action
    if action.library is not None:
        raise HostError(f"the action {action.name!r} is linked: make it local first, so that it can be keyed")
    if scene.render.frame_map_old != scene.render.frame_map_new:
        raise HostError("the scene stretches time: set both numbers of its time stretching to the same value")
    for other in bpy.data.objects:
        data = other.animation_data
        for strip in _strips(data) if data is not None else ():
            if strip.action == action:
                raise HostError(
                    f"the action {action.name!r} is also a strip {strip.name!r} of {other.name!r}: "
                    "make it single-user first (the number beside its name)"
                )
    if not animation.use_nla:
        return
    solo = [track for track in animation.nla_tracks if track.is_solo]
    for track in solo or animation.nla_tracks:
        for strip in track.strips:
            if not (track.mute or strip.mute):
                raise HostError(
                    f"the strip {strip.name!r} of the track {track.name!r} is mixed with the action: mute that track, "
                    "or bake the strips into the action (Nonlinear Animation editor)"
                )
    if animation.action_blend_type != "REPLACE" or animation.action_influence != 1.0:
        raise HostError(
            f"the action {action.name!r} is mixed in by {animation.action_blend_type.lower()} at "
            f"{animation.action_influence:g}: set it to replace at 1 (Nonlinear Animation editor)"
        )


def _strips(data: bpy.types.AnimData) -> Iterator[Any]:
    pending = [strip for track in data.nla_tracks for strip in track.strips]
    while pending:
        strip = pending.pop()
        yield strip
        pending += list(strip.strips)


def check_channels(armature: bpy.types.Object, channels: Sequence[Channel]) -> None:
    """Raise HostError, before anything is changed, if a channel can not be keyed as it should."""
    keys.check_free(armature, channels)
    paths = {path_of(channel): channel for channel in channels}
    for curve in curve_bag(armature).fcurves:
        channel = paths.get(curve.data_path)
        if channel is None:
            continue
        where = f"{channel.bone!r}: the curve of {channel.path}"
        if curve.group is not None and (curve.group.lock or curve.group.mute):
            state, mend = ("locked", "unlock") if curve.group.lock else ("muted", "unmute")
            raise HostError(f"{where} is in the {state} group {curve.group.name!r}: {mend} it in the graph editor")
        if any(not modifier.mute for modifier in curve.modifiers):
            raise HostError(f"{where} has a modifier, which would change the new keys: bake or remove it first")
        if len(curve.sampled_points):
            raise HostError(f"{where} is baked to samples: turn them back into keys first")


def _value(armature: bpy.types.Object, channel: Channel, column: int) -> float:
    bone = armature.pose.bones[channel.bone]
    return float(bone.path_resolve(channel.path)) if channel.is_dial else float(getattr(bone, channel.path)[column])
