"""The first ten seconds of Wren's action: at the gallery's rail.

The left elbow is planted on the rail while the lantern swings in the right hand and the body moves; the elbow lets go;
the lantern is hung on its hook; the right hand grips the rail and holds it through a shrug and a turn to look out.
"""

from __future__ import annotations

import bpy
import numpy as np

from ..addon.curves import curves_of
from ..core.arm import names as n
from ..core.arm.names import ArmNames
from .acting import ON_BAIL, ON_RAIL, Stage, closing, curl_fingers, let_go, own_length
from .lighthouse import RAIL_THICKNESS, hook_point, outward, rail_point
from .posing import (
    aimed,
    carried,
    grip_pose,
    hanging,
    key_dial,
    key_place,
    key_rotation,
    key_turns,
    placed,
    pose_of,
    set_place,
    set_rotation,
)
from .shaping import turn_z

FIRST = 1
# The left elbow is held up to and including this frame; from the next on the arm is FK, matched to the pose.
ELBOW_LAST = 104
# The right hand starts towards the hook, hangs the lantern up, lets go of it, grips the rail.
TO_HOOK, AT_HOOK, OFF_HOOK, AT_RAIL = 102, 126, 129, 141
# The right hand holds the rail up to and including this frame.
RAIL_LAST = 245

# Wren stands with the left side to the rail: the turn of the root (degrees) and its place (metres).
STANCE_TURN = -38.0
STANCE = (-0.045, 0.045, 0.0)
ELBOW_ANGLE = 0.145
GRIP_ANGLE = -0.165
# From the elbow joint to the sleeve's skin, metres.
ELBOW_FLESH = 0.0325
# The lantern swings along the rail, not over it: isolated, the arm may turn away from the stance (degrees).
SWING_TURN = -72.0
SWING_PERIOD = 40
SWING_MIDDLE, SWING_REACH = 8.0, 34.0

# Degrees about X (forwards), Y (turn to the left), Z (to the right).
TORSO: dict[str, dict[int, tuple[float, float, float]]] = {
    "torso.1": {
        1: (8, 2, -6),
        26: (10, -6, -9),
        52: (6, 8, -4),
        78: (11, -5, -9),
        102: (7, 6, -4),
        128: (4, 14, 2),
        150: (6, 16, 3),
        174: (1, 10, -2),
        186: (0, 9, -2),
        214: (7, 18, 4),
        240: (5, 15, 3),
    },
    "torso.2": {
        1: (7, 2, -6),
        28: (9, -7, -8),
        54: (6, 9, -4),
        80: (10, -6, -8),
        104: (6, 7, -3),
        130: (5, 12, 2),
        152: (7, 13, 3),
        176: (0, 8, -3),
        188: (-1, 8, -3),
        216: (8, 16, 4),
        240: (6, 12, 3),
    },
    "torso.3": {
        1: (5, 1, -4),
        15: (3, -3, -4),
        30: (7, -7, -6),
        44: (4, 2, -4),
        56: (5, 9, -3),
        70: (3, 2, -4),
        82: (8, -6, -6),
        106: (4, 6, -2),
        132: (5, 10, 2),
        154: (6, 11, 2),
        178: (-2, 6, -3),
        190: (-2, 6, -3),
        218: (7, 13, 3),
        240: (5, 10, 2),
    },
    "head": {
        1: (-10, -4, 8),
        30: (-14, 14, 12),
        56: (-8, -18, 6),
        84: (-14, 12, 10),
        108: (-4, -14, 4),
        134: (6, -22, -4),
        156: (-8, -18, -4),
        178: (-4, -30, 10),
        194: (-6, -34, 8),
        220: (-16, -12, -4),
        240: (-12, -8, -4),
    },
}
# The hips' travel in the torso's own axes: left, up, forwards; metres.
HIPS = {
    1: (0.030, -0.012, 0.0),
    30: (0.055, -0.022, 0.010),
    56: (0.020, -0.008, 0.015),
    84: (0.055, -0.022, 0.005),
    106: (0.020, -0.006, 0.010),
    134: (0.0, -0.008, 0.030),
    156: (0.010, -0.014, 0.050),
    180: (0.0, 0.0, 0.005),
    218: (-0.015, -0.012, 0.045),
    240: (0.0, -0.008, 0.035),
}
SHRUG = {1: 2.0, 110: 0.0, 166: 0.0, 178: 17.0, 188: 15.0, 200: -2.0, 212: 0.0}


def key_gallery(stage: Stage) -> None:
    """Key everything at the rail; the right hand is still held at the end."""
    armature = stage.armature
    _key_left_hold(armature)
    _key_right_swing(armature)
    _key_right_hold(armature)
    _release_left(stage)
    _park_holds(armature)
    _key_grips(stage)


