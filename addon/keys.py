"""Keys of an arm's channels: both sides of a change, so that the frames around it stay as they were.

What is keyed, and why:

- A change of what is held keys every channel that it changes, whatever the options say: with one of them left out, the
  hold would drift. It does so where automatic keying is on, or where one of those channels has keys already.
- Automatic keying that may only replace keys, or only add to curves that there are (preferences), is not reason
  enough to begin curves. Where one of the channels is keyed already, the others get curves all the same; the sentence
  of the change says how many.
- Channels that are posed over their keys, and not keyed, are part of the pose that is kept: they are keyed too.
- New keys take their interpolation, handles and type from the preferences and the tool settings. A key within a curve
  goes on as the curve did there; dials step.
- The active keying set is keyed besides: see keying_set.py.

Nothing steps to another frame: what the curves say there is read from them, so that whatever is posed and not keyed,
of this character or another, stays; `settle` ends a change so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import bpy

from ..core.errors import HostError
from .arm_state import SAME, Channel
from .curve_shape import SAME_FRAME, restore, shapes_of
from .curves import own_bag
from .mixing import check_mix, check_strips
from .posed import Posed, pose_but


@dataclass(frozen=True)
class Side:
    """One component of a channel on one side of a change: its value, and the interpolation by which it went on."""

    value: float
    onward: str


# By data path and index.
Sides = dict[tuple[str, int], Side]


def wanted(armature: bpy.types.Object, channels: Sequence[Channel], keyed: bool | None = None) -> bool:
    """Whether a change of `channels` is to be keyed; `keyed` None leaves it to the file and the preferences."""
    return keying_is_on(armature, channels) if keyed is None else keyed


def keying_is_on(armature: bpy.types.Object, channels: Iterable[Channel]) -> bool:
    """Whether a change is to be keyed: automatic keying may add keys, or one of the channels has keys already."""
    settings, preferences = bpy.context.scene.tool_settings, bpy.context.preferences.edit
    adds = settings.auto_keying_mode == "ADD_REPLACE_KEYS" and not preferences.use_keyframe_insert_available
    return (bool(settings.use_keyframe_insert_auto) and adds) or any(
        True for channel in channels for _ in curves_for(armature, channel)
    )


def curves_for(armature: bpy.types.Object, channel: Channel) -> list[bpy.types.FCurve]:
    """The curves of a channel in the armature's own part of its action."""
    bag = own_bag(armature)
    if bag is None:
        return []
    return [
        curve
        for curve in bag.fcurves
        if curve.data_path == channel.data_path and channel.index in (-1, curve.array_index)
    ]


def check_free(armature: bpy.types.Object, channels: Sequence[Channel]) -> None:
    """Raise HostError, before anything is changed, if a channel can not take a key or a value."""
    check_mix(armature)
    check_strips(armature, {channel.data_path for channel in channels})
    animation = armature.animation_data
    driven = {curve.data_path for curve in animation.drivers} if animation is not None else set()
    for channel in channels:
        if channel.path == "rotation_axis_angle":
            raise HostError(f"{channel.bone!r} turns by axis and angle: set its rotation mode to Quaternion")
        if channel.data_path in driven:
            raise HostError(
                f"{channel.bone!r}: {channel.path} is driven, so it can not be set: remove that driver, "
                "or change what drives it"
            )
        for curve in curves_for(armature, channel):
            _check_curve(channel, curve)


def _check_curve(channel: Channel, curve: bpy.types.FCurve) -> None:
    where = f"{channel.bone!r}: the curve of {channel.path}"
    for flag, state, mend in ((curve.lock, "locked", "unlock"), (curve.mute, "muted", "unmute")):
        if flag:
            raise HostError(f"{where} is {state}: {mend} it in the graph editor")
    if curve.group is not None and (curve.group.lock or curve.group.mute):
        state, mend = ("locked", "unlock") if curve.group.lock else ("muted", "unmute")
        raise HostError(f"{where} is in the {state} group {curve.group.name!r}: {mend} it in the graph editor")
    if any(not modifier.mute for modifier in curve.modifiers):
        raise HostError(f"{where} has a modifier, which would change the new keys: bake or remove it first")
    if len(curve.sampled_points):
        raise HostError(f"{where} is baked to samples: turn them back into keys first")


