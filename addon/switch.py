"""Changes of what an arm holds that keep its pose: matched in closed form, keyed on both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.match.match import match
from ..core.match.target import Matched, Target
from ..core.posing import rigid_turns
from ..core.proof.precision import limit_at, turn_limit_at
from ..core.rotations import angle_between
from ..core.solve.arm import solve
from ..core.solve.settings import ArmPose, ArmSettings
from . import arm_state, host, keying_set, keys
from .posed import posed
from .subjects import Subject

Array = NDArray[np.float64]

JOINT_ROLES = ("upper_arm", "forearm", "hand")
# What counts as the same pose: arm lengths and degrees (design, requirement "switch").
POP_LIMIT, POP_ANGLE = 1e-5, 1e-2
# Rounding moves a straight arm's elbow by the square root of twice its own size: no more than this, arm lengths.
MOST_ROUNDED = 1e-2


@dataclass(frozen=True)
class Outcome:
    """What a switch did to the pose.

    Attributes:
        pop: largest distance that a joint moved, arm lengths.
        pop_angle: largest turn of a segment, degrees.
        keyed: whether keys were set.
        note: what else was keyed, for people; "" for nothing.
        lost, lost_angle: what of the pose the new dials can not make, arm lengths and degrees; 0 where they can.
        limit, limit_angle: what still counts as the same pose, arm lengths and degrees; more than at the origin where
            single precision tells no less (core/proof/precision.py).
    """

    pop: float
    pop_angle: float
    keyed: bool
    note: str = ""
    lost: float = 0.0
    lost_angle: float = 0.0
    limit: float = POP_LIMIT
    limit_angle: float = POP_ANGLE

    @property
    def kept(self) -> bool:
        """Whether the pose is the same within the limits."""
        return self.pop <= self.limit and self.pop_angle <= self.limit_angle

    def sentence(self) -> str:
        """For people."""
        note = f"; {self.note}" if self.note else ""
        if self.kept and (self.pop > POP_LIMIT or self.pop_angle > POP_ANGLE):
            coarse = f"{100.0 * self.pop:.2g} % of the arm's length and {self.pop_angle:.2g} degrees"
            return f"the pose is kept as far as numbers tell this far from the origin, {coarse}" + self._keyed() + note
        if self.kept:
            return "the pose is kept" + self._keyed() + note
        return f"nearest pose: {100.0 * self.pop:.2g} % of the arm's length and {self.pop_angle:.2g} degrees away{note}"

    def _keyed(self) -> str:
        return ", keyed on both sides" if self.keyed else ""


def switch(subject: Subject, arm: str, target: Target, *, keyed: bool | None = None) -> Outcome:
    """Bring `arm` to `target`'s dials on this frame without moving it; `keyed` None keys where keying is on.

    Raises HostError or MatchError before anything is changed.
    """
    armature = subject.armature
    check_editable(armature)
    bpy.context.view_layer.update()
    matched, channels = planned(subject, arm, target)
    over = [item for item in keys.posed_over(armature, arm_state.every(subject, arm)) if item not in channels]
    keys.check_free(armature, [*channels, *over])
    shown = joints(subject, arm)
    wants_keys = bool(channels) and keys.wanted(armature, channels, keyed)
    if not wants_keys:
        arm_state.write(subject, arm, matched.settings, channels)
        bpy.context.view_layer.update()
        return _less(matched, subject, arm, outcome(subject, arm, shown, joints(subject, arm), False))
    written, frame, kept = [*channels, *over], keys.whole_frame(), posed(armature)
    keys.check_before(armature, written, frame)
    began = sum(not keys.curves_for(armature, channel) for channel in channels)
    before = keys.sides(armature, written, frame - 1)
    arm_state.write(subject, arm, matched.settings, channels)
    keys.key_both(armature, written, before, frame)
    note = _notes(began, keying_set.key_set(subject, arm, written, frame))
    keys.settle(armature, kept, written)
    return _less(matched, subject, arm, outcome(subject, arm, shown, joints(subject, arm), True, note))


def _less(matched: Matched, subject: Subject, arm: str, outcome: Outcome) -> Outcome:
    """`outcome` with what the match could not make."""
    geometry = subject.geometries[arm]
    return replace(
        outcome,
        lost=float(matched.position_error[0]) / (geometry.upper_length + geometry.forearm_length),
        lost_angle=float(np.degrees(matched.angle_error[0])),
    )


def planned(subject: Subject, arm: str, target: Target) -> tuple[Matched, list[arm_state.Channel]]:
    """What a switch would do: the matched settings, and the channels that it would set. Raises as `switch` does."""
    before = arm_state.read(subject, arm)
    geometry = subject.geometries[arm]
    matched = match(
        geometry, before, target, in_time=False, shown=_shown(subject, arm, before), precision=arm_state.PRECISION
    )
    return matched, arm_state.changed(before, matched.settings, subject, arm)


def _shown(subject: Subject, arm: str, settings: ArmSettings) -> ArmPose:
    """The pose as it is shown: the solver's, with the rig's own joints where the two differ.

    That is so where a nearly straight IK arm magnifies the host's rounding (docs/arm.md, "Where it is singular").
    """
    geometry = subject.geometries[arm]
    pose, seen = solve(geometry, settings), joints(subject, arm)
    length = geometry.upper_length + geometry.forearm_length
    off = float(np.linalg.norm(seen[1:, :3, 3] - np.array([pose.elbow[0], pose.wrist[0]]), axis=1).max()) / length
    if not arm_state.PRECISION < off < MOST_ROUNDED:
        return pose
    turns = rigid_turns(seen[:, :3, :3])
    return replace(
        pose, elbow=seen[1:2, :3, 3], wrist=seen[2:, :3, 3], upper_arm=turns[:1], forearm=turns[1:2], hand=turns[2:]
    )


def _notes(began: int, said: str) -> str:
    """What was keyed that somebody's preferences would not lead them to expect."""
    only = bpy.context.preferences.edit.use_keyframe_insert_available
    new = f"{began} channels had no keys and got them, or the hold would drift" if only and began else ""
    return "; ".join(part for part in (new, said) if part)


