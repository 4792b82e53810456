"""One walk over a range of frames: what the arms do there, read as the reference solver's settings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.posing import rigid_turns
from ..core.rotations import angle_between
from ..core.solve.settings import ArmSettings
from . import host
from .arm_state import HOLD_FIELDS, ORDER_OF, check_carried
from .subjects import DIAL_FIELDS, FK_ROLES, Subject
from .switch import JOINT_ROLES

Array = NDArray[np.float64]

HELD_ROLES = (*HOLD_FIELDS, "elbow_aim")
# What the host can step to; a key more on each side has to fit.
LAST_FRAME = 1048573


@dataclass(frozen=True)
class Frames:
    """A range of whole frames, both ends among them."""

    first: int
    last: int

    @property
    def count(self) -> int:
        """How many frames."""
        return self.last - self.first + 1

    @property
    def numbers(self) -> Array:
        """Every frame's number, (N,)."""
        return np.arange(self.first, self.last + 1, dtype=float)


@dataclass(frozen=True)
class ArmTake:
    """What one arm does over N frames.

    Attributes:
        settings: channels, holds and dials.
        carriers: by role of a hold or the aim, the pose of its parent, (N, 4, 4), armature space.
        rests: by the same role, its rest frame in its parent's, (4, 4).
        joints: evaluated upper arm, forearm and hand, (N, 3, 4, 4), armature space.
    """

    settings: ArmSettings
    carriers: dict[str, Array]
    rests: dict[str, Array]
    joints: Array


def frames_of(first: float, last: float) -> Frames:
    """A range from two numbers; HostError says what is wrong with them."""
    for name, value in (("first", first), ("last", last)):
        if not np.isfinite(value) or float(value) != int(value):
            raise HostError(f"the {name} frame is {value:g}, between two frames: give a whole number")
        if abs(value) > LAST_FRAME:
            raise HostError(f"the {name} frame is {value:g}; the host knows frames up to {LAST_FRAME}")
    if last < first:
        raise HostError(f"the range runs backwards, from {first:g} to {last:g}, and has no frames: exchange the two")
    return Frames(int(first), int(last))


def take(subject: Subject, arms: tuple[str, ...], frames: Frames) -> Iterator[int | dict[str, ArmTake]]:
    """Step the scene through `frames` and read `arms`: yields the number of frames done, and the arms last.

    The scene is left at the last frame. Raises HostError where a control's rotation order is not the rig's.
    """
    record, bones, scene = subject.record, subject.armature.pose.bones, bpy.context.scene
    shared = [record.torso, *([record.root] if record.root else [])]
    names = list(shared)
    for arm in arms:
        names += _names(subject, arm)
    controls = [(bones[record.bone(arm, role)], ORDER_OF[role]) for arm in arms for role in FK_ROLES]
    dials = [bones[record.bone(arm, "dials")] for arm in arms]
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, names)
    poses = np.empty((frames.count, len(names), 4, 4))
    angles = np.empty((frames.count, len(controls), 3))
    values = np.empty((frames.count, len(arms), len(DIAL_FIELDS)))
    for row in range(frames.count):
        scene.frame_set(frames.first + row)
        poses[row] = reader.read()
        for place, (bone, order) in enumerate(controls):
            if bone.rotation_mode != order:
                raise HostError(
                    f"{bone.name!r} has the rotation mode {bone.rotation_mode} at frame {frames.first + row}, and the "
                    f"rig reads {order}: set it back in the sidebar's Item tab"
                )
            angles[row, place] = bone.rotation_euler
        for place, bone in enumerate(dials):
            values[row, place] = [bone[key] for key in DIAL_FIELDS]
        yield row + 1
    out = {}
    first, count = len(shared), len(_names(subject, arms[0]))
    for place, arm in enumerate(arms):
        own = poses[:, first + place * count : first + (place + 1) * count]
        turned = angles[:, place * len(FK_ROLES) : (place + 1) * len(FK_ROLES)]
        out[arm] = _arm_take(subject, arm, frames.first, poses[:, : len(shared)], own, turned, values[:, place])
    yield out


def _names(subject: Subject, arm: str) -> list[str]:
    """Bones to read of an arm: holds and aim, what carries each of them, the joints."""
    record, bones = subject.record, subject.armature.pose.bones
    held = [record.bone(arm, role) for role in HELD_ROLES]
    carriers = [bones[name].parent.name if bones[name].parent else name for name in held]
    return [*held, *carriers, *(record.bone(arm, role) for role in JOINT_ROLES)]


def _arm_take(
    subject: Subject, arm: str, first: int, shared: Array, own: Array, angles: Array, dials: Array
) -> ArmTake:
    record, bones = subject.record, subject.armature.pose.bones
    count = len(HELD_ROLES)
    carriers, rests = {}, {}
    for place, role in enumerate(HELD_ROLES):
        bone = bones[record.bone(arm, role)]
        rests[role] = host.rest_in_parent(bone.bone)
        carriers[role] = own[:, count + place] if bone.parent else np.broadcast_to(np.eye(4), own[:, 0].shape)
        check_carried(bone.name, carriers[role], first)
    settings = ArmSettings(
        torso=shared[:, 0],
        root=shared[:, 1] if record.root else np.broadcast_to(np.eye(4), shared[:, 0].shape),
        hand_hold=rigid(own[:, 0]),
        elbow_hold=rigid(own[:, 1]),
        aim=own[:, 2, :3, 3],
        **{field: angles[:, place].copy() for place, field in enumerate(FK_ROLES.values())},
        **{field: dials[:, place].copy() for place, field in enumerate(DIAL_FIELDS.values())},
    )
    return ArmTake(settings, carriers, rests, own[:, 2 * count :])


def rigid(poses: Array) -> Array:
    """`poses` (N, 4, 4) with their axes made orthonormal: the host's single precision, or a scaled control."""
    out = poses.copy()
    out[:, :3, :3] = rigid_turns(poses[:, :3, :3])
    return out


def joints(subject: Subject, arms: tuple[str, ...], numbers: Array) -> Iterator[int | Array]:
    """Step to frames once more: how many are done, and the joints (N, arms, 3, 4, 4) last."""
    names = [subject.record.bone(arm, role) for arm in arms for role in JOINT_ROLES]
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, names)
    out = np.empty((len(numbers), len(names), 4, 4))
    for row, number in enumerate(numbers):
        bpy.context.scene.frame_set(int(number))
        out[row] = reader.read()
        yield row + 1
    yield out.reshape(len(numbers), len(arms), len(JOINT_ROLES), 4, 4)


def gaps(before: Array, after: Array) -> tuple[Array, Array]:
    """How far joints (N, 3, 4, 4) are apart: the largest distance (N,), metres, and turn (N,), radians."""
    far = np.linalg.norm(after[..., :3, 3] - before[..., :3, 3], axis=-1).max(axis=1)
    axes = [
        value[..., :3, :3] / np.linalg.norm(value[..., :3, :3], axis=-2, keepdims=True) for value in (before, after)
    ]
    return far, angle_between(axes[0], axes[1]).max(axis=1)