def whole_frame() -> int:
    """The frame, where a change can be keyed; HostError between two."""
    scene = bpy.context.scene
    if scene.frame_subframe:
        raise HostError("this is between two frames: go to a whole frame, so that the change can be keyed")
    return int(scene.frame_current)


def check_before(armature: bpy.types.Object, channels: Iterable[Channel], frame: int) -> None:
    """Raise HostError for a curve whose way up to its first key a key at `frame` - 1 would bend."""
    for channel in channels:
        for curve in curves_for(armature, channel):
            first = min((point.co.x for point in curve.keyframe_points), default=None)
            if curve.extrapolation == "LINEAR" and first is not None and frame - 1 < first:
                raise HostError(
                    f"{channel.bone!r}: the curve of {channel.path} runs on in a line before its first key at "
                    f"{first:g}: set a key before frame {frame - 1}, or its extrapolation to constant"
                )


def posed_over(armature: bpy.types.Object, channels: Iterable[Channel]) -> list[Channel]:
    """Those of the channels whose value is not what their curves say on this frame."""
    scene = bpy.context.scene
    now = scene.frame_current + scene.frame_subframe
    return [
        channel for channel in channels if any(_is_over(armature, item, now) for item in curves_for(armature, channel))
    ]


def _is_over(armature: bpy.types.Object, curve: bpy.types.FCurve, frame: float) -> bool:
    return abs(_now(armature, curve.data_path, curve.array_index) - curve.evaluate(frame)) > SAME


def sides(armature: bpy.types.Object, channels: Iterable[Channel], frame: float) -> Sides:
    """What `channels` are at `frame`, the last one before a change: by their curves, or without them as now."""
    out: Sides = {}
    for channel in channels:
        curves = {curve.array_index: curve for curve in curves_for(armature, channel) if len(curve.keyframe_points)}
        for place in _places(armature, channel):
            curve = curves.get(place)
            level = _now(armature, channel.data_path, place) if curve is None else curve.evaluate(frame)
            out[channel.data_path, place] = Side(level, _interpolation_at(curve, frame))
    return out


def key_both(armature: bpy.types.Object, channels: Sequence[Channel], before: Sides, frame: int) -> None:
    """Key a change on both sides: what was `before` at `frame` - 1, where it holds, and what is now at `frame`.

    Up to `frame` - 1, and from each curve's next key on, the curves keep their shape; in between they go on as they
    did. Nothing is evaluated in between.
    """
    for channel in channels:
        _key_before(armature, channel, before, frame - 1)
        key(armature, [channel], frame, hold=False, before=before)
        for curve in curves_for(armature, channel):
            point = _point(curve, frame - 1)
            if point is not None:
                # The host gives the key before a new one the way in which the curve went on.
                point.interpolation = "CONSTANT"


def _key_before(armature: bpy.types.Object, channel: Channel, before: Sides, frame: int) -> None:
    curves = {curve.array_index: curve for curve in curves_for(armature, channel)}
    shapes = shapes_of(curves.values())
    there = {place for place, curve in curves.items() if _point(curve, frame) is not None}
    for place in _places(armature, channel):
        if place not in there:
            _insert(armature, channel, place, frame)
    for curve in curves_for(armature, channel):
        point = _there(curve, channel, frame)
        if curve.array_index not in there:
            point.co.y = before[channel.data_path, curve.array_index].value
            _dress(point)
            curve.update()
            restore([curve], shapes, frame)
            # The update moves a curve's keys to other memory: what was held of them before it is gone.
            point = _there(curve, channel, frame)
        point.interpolation = "CONSTANT"