def gallery_body(stage: Stage) -> None:
    """Stance, torso, head, hips, shoulders."""
    armature = stage.armature
    bpy.context.scene.frame_set(FIRST)
    stance = np.eye(4)
    stance[:3, :3], stance[:3, 3] = turn_z(np.radians(STANCE_TURN)), STANCE
    set_place(armature, "root", stance @ carried(armature, "root"))
    key_place(armature, "root", FIRST)
    for bone, keys in TORSO.items():
        key_turns(armature, bone, keys)
    for frame, travel in HIPS.items():
        armature.pose.bones["torso.1"].location = travel
        armature.pose.bones["torso.1"].keyframe_insert("location", frame=frame, group="torso.1")
    for side in ("L", "R"):
        key_turns(armature, ArmNames(side).fk_clavicle, {frame: (up, 0, 0) for frame, up in SHRUG.items()})


def _key_left_hold(armature: bpy.types.Object) -> None:
    """The elbow on the rail, the forearm along it and up, talking a little with the hand."""
    names = ArmNames("L")
    scene = bpy.context.scene
    key_dial(armature, "L", n.ELBOW, {FIRST: 1.0}, stepped=True)
    scene.frame_set(26)
    elbow = rail_point(ELBOW_ANGLE) + np.array([0.0, 0.0, RAIL_THICKNESS + ELBOW_FLESH])
    shoulder = pose_of(armature, names.clavicle)
    shoulder = shoulder[:3, 3] + shoulder[:3, 1] * armature.data.bones[names.clavicle].length
    upper = elbow - shoulder
    fore = 0.80 * -np.array([1.0, 0.0, 0.0]) + 0.30 * outward(ELBOW_ANGLE) + np.array([0.0, 0.0, 0.52])
    frame = aimed(upper, np.cross(upper, fore))
    scene.frame_set(FIRST)
    set_place(armature, names.hold_elbow, placed(frame, elbow))
    key_place(armature, names.hold_elbow, FIRST)
    set_rotation(armature, names.fk_upper_arm, frame)
    for key in (FIRST, ELBOW_LAST):
        key_rotation(armature, names.fk_upper_arm, key)
    bend = np.arccos(upper @ fore / np.linalg.norm(upper) / np.linalg.norm(fore))
    flexion = float(np.degrees(bend)) - 8.0
    key_turns(
        armature,
        names.fk_forearm,
        {
            1: (flexion, 20, 0),
            24: (flexion + 10, 32, 0),
            40: (flexion - 3, 16, 0),
            58: (flexion + 12, 36, 0),
            76: (flexion, 20, 0),
            90: (flexion + 6, 26, 0),
            ELBOW_LAST: (flexion - 2, 20, 0),
        },
    )
    key_turns(
        armature,
        names.fk_hand,
        {
            1: (14, 0, 0),
            28: (-12, 0, 4),
            44: (20, 0, 0),
            62: (-14, 0, 6),
            80: (16, 0, 0),
            ELBOW_LAST: (10, 0, 0),
        },
    )


def _release_left(stage: Stage) -> None:
    """Let go of the elbow; then an easy hang."""
    armature, names, scene = stage.armature, ArmNames("L"), bpy.context.scene
    let_go(stage, "L", ELBOW_LAST + 1)
    own_length(stage, "L", ELBOW_LAST + 1, ELBOW_LAST + 20)
    for frame, (raise_, swing, bend, roll, wrist) in {
        114: (52.0, 0.0, 84.0, 14.0, 8.0),
        # Drawn back before it drops: the rail is in the way.
        123: (30.0, -30.0, 112.0, 14.0, 4.0),
        132: (15.0, -30.0, 66.0, 6.0, 4.0),
        142: (13.0, -10.0, 22.0, 0.0, 4.0),
        164: (13.0, -12.0, 24.0, 0.0, 6.0),
        172: (20.0, -34.0, 108.0, 34.0, -8.0),
        180: (34.0, 8.0, 98.0, 62.0, -26.0),
        190: (32.0, 6.0, 94.0, 58.0, -20.0),
        199: (24.0, -32.0, 106.0, 26.0, -6.0),
        208: (15.0, -30.0, 62.0, 8.0, 4.0),
        217: (13.0, -14.0, 24.0, 0.0, 6.0),
        240: (13.0, -12.0, 26.0, 0.0, 6.0),
    }.items():
        scene.frame_set(frame)
        set_rotation(armature, names.fk_upper_arm, hanging(pose_of(armature, "torso.3")[:3, 0], raise_, swing, 1.0))
        key_rotation(armature, names.fk_upper_arm, frame)
        key_turns(armature, names.fk_forearm, {frame: (bend, roll, 0.0)})
        key_turns(armature, names.fk_hand, {frame: (wrist, 0.0, 0.0)})
    _ease_out(armature)


