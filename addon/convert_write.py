"""Writes the keys of a converted range into an armature's own curves, so that all of it can be taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from .arm_state import Channel
from .convert_read import Frames
from .convert_splice import AUTO, AUTO_CLAMPED, Keys, RangeKeys, freeze, inner, read_keys, splice, write_keys
from .curves import own_bag
from .keys import value
from .mixing import check_mix

Array = NDArray[np.float64]

SMOOTHED = (AUTO, AUTO_CLAMPED)


@dataclass(frozen=True)
class Track:
    """Values of one channel on every frame of a range.

    Attributes:
        channel: which.
        values: (N, C).
        kept: rows that get a key.
        stepped: whether a value holds until the next key, for all of them or row by row (N,).
    """

    channel: Channel
    values: Array
    kept: NDArray[np.intp]
    stepped: bool | NDArray[np.bool_]


class Journal:
    """What was written, and how it was before. It guards the curves' keys from before.

    `bag`: the curves to write to; None for the armature's own, which has to have keys. `borders`: whether a curve that
    is new keeps the value from before outside the range.
    """

    def __init__(self, armature: bpy.types.Object, bag: Any = None, *, borders: bool = True) -> None:
        self._armature = armature
        self._bag = curve_bag(armature) if bag is None else bag
        self._borders = borders
        self._before: list[tuple[bpy.types.FCurve, Keys]] = []
        self._new: list[bpy.types.FCurve] = []
        self._groups = {group.name for group in self._bag.groups}

    def write(self, frames: Frames, tracks: Sequence[Track]) -> int:
        """Key `tracks` over `frames`; returns the number of keys within them."""
        known = {(curve.data_path, curve.array_index): curve for curve in self._bag.fcurves}
        return sum(
            self._write_curve(frames, track, column, known.get((track.channel.data_path, column)))
            for track in tracks
            for column in range(track.values.shape[1])
        )

    def _write_curve(self, frames: Frames, track: Track, column: int, curve: bpy.types.FCurve | None) -> int:
        values = track.values[:, column]
        stepped = track.stepped if isinstance(track.stepped, bool) else track.stepped[track.kept]
        new = RangeKeys(frames.first, frames.last, frames.numbers[track.kept], values[track.kept], stepped=stepped)
        level = _value(self._armature, track.channel, column)
        if curve is None:
            curve = self._bag.fcurves.new(track.channel.data_path, index=column)
            self._new.append(curve)
            name = track.channel.bone
            curve.group = self._bag.groups.get(name) or self._bag.groups.new(name)
            written = splice(read_keys(curve), new, False, lambda frame: level) if self._borders else inner(new)
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
        # A curve that was written twice goes back over what it was in between.
        for curve, old in reversed(self._before):
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


def keys_within(armature: bpy.types.Object, channel: Channel, frames: Frames) -> int:
    """How many keys a channel has in the range, over all its curves."""
    curves = [curve for curve in curve_bag(armature).fcurves if curve.data_path == channel.data_path]
    times = [read_keys(curve)["co"][:, 0] for curve in curves]
    return sum(int(np.sum((of_curve >= frames.first) & (of_curve <= frames.last))) for of_curve in times)


def curve_bag(armature: bpy.types.Object) -> Any:
    """The curves and groups that move this armature: of its own slot, where the action serves several characters.

    Raises HostError where there are no keys at all.
    """
    bag = own_bag(armature)
    if bag is None or not any(len(curve.keyframe_points) for curve in bag.fcurves):
        raise HostError(
            f"{armature.name!r} has no keyframes to convert: key the animation first, or switch what the arm holds "
            "on this frame alone"
        )
    return bag


def check_action(armature: bpy.types.Object) -> None:
    """Raise HostError where there is nothing to convert, or keys would not be what the host shows."""
    curve_bag(armature)
    check_mix(armature)


def _value(armature: bpy.types.Object, channel: Channel, column: int) -> float:
    found = value(armature, channel)
    return found[column] if isinstance(found, list) else found
