"""What Wren does with things, by the same functions as the animator's sidebar: take hold, reach, let go; all keyed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import bpy
import numpy as np

from ..addon import grab, keys, spaces
from ..addon.curves import curves_of
from ..addon.host import numpy_to_matrix, rest_matrix
from ..addon.subjects import Subject
from ..addon.switch import switch
from ..core.arm.fingers import LEAST_CURL
from ..core.arm.names import UPPER_LENGTH, ArmNames
from ..core.match.target import Target
from .posing import carried, hanging, key_dial, key_place, key_rotation, key_turns, pose_of, set_place, set_rotation
from .shaping import Array

# Raised to its side, swung forwards, elbow bent, forearm rolled, wrist bent: degrees.
Hang = tuple[float, float, float, float, float]
# Metres and degrees: place in plan, height, turn about the vertical.
Stand = tuple[float, float, float, float]
Turns = tuple[float, float, float]
# How long a handle of a motion's first key is, frames.
EASE = 3.0
# The fingers' dial, and how far it is turned: hanging, laid flat, around the rail, a rung, the lantern's bail.
FINGERS, CURL, THUMB_CURL, LITTLE_CURL = "fk.fingers.{}", "curl", "curl_thumb", "curl_little"
RELAXED, FLAT, ON_RAIL, ON_RUNG, ON_BAIL = 0.18, 0.02, 0.51, 0.57, 0.62
OPEN = 0.04
# How far a thumb beside what the fingers grip is opened, and how much less the short little finger curls.
THUMB_ASIDE, LITTLE_LESS = 0.50, 0.10


@dataclass(frozen=True)
class Stage:
    """Who acts and with what: the rig as the sidebar sees it, gloves, body, the ladder."""

    subject: Subject
    hands: bpy.types.Object
    body: bpy.types.Object
    ladder: bpy.types.Object

    @property
    def armature(self) -> bpy.types.Object:
        """Wren's."""
        return self.subject.armature


def take_hold(stage: Stage, side: str, parts: str, frame: int, thing: grab.Thing | None = None) -> None:
    """Hold `thing` (None is the world) from `frame` on, where the arm is; what is held stays until its next key."""
    bpy.context.scene.frame_set(frame)
    grab.grab(stage.subject, side, parts, thing, keyed=True)
    move_on(stage, frame)
    for hold in grab.PARTS[parts]:
        own = spaces.hold_channels(spaces.hold_bone(stage.subject, side, hold))
        keys.key(stage.armature, own, frame, hold=True)


def reach(stage: Stage, side: str, start: int, places: Mapping[int, Array]) -> None:
    """From `start` on the hand is held in the world, and travels through `places` (4, 4) by frame."""
    scene, hold = bpy.context.scene, ArmNames(side).hold_hand
    scene.frame_set(start)
    grab.grab(stage.subject, side, "hand", None, keyed=True)
    move_on(stage, start)
    for frame, pose in places.items():
        scene.frame_set(frame)
        set_place(stage.armature, hold, pose)
        key_place(stage.armature, hold, frame)


def draw_back(stage: Stage, side: str, start: int, end: int, way: Array) -> None:
    """Off what is held at `start`, by `way` (3,) metres; at `end` the arm swings free."""
    bpy.context.scene.frame_set(start)
    off = pose_of(stage.armature, ArmNames(side).hand)
    off[:3, 3] += way
    reach(stage, side, start, {end: off})
    let_go(stage, side, end)


def let_go(stage: Stage, side: str, frame: int) -> None:
    """Swing free from `frame` on, from where the arm is."""
    bpy.context.scene.frame_set(frame)
    grab.release(stage.subject, side, keyed=True)
    move_on(stage, frame)


def isolate(stage: Stage, side: str, frame: int, on: bool) -> None:
    """Turn isolation on or off at `frame`, the arm staying as it is."""
    bpy.context.scene.frame_set(frame)
    switch(stage.subject, side, Target(isolate=float(on)), keyed=True)
    move_on(stage, frame)


def move_on(stage: Stage, frame: int) -> None:
    """From their keys at `frame` on, places and turns that were held until then go on smoothly; dials step."""
    for curve in curves_of(stage.armature.animation_data.action):
        if curve.data_path.endswith(('"]', ".influence")):
            continue
        points = {round(point.co.x): point for point in curve.keyframe_points}
        before, point = points.get(frame - 1), points.get(frame)
        if before is not None and point is not None and before.interpolation == "CONSTANT":
            point.interpolation = "BEZIER"
            point.handle_left_type = point.handle_right_type = "FREE"
            # From rest: the key before belongs to what was held until then, and says nothing about the way on.
            point.handle_left = (frame - EASE, point.co.y)
            point.handle_right = (frame + EASE, point.co.y)
        curve.update()


