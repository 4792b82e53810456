"""The state of one arm in the open scene, as the reference solver's settings; and back onto the rig."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.frames import ORDERS
from ..core.match.euler_paths import euler_near
from ..core.plan.made import bone_path
from ..core.posing import rigid_turns, unscaled_basis, unscaled_poses
from ..core.rotations import matrix_to_quat
from ..core.solve.settings import ArmSettings
from . import host
from .subjects import DIAL_FIELDS, FK_ROLES, Subject

Array = NDArray[np.float64]

ORDER_OF = dict(zip(FK_ROLES, ORDERS, strict=True))
HOLD_FIELDS = {"hand_hold": "hand_hold", "elbow_hold": "elbow_hold"}
# FK controls that an arm with ik at 1 does not show; the forearm's roll it does.
UNREAD_IN_IK = ("fk_upper_arm", "fk_hand")
# A difference below this is rounding of the host's single precision, and not written: radians, metres or dial.
SAME = 1e-6
# What the host's single precision makes of a distance along the arm, arm lengths.
PRECISION = 4e-7
# A space this small along an axis has lost what it carries in single precision.
LEAST_SIZE = 1e-6


@dataclass(frozen=True)
class Channel:
    """One animatable thing of a bone: `path` is "rotation_euler", "location", "rotation_quaternion" or '["dial"]'.

    `index`: one component of it; all of them if negative.
    """

    bone: str
    path: str
    index: int = -1

    @property
    def is_dial(self) -> bool:
        """Whether it is a custom property."""
        return self.path.startswith("[")

    @property
    def data_path(self) -> str:
        """From the armature object on."""
        return f"{bone_path(self.bone)}{'' if self.is_dial else '.'}{self.path}"


def read(subject: Subject, arm: str) -> ArmSettings:
    """The arm as it is in the open scene now, one pose.

    Raises HostError where a control's rotation order is not the rig's, because the rig reads that order's channels, and
    where something carries a hold that no arm can follow.
    """
    record, armature = subject.record, subject.armature
    names = [
        record.torso,
        *([record.root] if record.root else []),
        *(record.bone(arm, role) for role in ("hand_space", "elbow_space", "hand_hold", "elbow_hold", "elbow_aim")),
    ]
    poses = host.PoseReader(armature, bpy.context.view_layer, names).read()
    hand_space, elbow_space, hand_hold, elbow_hold, aim = poses[-5:]
    check_carried(record.bone(arm, "hand_hold"), hand_space)
    check_carried(record.bone(arm, "elbow_hold"), elbow_space)
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


def check_carried(hold: str, spaces: Array, frame: int | None = None) -> None:
    """Raise HostError if a space's poses (..., 4, 4) can carry no `hold`: mirrored, or with no size along some axis.

    `frame`: the first one's, for the sentence; None for now.
    """
    turns = spaces[..., :3, :3].reshape(-1, 3, 3)
    flat = np.linalg.svd(turns, compute_uv=False)[:, -1] < LEAST_SIZE
    bad = np.flatnonzero(flat | (np.linalg.det(turns) < 0.0))
    if len(bad) == 0:
        return
    what = "scaled to nothing" if flat[bad[0]] else "mirrored (a negative scale)"
    at = "" if frame is None else f" at frame {frame + int(bad[0])}"
    raise HostError(f"what carries {hold!r} is {what}{at}: give it a size above 0 along each axis")


def check_size(what: str, pose: Array) -> None:
    """Raise HostError for a thing (4, 4) without size along some axis, to which nothing can be fixed."""
    if float(np.linalg.svd(pose[:3, :3], compute_uv=False)[-1]) < LEAST_SIZE:
        raise HostError(f"{what} is scaled to nothing: give it a size above 0 along each axis")


def _rigid(pose: Array) -> Array:
    out = pose.copy()
    out[:3, :3] = rigid_turns(pose[:3, :3])
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
            found += [Channel(bone, "location"), Channel(bone, rotation_path(subject.armature.pose.bones[bone]))]
    if _differs(before.aim, after.aim):
        found.append(Channel(record.bone(arm, "elbow_aim"), "location"))
    dials = record.bone(arm, "dials")
    found += [
        Channel(dials, f'["{key}"]')
        for key, field in DIAL_FIELDS.items()
        if _differs(getattr(before, field), getattr(after, field))
    ]
    return found


def every(subject: Subject, arm: str) -> list[Channel]:
    """Every channel that an arm's pose comes from: controls, holds, aim and dials."""
    record, bones = subject.record, subject.armature.pose.bones
    found = [Channel(record.bone(arm, role), "rotation_euler") for role in FK_ROLES]
    for role in HOLD_FIELDS:
        bone = bones[record.bone(arm, role)]
        found += [Channel(bone.name, "location"), Channel(bone.name, rotation_path(bone))]
    found.append(Channel(record.bone(arm, "elbow_aim"), "location"))
    return found + [Channel(record.bone(arm, "dials"), f'["{key}"]') for key in DIAL_FIELDS]


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
            set_basis(bone, own_transform(subject, bone, getattr(after, role)[pose]))
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
    """The bone's own transform (4, 4), rigid, that gives it `pose` (4, 4) under its parent as evaluated now."""
    return unscaled_basis(_parent(subject, bone)[None], host.rest_in_parent(bone.bone), pose[None])[0]


def pose_under(bone: bpy.types.PoseBone, parent: Array) -> Array:
    """Where the bone is (4, 4) with its channels as they are, if `parent` (4, 4) is what carries it."""
    basis = host.matrix_to_numpy(bone.matrix_basis)
    return unscaled_poses(parent[None], host.rest_in_parent(bone.bone), basis[None])[0]


def _parent(subject: Subject, bone: bpy.types.PoseBone) -> Array:
    if bone.parent is None:
        return np.eye(4)
    return host.PoseReader(subject.armature, bpy.context.view_layer, [bone.parent.name]).read()[0]


def rotation_path(bone: bpy.types.PoseBone) -> str:
    """The channel that turns the bone in its rotation mode."""
    special = {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}
    return special.get(bone.rotation_mode, "rotation_euler")


def set_basis(bone: bpy.types.PoseBone, basis: Array) -> None:
    """Write location and rotation in the bone's own rotation mode, on the branch nearest to what it has now.

    Not by axis and angle: keys.check_free refuses that before.
    """
    bone.location = basis[:3, 3].tolist()
    if bone.rotation_mode == "QUATERNION":
        quat = matrix_to_quat(basis[:3, :3])
        if float(quat @ np.array(bone.rotation_quaternion)) < 0.0:
            quat = -quat
        bone.rotation_quaternion = quat.tolist()
    else:
        near = np.array(bone.rotation_euler, float)
        bone.rotation_euler = euler_near(basis[None, :3, :3], bone.rotation_mode, near[None])[0].tolist()