def check_editable(armature: bpy.types.Object) -> None:
    """Raise HostError for an armature whose pose can not be set in this file."""
    if armature.library is not None:
        raise HostError(
            f"{armature.name!r} is linked: make a library override first (Object > Library Override > Make), "
            "so that the shot file can hold its keys"
        )
    if armature.override_library is not None and armature.override_library.is_system_override:
        raise HostError(
            f"{armature.name!r} is a library override that is not editable, so the shot would lose what is set: "
            "make it editable first (Object > Library Override > Make)"
        )


def joints(subject: Subject, arm: str) -> Array:
    """Evaluated upper arm, forearm and hand (3, 4, 4), armature space."""
    names = [subject.record.bone(arm, role) for role in JOINT_ROLES]
    return host.PoseReader(subject.armature, bpy.context.view_layer, names).read()


def outcome(subject: Subject, arm: str, before: Array, after: Array, keyed: bool, note: str = "") -> Outcome:
    """How far poses (K, 4, 4) of an arm have moved and turned."""
    geometry = subject.geometries[arm]
    length = geometry.upper_length + geometry.forearm_length
    turns = [rigid_turns(poses[:, :3, :3]) for poses in (before, after)]
    away, in_world = host.away(subject.armature, subject.record.torso, length)
    return Outcome(
        pop=float(np.linalg.norm(after[:, :3, 3] - before[:, :3, 3], axis=1).max()) / length,
        pop_angle=float(np.degrees(angle_between(*turns).max())),
        keyed=keyed,
        note=note,
        limit=limit_at(POP_LIMIT, away, in_world),
        limit_angle=turn_limit_at(POP_ANGLE, away, in_world),
    )