def curl_fingers(stage: Stage, side: str, keys_of: Mapping[int, float]) -> None:
    """Key how far all fingers of a hand are curled, by frame; the more they are, the more the thumb is laid aside."""
    bone = stage.armature.pose.bones[FINGERS.format(side)]
    for frame, value in keys_of.items():
        aside = min(1.0, max(0.0, (value - RELAXED) / (ON_RAIL - RELAXED)))
        own = {
            CURL: value,
            THUMB_CURL: max(LEAST_CURL, -aside * (value + THUMB_ASIDE)),
            LITTLE_CURL: -aside * LITTLE_LESS,
        }
        for dial, turn in own.items():
            bone[dial] = float(turn)
            bone.keyframe_insert(f'["{dial}"]', frame=frame, group=bone.name)


def closing(keys_of: Mapping[int, float], grip: float, least: float = RELAXED) -> dict[int, float]:
    """Curls by frame from shares of the way: 0 is the `least`, a relaxed hand, and 1 the `grip`."""
    return {frame: least + share * (grip - least) for frame, share in keys_of.items()}


def own_length(stage: Stage, side: str, start: int, end: int) -> None:
    """Bring the upper arm, which a held elbow has given another length, back to its own from `start` to `end`."""
    key_dial(stage.armature, side, UPPER_LENGTH, {end: 1.0})
    path = f'"{ArmNames(side).fk_clavicle}"]["{UPPER_LENGTH}"]'
    for curve in curves_of(stage.armature.animation_data.action):
        if path not in curve.data_path:
            continue
        for point in curve.keyframe_points:
            if round(point.co.x) == start:
                point.interpolation, point.easing = "SINE", "EASE_IN_OUT"
            elif round(point.co.x) == end:
                point.interpolation = "CONSTANT"
        curve.update()


def hang(stage: Stage, side: str, poses: Mapping[int, Hang]) -> None:
    """Key a free arm's pose by frame, against the chest's own left."""
    names, sign = ArmNames(side), 1.0 if side == "L" else -1.0
    for frame, (raised, swing, bend, roll, wrist) in poses.items():
        bpy.context.scene.frame_set(frame)
        left = pose_of(stage.armature, "torso.3")[:3, 0]
        set_rotation(stage.armature, names.fk_upper_arm, hanging(left, raised, swing, sign))
        key_rotation(stage.armature, names.fk_upper_arm, frame)
        key_turns(stage.armature, names.fk_forearm, {frame: (bend, roll, 0.0)})
        key_turns(stage.armature, names.fk_hand, {frame: (wrist, 0.0, 0.0)})


def aim_elbow(stage: Stage, side: str, places: Mapping[int, tuple[float, float, float]]) -> None:
    """Key where the elbow points, by frame: metres to the arm's own side, forwards, up, from the shoulder at rest."""
    armature, names = stage.armature, ArmNames(side)
    sign = 1.0 if side == "L" else -1.0
    shoulder = rest_matrix(armature.data.bones[names.fk_upper_arm])[:3, 3]
    for frame, (aside, forwards, up) in places.items():
        bpy.context.scene.frame_set(frame)
        chest = pose_of(armature, "torso.3") @ np.linalg.inv(rest_matrix(armature.data.bones["torso.3"]))
        wanted = np.eye(4)
        wanted[:3, 3] = (chest @ [*(shoulder + np.array([sign * aside, -forwards, up])), 1.0])[:3]
        aim = armature.pose.bones[names.aim_elbow]
        aim.location = numpy_to_matrix(np.linalg.inv(carried(armature, aim.name)) @ wanted).translation
        aim.keyframe_insert("location", frame=frame, group=aim.name)


def stand(stage: Stage, places: Mapping[int, Stand]) -> None:
    """Key where Wren stands, by frame."""
    root = stage.armature.pose.bones["root"]
    for frame, (x, y, z, turn) in places.items():
        root.location = (x, y, z)
        root.rotation_euler = (0.0, 0.0, float(np.radians(turn)))
        key_place(stage.armature, "root", frame)


def lean(stage: Stage, keys_of: Mapping[str, Mapping[int, Turns]], hips: Mapping[int, Turns]) -> None:
    """Key the torso's and the head's turns (degrees) and the hips' travel (metres) by frame."""
    for bone, turns in keys_of.items():
        key_turns(stage.armature, bone, turns)
    for frame, travel in hips.items():
        stage.armature.pose.bones["torso.1"].location = travel
        stage.armature.pose.bones["torso.1"].keyframe_insert("location", frame=frame, group="torso.1")
