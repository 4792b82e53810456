"""What the host mixes into a pose besides the armature's own action, and what of that forbids keys.

Measured in 4.5.15 and 5.2.3: as soon as a track that is not muted has a strip, the action is mixed in by its
influence, its blending and its extrapolation, and a muted strip brings the channels that it has keys for to their
defaults. Without such a strip the three settings do nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import bpy

from ..core.errors import HostError
from . import host

EDITOR = "(Nonlinear Animation editor)"


def check_mix(armature: bpy.types.Object) -> None:
    """Raise HostError where keys in the armature's action would not be what the host shows."""
    animation, render = armature.animation_data, bpy.context.scene.render
    if render.frame_map_old != render.frame_map_new:
        raise HostError("the scene stretches time: set both numbers of its time stretching to the same value")
    if animation is None:
        return
    if animation.use_tweak_mode:
        raise HostError(f"a strip of {armature.name!r} is in tweak mode: leave it first {EDITOR}")
    if animation.action is not None:
        _check_single_user(armature)
    if not any(True for _ in mixed_strips(animation)):
        return
    solo = next((track for track in animation.nla_tracks if track.is_solo), None)
    if solo is not None:
        raise HostError(f"the track {solo.name!r} is solo, so the host shows no other keys: turn that off {EDITOR}")
    name = animation.action.name if animation.action is not None else "new"
    if animation.action_blend_type != "REPLACE" or animation.action_influence != 1.0:
        raise HostError(
            f"the action {name!r} is mixed in by {animation.action_blend_type.lower()} at "
            f"{animation.action_influence:g}: set it to replace at 1 {EDITOR}"
        )
    if animation.action_extrapolation != "HOLD":
        raise HostError(f"the action {name!r} does not count outside its keys: set its extrapolation to hold {EDITOR}")


def check_strips(armature: bpy.types.Object, paths: Collection[str]) -> None:
    """Raise HostError for a strip that moves one of the data paths, muted or not: see above."""
    animation = armature.animation_data
    for track, strip in mixed_strips(animation) if animation is not None else ():
        bag = host.bag_of(strip.action, host.slot_of(strip)) if strip.action is not None else None
        moved = next((curve.data_path for curve in (bag.fcurves if bag else ()) if curve.data_path in paths), None)
        if moved is not None:
            raise HostError(
                f"the strip {strip.name!r} of the track {track.name!r} is mixed with the action and moves "
                f"{moved.removeprefix('pose.bones')}: mute that track, or bake the strips into the action {EDITOR}"
            )


def mixed_strips(animation: Any) -> Iterator[tuple[Any, Any]]:
    """Tracks and strips, those within others included, that the host mixes."""
    if not animation.use_nla:
        return
    for track in animation.nla_tracks:
        if not track.mute or track.is_solo:
            yield from ((track, strip) for strip in _strips(track))


def _check_single_user(armature: bpy.types.Object) -> None:
    """Raise HostError if the armature's part of its action moves something else too, or can not be written."""
    animation = armature.animation_data
    action, slot = animation.action, host.slot_of(animation)
    if action.library is not None:
        raise HostError(f"the action {action.name!r} is linked: make it local first, so that it can be keyed")
    for other in bpy.data.objects:
        data = other.animation_data
        if data is None:
            continue
        if other != armature and data.action == action and host.slot_of(data) == slot:
            raise HostError(
                f"the action {action.name!r} also moves {other.name!r}: make it single-user first "
                "(the number beside its name)"
            )
        for track in data.nla_tracks:
            for strip in _strips(track):
                if strip.action == action and host.slot_of(strip) == slot:
                    raise HostError(
                        f"the action {action.name!r} is also a strip {strip.name!r} of {other.name!r}: "
                        "make it single-user first (the number beside its name)"
                    )


def _strips(track: Any) -> Iterator[Any]:
    pending = list(track.strips)
    while pending:
        strip = pending.pop()
        yield strip
        pending += list(strip.strips)
