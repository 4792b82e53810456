"""The same change on several arms: all of them, or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...core.errors import HostError
from ...core.match.target import Target
from .. import arm_state, grab, keys, spaces
from ..holds import MODES
from ..subjects import Subject
from ..switch import Outcome, check_editable, planned, switch


def switch_all(subject: Subject, targets: Mapping[str, Target]) -> Outcome:
    """Bring each arm to its target without moving it. Raises HostError or MatchError before anything is changed."""
    if len(targets) > 1:
        for arm, target in targets.items():
            _check_switch(subject, arm, target)
    return worst([switch(subject, arm, target) for arm, target in targets.items()])


def grab_all(subject: Subject, arms: Sequence[str], parts: str, thing: grab.Thing | None) -> Outcome:
    """Let each arm grab the same thing. Raises HostError or MatchError before anything is changed."""
    if len(arms) > 1:
        for arm in arms:
            for hold in grab.PARTS[parts]:
                spaces.check_settable(subject, arm, hold)
                if thing is not None:
                    spaces.check_target(subject, arm, hold, thing.item, thing.bone)
            changed = planned(subject, arm, target_for(parts))[1]
            _check_keys(subject, arm, [*grab.every_channel(subject, arm, grab.PARTS[parts]), *changed])
    return worst([grab.grab(subject, arm, parts, thing) for arm in arms])


def hold_range_all(
    subject: Subject, arms: Sequence[str], parts: str, thing: grab.Thing | None, first: int, last: int
) -> Outcome:
    """Let each arm hold the same thing over a range. Raises HostError or MatchError before anything is changed."""
    for arm in arms:
        grab.check_range(subject, arm, parts, thing, first, last)
    return worst([grab.hold_range(subject, arm, parts, thing, first, last) for arm in arms])


def space_all(subject: Subject, arms: Sequence[str], hold: str, key: str) -> tuple[str, Outcome]:
    """Let the space with this key carry each arm's hold: its label, and what that did. Raises HostError before."""
    for arm in arms:
        _check_space(subject, arm, hold, key)
    found = {arm: spaces.space_named(subject, arm, hold, key) for arm in arms}
    outcome = worst([spaces.set_space(subject, arm, hold, space) for arm, space in found.items()])
    return next(iter(found.values())).label, outcome


def target_for(mode: str) -> Target:
    """The dials of a mode."""
    return Target(ik=MODES[mode].ik, elbow=MODES[mode].elbow)


def worst(outcomes: Sequence[Outcome]) -> Outcome:
    """Several outcomes as one."""
    return Outcome(
        max(item.pop for item in outcomes),
        max(item.pop_angle for item in outcomes),
        any(item.keyed for item in outcomes),
        "; ".join(dict.fromkeys(item.note for item in outcomes if item.note)),
        max(item.lost for item in outcomes),
        max(item.lost_angle for item in outcomes),
    )


def _check_switch(subject: Subject, arm: str, target: Target) -> None:
    check_editable(subject.armature)
    _check_keys(subject, arm, planned(subject, arm, target)[1])


def _check_keys(subject: Subject, arm: str, channels: Sequence[arm_state.Channel]) -> None:
    """Raise HostError if one of the channels, or what is posed over its curves, can not be set or keyed here."""
    armature = subject.armature
    every = [*channels, *keys.posed_over(armature, arm_state.every(subject, arm))]
    keys.check_free(armature, every)
    if channels and keys.wanted(armature, channels, None):
        keys.check_before(armature, every, keys.whole_frame())


def _check_space(subject: Subject, arm: str, hold: str, key: str) -> None:
    spaces.check_settable(subject, arm, hold)
    known = {space.key: space for space in spaces.spaces_of(subject, arm, hold)}
    if key not in known:
        raise HostError(f"the {spaces.whose(arm, hold)} has no space {key!r}; it has: {', '.join(known)}")
    carrier, bone = spaces.space_bone(subject, arm, hold), spaces.hold_bone(subject, arm, hold)
    constraint = known[key].constraint
    if constraint and spaces.is_gone(carrier.constraints[constraint]):
        raise HostError(f"{known[key].label!r} has been deleted, so it can not carry a hold: choose another space")
    channels = [
        *spaces.hold_channels(bone),
        *(spaces.influence(carrier, item.name) for item in carrier.constraints if item.type in spaces.KINDS),
    ]
    _check_keys(subject, arm, channels)
