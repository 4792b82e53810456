"""A comparison arm for the benchmark: the same joints on the host's native IK constraint with a pole, an FK chain and
a blend.

It is what a rigger would put together by hand from the host's stock parts; the benchmark alone uses it.
"""

from __future__ import annotations

import bpy
import numpy as np

from ..core.arm.context import placed
from ..core.frames import ArmFrames
from . import host

CONTROL, TARGET, POLE = "n.clavicle", "n.target", "n.pole"


def build_native(armature: bpy.types.Object, frames: ArmFrames, torso: str) -> None:
    """Add one arm to `armature`, blended by the custom property "ik" of the clavicle bone."""
    elbow = frames.forearm[:3, 3]
    pole = placed(frames.upper_arm, elbow - 0.75 * frames.length * frames.upper_arm[:3, 2])
    bones = [(CONTROL, torso, frames.clavicle, frames.clavicle_length)]
    for chain in ("fk", "ik", "end"):
        bones += [
            (f"n.{chain}.upper", CONTROL, frames.upper_arm, frames.upper_length),
            (f"n.{chain}.fore", f"n.{chain}.upper", frames.forearm, frames.forearm_length),
            (f"n.{chain}.hand", f"n.{chain}.fore", frames.hand, frames.hand_length),
        ]
    bones += [(TARGET, "", frames.hand, frames.hand_length), (POLE, torso, pole, 0.1)]
    with host.mode(armature, "EDIT"):
        edit = armature.data.edit_bones
        for name, parent, rest, length in bones:
            bone = edit.new(name)
            bone.head, bone.tail = (0.0, 0.0, 0.0), (0.0, length, 0.0)
            bone.matrix = host.numpy_to_matrix(rest)
            bone.length = length
            bone.parent = edit[parent] if parent else None
            if name.endswith(".fore"):
                bone.use_connect = bool(np.allclose(bone.head, bone.parent.tail))
    pose = armature.pose.bones
    pose[CONTROL]["ik"] = 1.0
    solver = pose["n.ik.fore"].constraints.new("IK")
    solver.target, solver.subtarget = armature, TARGET
    solver.pole_target, solver.pole_subtarget = armature, POLE
    solver.pole_angle = -np.pi / 2.0
    solver.chain_count = 2
    turn = pose["n.ik.hand"].constraints.new("COPY_ROTATION")
    turn.target, turn.subtarget = armature, TARGET
    for part in ("upper", "fore", "hand"):
        for chain in ("fk", "ik"):
            copy = pose[f"n.end.{part}"].constraints.new("COPY_TRANSFORMS")
            copy.target, copy.subtarget = armature, f"n.{chain}.{part}"
        driver = copy.driver_add("influence").driver
        variable = driver.variables.new()
        variable.name = "ik"
        variable.targets[0].id = armature
        variable.targets[0].data_path = f'pose.bones["{CONTROL}"]["ik"]'
        driver.expression = "ik"


def native_wrist(armature: bpy.types.Object) -> np.ndarray:
    """Where the arm's wrist is, armature space, (3,)."""
    return np.array(armature.pose.bones["n.end.hand"].matrix.translation, float)