def key(
    armature: bpy.types.Object, channels: Sequence[Channel], frame: float, *, hold: bool, before: Sides | None = None
) -> None:
    """Key the channels' present values at `frame`; `hold` keeps them until the next key, as dials always do.

    Up to the key, and from the next key on, the curves keep their shape; in between they go on as they did, or did
    `before`.
    """
    for channel in channels:
        curves = {curve.array_index: curve for curve in curves_for(armature, channel)}
        shapes = shapes_of(curves.values())
        ways = {place: _interpolation_at(curves.get(place), frame) for place in _places(armature, channel)}
        if before is not None:
            ways = {place: before[channel.data_path, place].onward for place in ways}
        there = {place for place, curve in curves.items() if _point(curve, frame) is not None}
        for place in ways:
            _insert(armature, channel, place, frame)
        for curve in curves_for(armature, channel):
            point = _there(curve, channel, frame)
            if curve.array_index not in there:
                _dress(point)
            restore([curve], shapes, frame)
            point.interpolation = "CONSTANT" if hold or channel.is_dial else ways[curve.array_index]


def settle(armature: bpy.types.Object, posed: Posed, written: Sequence[Channel]) -> None:
    """Evaluate after keys were set; what is posed over other keys, which the host then takes back, stays `posed`."""
    bpy.context.view_layer.update()
    pose_but(armature, posed, written)


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
    found = armature.path_resolve(channel.data_path)
    return [float(item) for item in found] if hasattr(found, "__len__") else float(found)


def set_value(armature: bpy.types.Object, channel: Channel, wanted: float | list[float]) -> None:
    """Set a dial, or a location or rotation."""
    bone = armature.pose.bones[channel.bone]
    if channel.is_dial:
        bone[channel.path[2:-2]] = wanted
    else:
        setattr(bone, channel.path, wanted)
    armature.update_tag()


def _now(armature: bpy.types.Object, path: str, place: int) -> float:
    found = armature.path_resolve(path)
    return float(found[place] if hasattr(found, "__len__") else found)


def _places(armature: bpy.types.Object, channel: Channel) -> list[int]:
    """The indices of a channel's components; 0 for a single number."""
    found = armature.path_resolve(channel.data_path)
    if not hasattr(found, "__len__"):
        return [0]
    return list(range(len(found))) if channel.index < 0 else [channel.index]


def _insert(armature: bpy.types.Object, channel: Channel, place: int, frame: float) -> None:
    # From the object on: a bone does not take the path of a constraint's influence.
    kind = bpy.context.scene.tool_settings.keyframe_type
    single = not hasattr(armature.path_resolve(channel.data_path), "__len__")
    armature.keyframe_insert(
        channel.data_path, index=-1 if single else place, frame=frame, group=channel.bone, keytype=kind
    )


def _point(curve: bpy.types.FCurve, frame: float) -> bpy.types.Keyframe | None:
    return next((point for point in curve.keyframe_points if abs(point.co.x - frame) < SAME_FRAME), None)


def _there(curve: bpy.types.FCurve, channel: Channel, frame: float) -> bpy.types.Keyframe:
    """The key at `frame`; HostError where the host has set none."""
    point = _point(curve, frame)
    if point is None:
        raise HostError(
            f"{channel.bone!r}: the host set no key of {channel.path} at frame {frame:g}: undo, and unlock it"
        )
    return point


def _interpolation_at(curve: bpy.types.FCurve | None, frame: float) -> str:
    """How the curve goes on at `frame`; before its first key as that key does, without keys as new ones do."""
    points = list(curve.keyframe_points) if curve is not None else []
    if not points:
        return str(bpy.context.preferences.edit.keyframe_new_interpolation_type)
    earlier = [point for point in points if point.co.x < frame + SAME_FRAME]
    return str((earlier or points)[-1 if earlier else 0].interpolation)


def _dress(point: bpy.types.Keyframe) -> None:
    """Handles as the preferences want them for new keys: the host itself leaves them out when a script keys."""
    point.handle_left_type = point.handle_right_type = bpy.context.preferences.edit.keyframe_new_handle_type
