"""Steps a rig through poses and reads it back, leaving the file as it was found."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core.frames import ORDERS
from ..core.options import ArmOptions
from ..core.posing import basis_of
from ..core.proof.samples import SAMPLED_ROLES, ArmSamples
from ..core.rig_record import RigRecord
from ..core.solve.settings import ArmGeometry
from ..core.tracks import Tracks
from . import host

Array = NDArray[np.float64]
Progress = Callable[[int], None]

CHANNELS = ("location", "rotation_quaternion", "rotation_euler", "rotation_axis_angle", "scale", "rotation_mode")


@dataclass(frozen=True)
class Sampled:
    """Evaluated poses (N, B, 4, 4) of the bones asked for, armature space, and the seconds that it took."""

    poses: Array
    seconds: float


@contextmanager
def borrowed(armature: bpy.types.Object) -> Iterator[None]:
    """The armature without its action and its layers, free to be posed; channels, dials, action and layers as before afterwards."""
    kept = [_channels(bone) for bone in armature.pose.bones]
    dials = [{key: value for key, value in bone.items() if isinstance(value, (bool, int, float))} for bone in armature.pose.bones]
    animation = armature.animation_data
    action = animation.action if animation is not None else None
    slot = getattr(animation, "action_slot", None) if action is not None else None
    layers = animation.use_nla if animation is not None else False
    if animation is not None:
        animation.action = None
        animation.use_nla = False
    try:
        yield
    finally:
        for bone, channels, values in zip(armature.pose.bones, kept, dials, strict=True):
            for name, value in channels.items():
                setattr(bone, name, value)
            for key, value in values.items():
                if bone[key] != value:
                    bone[key] = value
        if animation is not None:
            animation.action = action
            if slot is not None:
                animation.action_slot = slot
            animation.use_nla = layers
        armature.update_tag()
        bpy.context.view_layer.update()


def _channels(bone: bpy.types.PoseBone) -> dict[str, Any]:
    return {
        name: value if isinstance(value := getattr(bone, name), str) else tuple(value)  # type: ignore[arg-type]
        for name in CHANNELS
    }


def step(
    armature: bpy.types.Object, tracks: Tracks, read: Sequence[str], progress: Progress | None = None
) -> Sampled:
    """Set `tracks` frame by frame and read the bones `read`. Call it inside `borrowed`.

    `progress` is called with the number of frames done after each frame; it may raise to cancel.
    """
    setters = [*_pose_setters(armature, tracks), *_angle_setters(armature, tracks)]
    dials = _dial_setters(armature, tracks)
    reader = host.PoseReader(armature, read)
    out = np.empty((tracks.frames, len(read), 4, 4))
    update = bpy.context.view_layer.update
    start = time.perf_counter()
    for frame in range(tracks.frames):
        for setter in setters:
            setter(frame)
        for setter in dials:
            setter(frame)
        armature.update_tag()
        update()
        out[frame] = reader.read()
        if progress is not None:
            progress(frame + 1)
    return Sampled(out, time.perf_counter() - start)


Setter = Callable[[int], None]


def _pose_setters(armature: bpy.types.Object, tracks: Tracks) -> list[Setter]:
    rest = {track.bone: host.rest_matrix(armature.data.bones[track.bone]) for track in tracks.poses}
    known = {track.bone: track.poses for track in tracks.poses}
    setters = []
    for track in tracks.poses:
        bone = armature.pose.bones[track.bone]
        parent = bone.parent
        if parent is None:
            basis = basis_of(track.poses, rest[track.bone], None, None)
        elif parent.name in known:
            basis = basis_of(track.poses, rest[track.bone], known[parent.name], rest[parent.name])
        else:
            carried = np.broadcast_to(host.matrix_to_numpy(parent.matrix), track.poses.shape)
            basis = basis_of(track.poses, rest[track.bone], carried, host.rest_matrix(parent.bone))
        setters.append(_setter(bone, "matrix_basis", [Matrix(rows.tolist()) for rows in basis]))
    return setters


def _angle_setters(armature: bpy.types.Object, tracks: Tracks) -> list[Setter]:
    return [
        _setter(armature.pose.bones[track.bone], "rotation_euler", [tuple(row) for row in track.angles.tolist()])
        for track in tracks.angles
    ]


def _setter(bone: bpy.types.PoseBone, channel: str, values: list[Any]) -> Setter:
    if all(value == values[0] for value in values[1:]):
        # What never changes is set once.
        setattr(bone, channel, values[0])
        return lambda frame: None

    def set_frame(frame: int) -> None:
        setattr(bone, channel, values[frame])

    return set_frame


def _dial_setters(armature: bpy.types.Object, tracks: Tracks) -> list[Setter]:
    setters: list[Setter] = []
    for track in tracks.dials:
        bone, values = armature.pose.bones[track.bone], track.values.tolist()
        bone[track.key] = float(values[0])
        if any(value != values[0] for value in values):
            setters.append(_dial_setter(bone, track.key, values))
    return setters


def _dial_setter(bone: bpy.types.PoseBone, key: str, values: list[float]) -> Setter:
    def set_frame(frame: int) -> None:
        bone[key] = values[frame]

    return set_frame


def sampled_bones(record: RigRecord, arms: Sequence[str]) -> list[str]:
    """Bones to read for `arms`: the torso, the root if there is one, then each arm's sampled roles."""
    shared = [record.torso, *([record.root] if record.root else [])]
    return shared + [record.bone(arm, role) for arm in arms for role in SAMPLED_ROLES]


def arm_samples(record: RigRecord, arms: Sequence[str], poses: Array) -> dict[str, ArmSamples]:
    """Sampled poses (N, B, 4, 4) of `sampled_bones`, sorted by arm and role."""
    torso = poses[:, 0]
    root = poses[:, 1] if record.root else np.broadcast_to(np.eye(4), torso.shape)
    first, count = (2 if record.root else 1), len(SAMPLED_ROLES)
    return {
        arm: ArmSamples(
            torso, root, **{role: poses[:, first + place * count + index] for index, role in enumerate(SAMPLED_ROLES)}
        )
        for place, arm in enumerate(arms)
    }


def geometry(armature: bpy.types.Object, record: RigRecord, arm: str, options: ArmOptions, up: Array) -> ArmGeometry:
    """The arm at rest, read from the host's own bones."""
    bones = armature.data.bones

    def rest(role: str) -> Array:
        return host.rest_matrix(bones[record.bone(arm, role)])

    clavicle, upper_arm, forearm, hand = (rest(role) for role in ("clavicle", "upper_arm", "forearm", "hand"))
    return ArmGeometry(
        torso=host.rest_matrix(bones[record.torso]),
        root=host.rest_matrix(bones[record.root]) if record.root else np.eye(4),
        clavicle=clavicle,
        upper_arm=upper_arm,
        forearm=forearm,
        hand=hand,
        clavicle_length=float(np.linalg.norm(upper_arm[:3, 3] - clavicle[:3, 3])),
        upper_length=float(np.linalg.norm(forearm[:3, 3] - upper_arm[:3, 3])),
        forearm_length=float(np.linalg.norm(hand[:3, 3] - forearm[:3, 3])),
        up=up,
        rotation_orders=ORDERS,
        options=options,
    )
