"""Poses of the hands as the host's own pose assets: actions of one frame that the host's asset shelf applies."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np

from ..core.arm.fingers import curl_dial
from ..core.arm.names import CURL, SPREAD
from ..core.errors import HostError
from ..core.hand_poses import FIST, FLAT, RELAXED, HandPose, hand_poses
from . import rig, sample_fingers
from .curves import curves_of, unassigned_action, write_curve

# What a made action remembers: for which rig, which pose, and what was in it.
KEY = "armwright_hand_pose"
FRAME = 1.0
HELP = {
    RELAXED: "Fingers at ease, closing more from the index to the little finger",
    FIST: "Every finger closed by its joints' whole range, the thumb across them",
    FLAT: "Fingers straight, in the palm's plane",
}
# Data path, component, value: one key each.
Key = tuple[str, int, float]


def make_hand_poses(armature: bpy.types.Object) -> list[bpy.types.Action]:
    """Pose assets for the hands of `armature`, all of them or none; those that are there already stay as they are.

    Its own action and pose are not touched, and no action that somebody has made or changed is: a name that is taken
    gets a number. Raises HostError for a rig without fingers.
    """
    record = rig.read_record(armature)
    wanted = _wanted(armature)
    made: list[bpy.types.Action] = []
    out: list[bpy.types.Action] = []
    try:
        for pose, keys in wanted.items():
            there = _ours(armature, pose)
            same = next((action for action in there if _digest(_keys_of(action)) == _digest(keys)), None)
            if same is None:
                same = _make(armature, f"{record.name} {pose}", pose, keys)
                made.append(same)
            out.append(same)
    except BaseException:
        for action in made:
            bpy.data.actions.remove(action)
        raise
    _remove(action for pose in wanted for action in _ours(armature, pose) if action not in out)
    return out


def remove_hand_poses(armature: bpy.types.Object) -> None:
    """Remove the pose assets made for `armature` that nobody has renamed, changed, filed in a catalogue or used."""
    _remove(action for pose in HELP for action in _ours(armature, pose))


def has_fingers(armature: bpy.types.Object) -> bool:
    """Whether an armature with arms has a hand with fingers."""
    return any(role.role == "finger_dials" for role in rig.read_record(armature).roles)


def _wanted(armature: bpy.types.Object) -> dict[str, list[Key]]:
    """What each pose sets, on all hands that have fingers."""
    record = rig.read_record(armature)
    found: dict[str, list[Key]] = {}
    for arm in record.arms:
        geometry = sample_fingers.finger_geometry(armature, record, arm)
        for name, pose in hand_poses(geometry).items() if geometry is not None else ():
            dials = record.bone(arm, "finger_dials")
            controls = {finger: [record.bone(arm, f"fk_{finger}_{place + 1}") for place in range(len(channels))]
                        for finger, channels in pose.channels.items()}  # fmt: skip
            found.setdefault(name, []).extend(_keys(pose, dials, controls))
    if not found:
        raise HostError(f"{armature.name!r} has no fingers: add them to the joint guide and build the arms again")
    return found


def _keys(pose: HandPose, dials: str, controls: dict[str, list[str]]) -> Iterator[Key]:
    for key, value in {CURL: pose.curl, SPREAD: pose.spread, **{curl_dial(k): v for k, v in pose.own.items()}}.items():
        yield f'pose.bones["{dials}"]["{key}"]', 0, value
    for finger, bones in controls.items():
        for bone, channels in zip(bones, pose.channels[finger], strict=True):
            for index, value in enumerate(channels):
                yield f'pose.bones["{bone}"].rotation_euler', index, float(value)


def _make(armature: bpy.types.Object, name: str, pose: str, keys: list[Key]) -> bpy.types.Action:
    action, _, curves = unassigned_action(name, armature.name)
    try:
        for path, index, value in keys:
            write_curve(curves, path, index, np.array([FRAME]), np.array([value]))
        action.asset_mark()
        action.asset_data.description = HELP[pose]
        action[KEY] = json.dumps(
            {"rig": armature.name, "pose": pose, "name": action.name, "digest": _digest(_keys_of(action))}
        )
    except BaseException:
        bpy.data.actions.remove(action)
        raise
    return action


def _ours(armature: bpy.types.Object, pose: str) -> list[bpy.types.Action]:
    """The assets of a pose made for `armature` that are as they were made and that nothing uses."""
    return [action for action in bpy.data.actions if _is_untouched(action, armature.name, pose)]


def _is_untouched(action: bpy.types.Action, owner: str, pose: str) -> bool:
    text = action.get(KEY)
    if not isinstance(text, str) or action.library is not None or action.asset_data is None:
        return False
    try:
        made = json.loads(text)
    except (ValueError, RecursionError):
        return False
    if not isinstance(made, dict) or (made.get("rig"), made.get("pose"), made.get("name")) != (
        owner,
        pose,
        action.name,
    ):
        return False
    asset: Any = action.asset_data
    filed = any(part != "0" for part in asset.catalog_id.replace("-", "")) or len(asset.tags) > 0
    used = action.users - int(action.use_fake_user) > 0
    return not filed and not used and made.get("digest") == _digest(_keys_of(action))


def _keys_of(action: bpy.types.Action) -> list[Key]:
    """Every key of an action, in the form in which the keys of a pose are asked for; those off FRAME never match."""
    return [
        (curve.data_path if point.co.x == FRAME else f"{point.co.x:g}:{curve.data_path}", curve.array_index, point.co.y)
        for curve in curves_of(action)
        for point in curve.keyframe_points
    ]


def _digest(keys: list[Key]) -> str:
    """The same for the same keys in any order, in the host's single precision."""
    lines = sorted(f"{path}|{index}|{np.float32(value) + np.float32(0.0):.9g}" for path, index, value in keys)
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def _remove(actions: Iterator[bpy.types.Action]) -> None:
    for action in list(actions):
        bpy.data.actions.remove(action)
