"""The state of one arm in the open scene, as the reference solver's settings; and back onto the rig."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.frames import ORDERS
from ..core.posing import own_under
from ..core.rotations import matrix_to_quat
from ..core.solve.settings import ArmSettings
from . import host
from .prove import DIAL_FIELDS, FK_ROLES, Subject

Array = NDArray[np.float64]

ORDER_OF = dict(zip(FK_ROLES, ORDERS, strict=True))
HOLD_FIELDS = {"hand_hold": "hand_hold", "elbow_hold": "elbow_hold"}
# FK controls that an arm with ik at 1 does not show; the forearm's roll it does.
UNREAD_IN_IK = ("fk_upper_arm", "fk_hand")
# A difference below this is rounding of the host's single precision, and not written: radians, metres or dial.
SAME = 1e-6


@dataclass(frozen=True)
class Channel:
    """One animatable thing of a bone: `path` is "rotation_euler", "location", "rotation_quaternion" or '["dial"]'."""

    bone: str
    path: str

    @property
    def is_dial(self) -> bool:
        """Whether it is a custom property."""
        return self.path.startswith("[")


def read(subject: Subject, arm: str) -> ArmSettings:
    """The arm as it is in the open scene now, one pose.

    Raises HostError where a control's rotation order is not the rig's, because the rig reads that order's channels.
    """
    record, armature = subject.record, subject.armature
    names = [
        record.torso,
        *([record.root] if record.root else []),
        *(record.bone(arm, role) for role in ("hand_hold", "elbow_hold", "elbow_aim")),
    ]
    poses = host.PoseReader(armature, bpy.context.view_layer, names).read()
    hand_hold, elbow_hold, aim = poses[-3:]
    dials = armature.pose.bones[record.bone(arm, "dials")]
    return ArmSettings(
        torso=poses[:1],
        root=poses[1:2] if record.root else np.eye(4)[None],
        hand_hold=_rigid(hand_hold)[None],
        elbow_hold=_rigid(elbow_hold)[None],
        aim=aim[None, :3, 3],
        **{field: _euler(subject, arm, role)[None] for role, field in FK_ROLES.items()},
        **{field: np.array([float(dials[key])]) for key, field in DIAL_FIELDS.items()},
    )


def _rigid(pose: Array) -> Array:
    """`pose` with its axes made orthonormal: the host keeps single precision, and a control may have been scaled."""
    left, _, right = np.linalg.svd(pose[:3, :3])
    out = pose.copy()
    out[:3, :3] = left @ right
    return out


def _euler(subject: Subject, arm: str, role: str) -> Array:
    bone = subject.armature.pose.bones[subject.record.bone(arm, role)]
    if bone.rotation_mode != ORDER_OF[role]:
        raise HostError(
            f"{bone.name!r} has the rotation mode {bone.rotation_mode}, and the rig reads {ORDER_OF[role]}: "
            "set it back in the sidebar's Item tab"
        )
    return np.array(bone.rotation_euler, float)


def changed(before: ArmSettings, after: ArmSettings, subject: Subject, arm: str) -> list[Channel]:
    """The channels to set to go from one state of an arm to another: those that differ and are read there."""
    record = subject.record
    unread = UNREAD_IN_IK if bool((after.ik == 1.0).all()) else ()
    found = [
        Channel(record.bone(arm, role), "rotation_euler")
        for role, field in FK_ROLES.items()
        if role not in unread and _differs(getattr(before, field), getattr(after, field))
    ]
    for role in HOLD_FIELDS:
        if _differs(getattr(before, role), getattr(after, role)):
            bone = record.bone(arm, role)
            found += [Channel(bone, "location"), Channel(bone, _rotation_path(subject.armature.pose.bones[bone]))]
    if _differs(before.aim, after.aim):
        found.append(Channel(record.bone(arm, "elbow_aim"), "location"))
    dials = record.bone(arm, "dials")
    found += [
        Channel(dials, f'["{key}"]')
        for key, field in DIAL_FIELDS.items()
        if _differs(getattr(before, field), getattr(after, field))
    ]
    return found


def _differs(first: Array, second: Array) -> bool:
    return bool(np.abs(first - second).max() > SAME)


def write(subject: Subject, arm: str, after: ArmSettings, channels: list[Channel], pose: int = 0) -> None:
    """Put pose number `pose` of `after` onto the rig, as far as `channels` name it; spaces are as they are."""
    record, bones = subject.record, subject.armature.pose.bones
    wanted = {(channel.bone, channel.path) for channel in channels}
    for role, field in FK_ROLES.items():
        name = record.bone(arm, role)
        if (name, "rotation_euler") in wanted:
            bones[name].rotation_euler = getattr(after, field)[pose].tolist()
    for role in HOLD_FIELDS:
        bone = bones[record.bone(arm, role)]
        if (bone.name, "location") in wanted:
            _set_basis(bone, own_transform(subject, bone, getattr(after, role)[pose]))
    aim = bones[record.bone(arm, "elbow_aim")]
    if (aim.name, "location") in wanted:
        frame = np.eye(4)
        frame[:3, 3] = after.aim[pose]
        aim.location = own_transform(subject, aim, frame)[:3, 3].tolist()
    dials = bones[record.bone(arm, "dials")]
    for key, field in DIAL_FIELDS.items():
        if (dials.name, f'["{key}"]') in wanted:
            dials[key] = float(getattr(after, field)[pose])
    subject.armature.update_tag()


def own_transform(subject: Subject, bone: bpy.types.PoseBone, pose: Array) -> Array:
    """The bone's own transform (4, 4) that gives it `pose` under its parent as evaluated now."""
    offset = host.rest_in_parent(bone.bone)
    if bone.parent is not None:
        offset = host.PoseReader(subject.armature, bpy.context.view_layer, [bone.parent.name]).read()[0] @ offset
    # A prop that has grown carries the place, but does not scale what it carries.
    return own_under(offset, _rigid(pose))


def _rotation_path(bone: bpy.types.PoseBone) -> str:
    return "rotation_quaternion" if bone.rotation_mode == "QUATERNION" else "rotation_euler"


def _set_basis(bone: bpy.types.PoseBone, basis: Array) -> None:
    """Write location and rotation in the bone's own rotation mode, on the branch nearest to what it has now."""
    bone.location = basis[:3, 3].tolist()
    if bone.rotation_mode == "QUATERNION":
        quat = matrix_to_quat(basis[:3, :3])
        if float(quat @ np.array(bone.rotation_quaternion)) < 0.0:
            quat = -quat
        bone.rotation_quaternion = quat.tolist()
    elif bone.rotation_mode == "AXIS_ANGLE":
        raise HostError(f"{bone.name!r} turns by axis and angle: set its rotation mode to Quaternion")
    else:
        from ..core.match.euler_paths import euler_near

        near = np.array(bone.rotation_euler, float)
        bone.rotation_euler = euler_near(basis[None, :3, :3], bone.rotation_mode, near[None])[0].tolist()
