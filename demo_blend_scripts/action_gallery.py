"""Wren's action: ten seconds on the gallery, 240 frames at 24 a second.

The left elbow is planted on the rail while the lantern swings in the right hand and the body moves; the elbow lets go;
the lantern is hung on its hook; the right hand grips the rail and holds it through a shrug and a turn to look out.
"""

from __future__ import annotations

import bpy
import numpy as np

from ..addon.curves import curves_of
from ..core.arm import names as n
from ..core.arm.names import ArmNames
from .character import Character
from .hands import BUILT_LENGTH, GRIP_SHAPE, GRIPPED
from .lighthouse import RAIL_THICKNESS, hook_point, outward, rail_point
from .pendulum import hang_lantern
from .posing import (
    aimed,
    carried,
    key_dial,
    key_place,
    key_rotation,
    key_turns,
    placed,
    pose_of,
    set_place,
    set_rotation,
)
from .shaping import Array, turn_z

FIRST, LAST, RATE = 1, 240, 24
# The left elbow is held up to and including this frame; from the next on the arm is FK, matched to the pose.
ELBOW_LAST = 104
# The right hand starts towards the hook, hangs the lantern up, lets go of it, grips the rail.
TO_HOOK, AT_HOOK, OFF_HOOK, AT_RAIL = 102, 126, 129, 141

# Wren stands with the left side to the rail: the turn of the root (degrees) and its place (metres).
STANCE_TURN = -38.0
STANCE = (-0.045, 0.045, 0.0)
ELBOW_ANGLE = 0.145
GRIP_ANGLE = -0.165
# From the elbow joint to the sleeve's skin, metres.
ELBOW_FLESH = 0.039
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


def make_action(character: Character, lantern: bpy.types.Object) -> bpy.types.Action:
    """Key everything; leaves the scene at its first frame."""
    armature, scene = character.armature, bpy.context.scene
    scene.frame_start, scene.frame_end, scene.render.fps = FIRST, LAST, RATE
    armature.animation_data_create()
    _key_body(armature)
    _key_left_hold(armature)
    _key_right_swing(armature)
    _key_right_hold(armature)
    _release_left(armature)
    _park_holds(armature)
    _key_grips(character.hands)
    action = armature.animation_data.action
    action.name = f"{character.guide.name}.gallery"
    _set_steps(action)
    hang_lantern(armature, lantern, (FIRST, LAST), AT_HOOK, hook_point())
    scene.frame_set(FIRST)
    return action


def grip_pose(armature: bpy.types.Object, side: str, at: Array, rotation: Array) -> Array:
    """Pose (4, 4) of a hand with orientation `rotation` (3, 3) that grips a bar through `at` (3,)."""
    size = armature.data.bones[ArmNames(side).hold_hand].length / BUILT_LENGTH
    return placed(rotation, at - rotation @ (size * np.array(GRIPPED)))


def _key_body(armature: bpy.types.Object) -> None:
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
    key_dial(armature, "L", n.ELBOW, {FIRST: 1.0, ELBOW_LAST + 1: 0.0}, stepped=True)
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


def _release_left(armature: bpy.types.Object) -> None:
    """The frame after the hold: FK channels and upper arm length that give the very same pose; then an easy hang."""
    names, scene = ArmNames("L"), bpy.context.scene
    scene.frame_set(ELBOW_LAST)
    upper, fore, hand = (pose_of(armature, bone)[:3, :3] for bone in (names.upper_arm, names.forearm, names.hand))
    joints = [pose_of(armature, bone)[:3, 3] for bone in (names.upper_arm, names.elbow)]
    length = float(np.linalg.norm(joints[1] - joints[0])) / armature.data.bones[names.upper_arm].length
    key_dial(armature, "L", n.UPPER_LENGTH, {ELBOW_LAST + 1: length, ELBOW_LAST + 20: 1.0})
    scene.frame_set(ELBOW_LAST + 1)
    # The torso has moved on by a frame; the match is to the pose of the last held frame, turned with it.
    for bone, rotation in ((names.fk_upper_arm, upper), (names.fk_forearm, fore), (names.fk_hand, hand)):
        set_rotation(armature, bone, rotation)
        key_rotation(armature, bone, ELBOW_LAST + 1)
        bpy.context.view_layer.update()
    for frame, (raise_, swing, bend, roll, wrist) in {
        114: (52.0, 0.0, 84.0, 14.0, 8.0),
        134: (13.0, -10.0, 22.0, 0.0, 4.0),
        164: (13.0, -12.0, 24.0, 0.0, 6.0),
        172: (18.0, -26.0, 88.0, 34.0, -8.0),
        180: (34.0, 8.0, 98.0, 62.0, -26.0),
        190: (32.0, 6.0, 94.0, 58.0, -20.0),
        199: (18.0, -26.0, 74.0, 26.0, -6.0),
        214: (13.0, -14.0, 24.0, 0.0, 6.0),
        240: (13.0, -12.0, 26.0, 0.0, 6.0),
    }.items():
        scene.frame_set(frame)
        set_rotation(armature, names.fk_upper_arm, _hanging(pose_of(armature, "torso.3")[:3, 0], raise_, swing, 1.0))
        key_rotation(armature, names.fk_upper_arm, frame)
        key_turns(armature, names.fk_forearm, {frame: (bend, roll, 0.0)})
        key_turns(armature, names.fk_hand, {frame: (wrist, 0.0, 0.0)})


def _park_holds(armature: bpy.types.Object) -> None:
    """Holds that nothing uses wait where the arm is, within reach of the animator."""
    bpy.context.scene.frame_set(ELBOW_LAST // 2)
    for hold, joint in ((ArmNames("L").hold_hand, ArmNames("L").hand), (ArmNames("R").hold_elbow, ArmNames("R").elbow)):
        set_place(armature, hold, pose_of(armature, joint))
        key_place(armature, hold, FIRST)


def _hanging(left: Array, raised: float, swing: float, side: float) -> Array:
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
        set_rotation(armature, names.fk_upper_arm, _hanging(left, 15.0, swing, -1.0))
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
        (LAST, at_rail),
    ):
        set_place(armature, names.hold_hand, pose)
        key_place(armature, names.hold_hand, frame)


def _key_grips(hands: bpy.types.Object) -> None:
    """The mittens close around what they hold."""
    keys = hands.data.shape_keys
    for name, values in (
        (f"{GRIP_SHAPE}.R", {FIRST: 1.0, AT_HOOK: 1.0, OFF_HOOK + 3: 0.15, AT_RAIL - 4: 0.25, AT_RAIL: 1.0}),
        (f"{GRIP_SHAPE}.L", {FIRST: 0.10, 40: 0.25, 62: 0.05, ELBOW_LAST: 0.25, 166: 0.15, 180: 0.0, 210: 0.25}),
    ):
        for frame, value in values.items():
            keys.key_blocks[name].value = value
            keys.key_blocks[name].keyframe_insert("value", frame=frame)


def _set_steps(action: bpy.types.Action) -> None:
    """Between the last held frame and the next the left arm's channels step; from there they ease out."""
    left = ArmNames("L")
    released = tuple(f'"{bone}"].rotation' for bone in (left.fk_upper_arm, left.fk_forearm, left.fk_hand))
    for curve in curves_of(action):
        if not any(part in curve.data_path for part in released):
            continue
        for point in curve.keyframe_points:
            frame = round(point.co[0])
            if frame == ELBOW_LAST:
                point.interpolation = "CONSTANT"
            elif frame == ELBOW_LAST + 1:
                point.interpolation, point.easing = "SINE", "EASE_IN_OUT"
        curve.update()
