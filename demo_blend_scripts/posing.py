"""Keys for the demo's action, in directions and places that a person would name; the same in every supported host."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import bpy
import numpy as np
from mathutils import Euler, Matrix

from ..addon.curves import curves_of
from ..addon.host import matrix_to_numpy, numpy_to_matrix, rest_matrix
from ..core.arm.names import ArmNames
from .hands import BUILT_LENGTH, GRIPPED
from .lighthouse import RAIL_THICKNESS
from .shaping import Array


def aimed(along: Array, hinge: Array) -> Array:
    """Rotation (3, 3) with Y along `along` and X as near to `hinge` as a right angle allows."""
    y = along / np.linalg.norm(along)
    x = hinge - y * (hinge @ y)
    x = x / np.linalg.norm(x)
    return np.stack([x, y, np.cross(x, y)], axis=1)


def placed(rotation: Array, at: Array) -> Array:
    """Pose matrix (4, 4) from a rotation (3, 3) and a place (3,)."""
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = rotation, at
    return out


def pose_of(armature: bpy.types.Object, bone: str) -> Array:
    """Evaluated pose (4, 4) of a bone at the current frame, armature space."""
    return matrix_to_numpy(armature.pose.bones[bone].matrix)


def carried(armature: bpy.types.Object, bone: str) -> Array:
    """Where the bone would be without channels of its own, (4, 4), armature space, at the current frame."""
    pose = armature.pose.bones[bone]
    rest = rest_matrix(pose.bone)
    if pose.parent is None:
        return rest
    return np.asarray(pose_of(armature, pose.parent.name) @ np.linalg.inv(rest_matrix(pose.parent.bone)) @ rest)


def set_rotation(armature: bpy.types.Object, bone: str, rotation: Array) -> None:
    """Turn a bone to an orientation (3, 3) of armature space; Euler angles stay near the ones it has."""
    pose = armature.pose.bones[bone]
    local = Matrix((carried(armature, bone)[:3, :3].T @ rotation).tolist())
    if pose.rotation_mode == "QUATERNION":
        pose.rotation_quaternion = local.to_quaternion()
    else:
        pose.rotation_euler = local.to_euler(pose.rotation_mode, pose.rotation_euler)


def set_place(armature: bpy.types.Object, bone: str, pose: Array) -> None:
    """Put a hold at a pose (4, 4) of armature space."""
    target = armature.pose.bones[bone]
    kept = target.rotation_quaternion.copy()
    target.matrix_basis = numpy_to_matrix(np.linalg.inv(carried(armature, bone)) @ pose)
    if target.rotation_mode == "QUATERNION" and kept.dot(target.rotation_quaternion) < 0.0:
        target.rotation_quaternion.negate()


def key_rotation(armature: bpy.types.Object, bone: str, frame: int) -> None:
    """Key the rotation that the bone has now."""
    pose = armature.pose.bones[bone]
    path = "rotation_quaternion" if pose.rotation_mode == "QUATERNION" else "rotation_euler"
    pose.keyframe_insert(path, frame=frame, group=bone)


def key_place(armature: bpy.types.Object, bone: str, frame: int) -> None:
    """Key the place and the rotation that the bone has now."""
    armature.pose.bones[bone].keyframe_insert("location", frame=frame, group=bone)
    key_rotation(armature, bone, frame)


def key_turns(armature: bpy.types.Object, bone: str, keys: Mapping[int, Sequence[float]]) -> None:
    """Key Euler angles in degrees, frame by frame."""
    pose = armature.pose.bones[bone]
    for frame, degrees in keys.items():
        pose.rotation_euler = Euler([float(np.radians(value)) for value in degrees], pose.rotation_mode)
        key_rotation(armature, bone, frame)


def key_dial(
    armature: bpy.types.Object, side: str, dial: str, keys: Mapping[int, float], *, stepped: bool = False
) -> None:
    """Key a dial of one arm; `stepped` keeps each value until the next key."""
    bone = armature.pose.bones[ArmNames(side).fk_clavicle]
    for frame, value in keys.items():
        bone[dial] = float(value)
        bone.keyframe_insert(f'["{dial}"]', frame=frame, group=bone.name)
    if stepped:
        path = f'pose.bones["{bone.name}"]["{dial}"]'
        for curve in curves_of(armature.animation_data.action):
            if curve.data_path == path:
                for point in curve.keyframe_points:
                    point.interpolation = "CONSTANT"
                curve.update()


def hanging(left: Array, raised: float, swing: float, side: float) -> Array:
    """An upper arm's orientation (3, 3): hanging, `raised` degrees to its side, `swing` degrees forwards.

    `left` (3,) is the character's left; `side` is 1 for the left arm, -1 for the right.
    """
    left = left * np.array([1.0, 1.0, 0.0])
    left /= np.linalg.norm(left)
    up = np.array([0.0, 0.0, 1.0])
    front = np.cross(left, up)
    a, b = np.radians(raised), np.radians(swing)
    along = side * left * np.sin(a) + np.cos(a) * (front * np.sin(b) - up * np.cos(b))
    return aimed(along, np.cross(along, front * np.cos(b) + up * np.sin(b)))


def grip_pose(
    armature: bpy.types.Object, side: str, at: Array, rotation: Array, thickness: float = RAIL_THICKNESS
) -> Array:
    """Pose (4, 4) of a hand turned by `rotation` (3, 3) that grips a bar of radius `thickness` through `at` (3,)."""
    size = armature.data.bones[ArmNames(side).hold_hand].length / BUILT_LENGTH
    bar = size * (np.array(GRIPPED) - [0.0, 0.0, RAIL_THICKNESS])
    bar[2] += thickness
    return placed(rotation, at - rotation @ bar)
