"""Grab and let go in one operation: the space that carries a hold, then the hold itself; all of it or nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import bpy
import numpy as np

from ..core.errors import HostError
from ..core.match.target import Target
from . import arm_state, keys, spaces
from .arm_state import Channel
from .convert_read import frames_of
from .curve_shape import SAME_FRAME
from .holds import MODES
from .posed import back, posed
from .subjects import DIAL_FIELDS, FK_ROLES, Subject
from .switch import Outcome, check_editable, planned, switch

PARTS = {"hand": ("hand",), "elbow": ("elbow",), "both": ("hand", "elbow")}


@dataclass(frozen=True)
class Thing:
    """What to hold on to: an object, or one of its bones."""

    item: bpy.types.Object
    bone: str = ""

    def label(self) -> str:
        """For people."""
        return f"{self.bone} of {self.item.name}" if self.bone else self.item.name


def grab(subject: Subject, arm: str, parts: str, target: Thing | None, keyed: bool | None = None) -> Outcome:
    """Hold `target` (None is the world) with hand, elbow or both from this frame on, the arm staying where it is.

    `keyed` None keys where keying is on. Raises HostError or MatchError before anything is changed.
    """
    holds = _holds(parts)
    for hold in holds:
        spaces.check_settable(subject, arm, hold)
        if target is not None:
            spaces.check_target(subject, arm, hold, target.item, target.bone)
    mode = _target(parts)
    changed = planned(subject, arm, mode)[1]
    channels = list(dict.fromkeys([*every_channel(subject, arm, holds), *changed]))
    over = keys.posed_over(subject.armature, arm_state.every(subject, arm))
    keys.check_free(subject.armature, [*channels, *over])
    wants_keys = keys.wanted(subject.armature, channels, keyed)
    if wants_keys:
        keys.check_before(subject.armature, [*channels, *over], keys.whole_frame())
    # From here on nothing is refused: what was checked is all that the two steps ask for.
    steps = []
    for hold in holds:
        if target is None:
            space = spaces.space_named(subject, arm, hold, spaces.WORLD)
        else:
            space = spaces.ensure_space(subject, arm, hold, target.item, target.bone)
        steps.append(spaces.set_space(subject, arm, hold, space, wants_keys))
    steps.append(switch(subject, arm, mode, keyed=wants_keys))
    return _together(steps, wants_keys)


def release(subject: Subject, arm: str, keyed: bool | None = None) -> Outcome:
    """Let go of everything from this frame on, the arm staying where it is. Raises as `grab` does."""
    return switch(subject, arm, Target(ik=MODES["none"].ik, elbow=MODES["none"].elbow), keyed=keyed)


def hold_range(subject: Subject, arm: str, parts: str, target: Thing | None, first: int, last: int) -> Outcome:
    """Hold `target` from `first` to `last` and let go there, keyed; the motion of the rest is as it is.

    Frames before `first` stay as they are; after `last` the arm goes on to its next keys, and from there on it is as
    before. Raises HostError or MatchError before anything is changed.
    """
    check_range(subject, arm, parts, target, first, last)
    armature, scene, holds = subject.armature, bpy.context.scene, _holds(parts)
    channels, controls = every_channel(subject, arm, holds), _controls(subject, arm)
    at, kept = (scene.frame_current, scene.frame_subframe), posed(armature)
    own = [*channels, *controls]
    said = _said(armature, own, sum(at))
    try:
        further = _values_at_next_keys(armature, controls, last)
        scene.frame_set(first)
        began = grab(subject, arm, parts, target, keyed=True)
        # A key of the hold after the range would pull at it within.
        held = [channel for hold in holds for channel in spaces.hold_channels(spaces.hold_bone(subject, arm, hold))]
        keys.key(armature, held, first, hold=True)
        scene.frame_set(last)
        ended = release(subject, arm, keyed=True)
        _come_back(armature, further, last)
    finally:
        now = _said(armature, own, sum(at))
        back(armature, at, kept, [channel for channel in own if said[channel] != now[channel]])
    return _together([began, ended], True)


def check_range(subject: Subject, arm: str, parts: str, target: Thing | None, first: int, last: int) -> None:
    """Raise HostError where `hold_range` would."""
    holds = _holds(parts)
    for frame in (first, last):
        frames_of(frame, frame)
    if last <= first:
        raise HostError(f"from {first} to {last} there is nothing to hold: the last frame must come after the first")
    armature = subject.armature
    check_editable(armature)
    for hold in holds:
        if target is not None:
            spaces.check_target(subject, arm, hold, target.item, target.bone)
    channels = every_channel(subject, arm, holds)
    keyed = [*channels, *_controls(subject, arm)]
    keys.check_free(armature, keyed)
    keys.check_before(armature, keyed, first)
    _check_no_keys(armature, channels, first, last)


def every_channel(subject: Subject, arm: str, holds: Sequence[str]) -> list[Channel]:
    """What says whether and where the arm is held: dials of the mode, holds, influences of their spaces."""
    dials = subject.record.bone(arm, "dials")
    out = [Channel(dials, f'["{key}"]') for key, field in DIAL_FIELDS.items() if field in ("ik", "elbow")]
    for hold in holds:
        carrier = spaces.space_bone(subject, arm, hold)
        out += spaces.hold_channels(spaces.hold_bone(subject, arm, hold))
        out += [spaces.influence(carrier, item.name) for item in carrier.constraints if item.type in spaces.KINDS]
    return out


def _said(armature: bpy.types.Object, channels: Sequence[Channel], frame: float) -> dict[Channel, list[float]]:
    """What the curves of each channel say at a frame."""
    return {channel: [curve.evaluate(frame) for curve in keys.curves_for(armature, channel)] for channel in channels}


def _controls(subject: Subject, arm: str) -> list[Channel]:
    """The other channels that holding and letting go may set."""
    record = subject.record
    dials = record.bone(arm, "dials")
    return [
        *(Channel(record.bone(arm, role), "rotation_euler") for role in FK_ROLES),
        Channel(record.bone(arm, "elbow_aim"), "location"),
        *(Channel(dials, f'["{key}"]') for key, field in DIAL_FIELDS.items() if field not in ("ik", "elbow")),
    ]


def _values_at_next_keys(
    armature: bpy.types.Object, controls: Sequence[Channel], last: int
) -> tuple[int, dict[Channel, float | list[float]]] | None:
    """The next frame after `last` at which one of the controls is keyed, and what those without later keys are there;
    None if no key follows.
    """
    later = {channel: frame for channel in controls if (frame := keys.next_key(armature, channel, last)) is not None}
    if not later:
        return None
    following = math.ceil(min(later.values()))
    bpy.context.scene.frame_set(following)
    return following, {channel: keys.value(armature, channel) for channel in controls if channel not in later}


def _come_back(
    armature: bpy.types.Object, further: tuple[int, dict[Channel, float | list[float]]] | None, last: int
) -> None:
    """Bring controls that nothing else brings back to what they were, over the frames up to the arm's next keys."""
    if further is None:
        return
    following, values = further
    bpy.context.scene.frame_set(following)
    for channel, value in values.items():
        if np.abs(np.subtract(keys.value(armature, channel), value)).max() <= arm_state.SAME:
            continue
        keys.set_value(armature, channel, value)
        keys.key(armature, [channel], following, hold=False)
        for curve in keys.curves_for(armature, channel):
            for point in curve.keyframe_points:
                if abs(point.co.x - last) < SAME_FRAME:
                    point.interpolation = "BEZIER"


def _check_no_keys(armature: bpy.types.Object, channels: Sequence[Channel], first: int, last: int) -> None:
    """Raise HostError where keys within the range would let go, or take hold of something else."""
    for channel in channels:
        frames = sorted(
            {
                point.co.x
                for curve in keys.curves_for(armature, channel)
                for point in curve.keyframe_points
                if first < point.co.x < last
            }
        )
        if frames:
            raise HostError(
                f"{channel.bone!r}: {channel.path} has a key at frame {frames[0]:g}, between {first} and {last}, which "
                "would disturb the hold: delete that key, or choose a range without it"
            )


def _target(parts: str) -> Target:
    return Target(ik=MODES[parts].ik, elbow=MODES[parts].elbow)


def _holds(parts: str) -> tuple[str, ...]:
    if parts not in PARTS:
        raise HostError(f"no part {parts!r} to hold with: there are {', '.join(PARTS)}")
    return PARTS[parts]


def _together(steps: Sequence[Outcome], keyed: bool) -> Outcome:
    notes = "; ".join(dict.fromkeys(step.note for step in steps if step.note))
    return Outcome(max(step.pop for step in steps), max(step.pop_angle for step in steps), keyed, notes)
