"""Changes of what an arm holds that keep its pose: matched in closed form, keyed on both sides."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.match.match import match
from ..core.match.target import Target
from ..core.rotations import angle_between
from . import arm_state, host, keys
from .prove import Subject

Array = NDArray[np.float64]

JOINT_ROLES = ("upper_arm", "forearm", "hand")
# What counts as the same pose: arm lengths and degrees (design, requirement "switch").
POP_LIMIT, POP_ANGLE = 1e-5, 1e-2


@dataclass(frozen=True)
class Outcome:
    """What a switch did to the pose.

    Attributes:
        pop: largest distance that a joint moved, arm lengths.
        pop_angle: largest turn of a segment, degrees.
        keyed: whether keys were set.
    """

    pop: float
    pop_angle: float
    keyed: bool

    @property
    def kept(self) -> bool:
        """Whether the pose is the same within the limits."""
        return self.pop <= POP_LIMIT and self.pop_angle <= POP_ANGLE

    def sentence(self) -> str:
        """For people."""
        if self.kept:
            return "the pose is kept" + (", keyed on both sides" if self.keyed else "")
        return f"nearest pose: {100.0 * self.pop:.2g} % of the arm's length and {self.pop_angle:.2g} degrees away"


def switch(subject: Subject, arm: str, target: Target, *, keyed: bool | None = None) -> Outcome:
    """Bring `arm` to `target`'s dials on this frame without moving it; `keyed` None keys where keying is on.

    Raises HostError or MatchError before anything is changed.
    """
    armature, scene = subject.armature, bpy.context.scene
    check_editable(armature)
    before = arm_state.read(subject, arm)
    matched = match(subject.geometries[arm], before, target, in_time=False)
    channels = arm_state.changed(before, matched.settings, subject, arm)
    keys.check_free(armature, channels)
    shown = joints(subject, arm)
    wants_keys = keys.keying_is_on(armature, channels) if keyed is None else keyed
    if wants_keys and channels:
        frame, subframe = scene.frame_current, scene.frame_subframe
        if subframe:
            raise HostError("this is between two frames: go to a whole frame, so that the change can be keyed")
        scene.frame_set(frame - 1)
        keys.key(armature, channels, frame - 1, hold=True)
        scene.frame_set(frame)
    arm_state.write(subject, arm, matched.settings, channels)
    if wants_keys:
        keys.key(armature, channels, scene.frame_current, hold=False)
    bpy.context.view_layer.update()
    return _outcome(subject, arm, shown, joints(subject, arm), wants_keys)


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


def _outcome(subject: Subject, arm: str, before: Array, after: Array, keyed: bool) -> Outcome:
    geometry = subject.geometries[arm]
    length = geometry.upper_length + geometry.forearm_length
    return Outcome(
        pop=float(np.linalg.norm(after[:, :3, 3] - before[:, :3, 3], axis=1).max()) / length,
        pop_angle=float(np.degrees(angle_between(before[:, :3, :3], after[:, :3, :3]).max())),
        keyed=keyed,
    )