def _park_holds(armature: bpy.types.Object) -> None:
    """Holds that nothing uses wait where the arm is, within reach of the animator."""
    bpy.context.scene.frame_set(ELBOW_LAST // 2)
    for hold, joint in ((ArmNames("L").hold_hand, ArmNames("L").hand), (ArmNames("R").hold_elbow, ArmNames("R").elbow)):
        set_place(armature, hold, pose_of(armature, joint))
        key_place(armature, hold, FIRST)


def _key_right_swing(armature: bpy.types.Object) -> None:
    """The lantern swings, elbow and then wrist late; the arm is isolated, so that the body does not disturb it."""
    names, scene = ArmNames("R"), bpy.context.scene
    key_dial(armature, "R", n.ISOLATE, {FIRST: 1.0}, stepped=True)
    left = turn_z(np.radians(SWING_TURN)) @ np.array([1.0, 0.0, 0.0])
    for frame in range(FIRST, AT_HOOK + 1, 5):
        scene.frame_set(frame)
        phase = 2.0 * np.pi * (frame - FIRST) / SWING_PERIOD
        fade = float(np.clip((AT_HOOK - frame) / (AT_HOOK - TO_HOOK), 0.0, 1.0))
        swing = SWING_MIDDLE + fade * SWING_REACH * np.sin(phase)
        set_rotation(armature, names.fk_upper_arm, hanging(left, 15.0, swing, -1.0))
        key_rotation(armature, names.fk_upper_arm, frame)
        key_turns(armature, names.fk_forearm, {frame: (10.0 + 12.0 * fade * (1.0 + np.sin(phase - 0.7)), -10.0, 0.0)})
        key_turns(armature, names.fk_hand, {frame: (6.0 + 9.0 * fade * np.sin(phase - 1.3), 0.0, 0.0)})


def _key_right_hold(armature: bpy.types.Object) -> None:
    """Blend to the hook, hang the lantern up, go over to the rail and stay there."""
    names, scene = ArmNames("R"), bpy.context.scene
    key_dial(armature, "R", n.IK, {TO_HOOK: 0.0, AT_HOOK: 1.0})
    up = np.array([0.0, 0.0, 1.0])
    hook, rail = hook_point(), rail_point(GRIP_ANGLE)
    ahead = outward(GRIP_ANGLE)
    tangent = np.cross(ahead, -up)
    over_hook = aimed(turn_z(-0.15) @ ahead - 0.45 * up, turn_z(-0.15) @ tangent)
    on_rail = aimed(turn_z(0.12) @ ahead - 0.30 * up, tangent)
    at_hook = grip_pose(armature, "R", hook, over_hook)
    at_rail = grip_pose(armature, "R", rail, on_rail)
    between = 0.5 * (at_hook[:3, 3] + at_rail[:3, 3]) + 0.055 * up
    scene.frame_set(TO_HOOK)
    for frame, pose in (
        (TO_HOOK, at_hook),
        (OFF_HOOK, at_hook),
        (OFF_HOOK + 6, placed(on_rail, between)),
        (AT_RAIL, at_rail),
        (RAIL_LAST, at_rail),
    ):
        set_place(armature, names.hold_hand, pose)
        key_place(armature, names.hold_hand, frame)


def _key_grips(stage: Stage) -> None:
    """The fingers close around what they hold."""
    curl_fingers(stage, "R", closing({FIRST: 1.0, AT_HOOK: 1.0, OFF_HOOK + 3: 0.0}, ON_BAIL))
    curl_fingers(stage, "R", closing({AT_RAIL - 4: 0.1, AT_RAIL: 1.0}, ON_RAIL))
    curl_fingers(
        stage, "L", closing({FIRST: 0.1, 40: 0.35, 62: 0.0, ELBOW_LAST: 0.3, 166: 0.15, 180: 0.0, 210: 0.3}, ON_RAIL)
    )


def _ease_out(armature: bpy.types.Object) -> None:
    """From where the elbow lets go, the arm's turns change slowly at first."""
    left = ArmNames("L")
    released = tuple(f'"{bone}"].rotation' for bone in (left.fk_upper_arm, left.fk_forearm, left.fk_hand))
    for curve in curves_of(armature.animation_data.action):
        if not any(part in curve.data_path for part in released):
            continue
        for point in curve.keyframe_points:
            if round(point.co[0]) == ELBOW_LAST + 1:
                point.interpolation, point.easing = "SINE", "EASE_IN_OUT"
        curve.update()
