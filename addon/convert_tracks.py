"""From matched settings to channels and the frames that get a key: every one, or the fewest that keep the pose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.match.euler_paths import euler_path
from ..core.match.match import match
from ..core.match.reduce import kept_frames
from ..core.match.spaces import hold_channels
from ..core.match.target import Target
from ..core.posing import unscaled_basis, unscaled_poses
from ..core.rotations import angle_between, euler_to_matrix, quat_to_matrix
from ..core.solve.arm import solve
from ..core.solve.settings import ArmPose, ArmSettings
from . import arm_state, convert_read
from .arm_state import HOLD_FIELDS, Channel
from .convert_read import ArmTake, Frames
from .convert_write import Track, keys_within
from .holds import Mode
from .subjects import DIAL_FIELDS, FK_ROLES, Subject

Array = NDArray[np.float64]

# The channels' tolerance starts from this many times the pose's, and is brought down until the pose keeps to its own.
LOOSEST, TRIES = 2.0, 12
# What changes by less is one value: the host keeps seven digits.
LEVEL = 1e-9
# By what the pose's error asks for and a little more, within these bounds.
MARGIN, LEAST_STEP, MOST_STEP = 0.95, 0.2, 0.85


@dataclass(frozen=True)
class ArmTracks:
    """One arm's channels to key, and what the reference solver says of them.

    Attributes:
        tracks: the channels.
        far, turned: bounds on how far the pose will be from the one before, (N,), metres and radians.
    """

    tracks: list[Track]
    far: Array
    turned: Array


def arm_tracks(
    subject: Subject, arm: str, taken: ArmTake, mode: Mode, frames: Frames, tolerance: float | None
) -> ArmTracks:
    """The channels of `arm` to key for `mode`, and where: on every frame, or, within a tolerance, as rarely as can be.

    `tolerance`: metres, see convert.Request; None for every frame.
    """
    geometry = subject.geometries[arm]
    target = Target(ik=mode.ik, elbow=mode.elbow)
    matched = match(geometry, taken.settings, target, precision=arm_state.PRECISION)
    after, far, turned = matched.settings, matched.position_error, matched.angle_error
    found = arm_state.changed(taken.settings, after, subject, arm)
    values = {channel: _values(subject, arm, taken, after, channel) for channel in found}
    if tolerance is None:
        kept = {channel: _every(channel, rows) for channel, rows in values.items()}
    else:
        # Keys that say the same already may be more than it takes.
        said = {channel: keys_within(subject.armature, channel, frames) for channel in _read(subject, arm, mode)}
        said = {channel: count for channel, count in said.items() if count and channel not in values}
        values |= {channel: _values(subject, arm, taken, after, channel) for channel in said}
        kept, gap, turn = _fewest(subject, arm, taken, after, values, tolerance)
        far, turned = far + gap, turned + turn
        more = [channel for channel, count in said.items() if len(kept[channel]) * values[channel].shape[1] >= count]
        values = {channel: rows for channel, rows in values.items() if channel not in more}
    tracks = [Track(channel, rows, kept[channel], _stepped(channel, rows)) for channel, rows in values.items()]
    return ArmTracks(tracks, far, turned)


def tracks_where_changing(
    subject: Subject, arm: str, taken: ArmTake, after: ArmSettings, channels: Sequence[Channel]
) -> list[Track]:
    """Tracks of `channels` in settings `after`, keyed at both ends and on every frame next to which a value changes."""
    found = {channel: _values(subject, arm, taken, after, channel) for channel in channels}
    return [
        Track(channel, rows, _changing(rows), stepped=False)
        if not _stepped(channel, rows)
        else Track(channel, rows, _steps(rows), stepped=True)
        for channel, rows in found.items()
    ]


def _changing(rows: Array) -> NDArray[np.intp]:
    """The first and the last row, and every one that differs from one beside it."""
    changes = np.flatnonzero(np.abs(np.diff(rows, axis=0)).max(axis=1, initial=0.0) > LEVEL)
    return np.unique([0, *changes, *(changes + 1), len(rows) - 1])


def _read(subject: Subject, arm: str, mode: Mode) -> list[Channel]:
    """The controls' channels that `mode` reads; dials are keyed where they change anyway."""
    record, bones = subject.record, subject.armature.pose.bones
    unread = arm_state.UNREAD_IN_IK if mode.ik == 1.0 else ()
    found = [Channel(record.bone(arm, role), "rotation_euler") for role in FK_ROLES if role not in unread]
    held = [*(["hand_hold"] if mode.ik == 1.0 else []), *(["elbow_hold"] if mode.elbow == 1.0 else [])]
    for role in held:
        bone = bones[record.bone(arm, role)]
        found += [Channel(bone.name, "location"), Channel(bone.name, arm_state.rotation_path(bone))]
    if mode.ik == 1.0:
        found.append(Channel(record.bone(arm, "elbow_aim"), "location"))
    return found


def _every(channel: Channel, rows: Array) -> NDArray[np.intp]:
    return _steps(rows) if _stepped(channel, rows) else np.arange(len(rows))


def _values(subject: Subject, arm: str, taken: ArmTake, after: ArmSettings, channel: Channel) -> Array:
    """A channel's values (N, C) in settings `after`."""
    record, bones = subject.record, subject.armature.pose.bones
    if channel.is_dial:
        return np.asarray(getattr(after, DIAL_FIELDS[channel.path[2:-2]]))[:, None]
    for role, field in FK_ROLES.items():
        if record.bone(arm, role) == channel.bone:
            return np.asarray(getattr(after, field))
    role = _held_role(subject, arm, channel)
    poses = _poses(after, role)
    basis = unscaled_basis(taken.carriers[role], taken.rests[role], poses)
    if channel.path == "location":
        return np.asarray(basis[:, :3, 3])
    bone = bones[channel.bone]
    if bone.rotation_mode == "AXIS_ANGLE":
        raise HostError(f"{bone.name!r} turns by axis and angle: set its rotation mode to Quaternion")
    if channel.path == "rotation_quaternion":
        return hold_channels(basis, np.array(bone.rotation_quaternion, float))[1]
    return euler_path(basis[:, :3, :3], bone.rotation_mode, np.array(bone.rotation_euler, float))


def _held_role(subject: Subject, arm: str, channel: Channel) -> str:
    return next(role for role in convert_read.HELD_ROLES if subject.record.bone(arm, role) == channel.bone)


def _poses(settings: ArmSettings, role: str) -> Array:
    """Poses (N, 4, 4) of a hold or the aim; the aim does not turn."""
    if role in HOLD_FIELDS:
        return np.asarray(getattr(settings, role))
    out = np.tile(np.eye(4), (len(settings.aim), 1, 1))
    out[:, :3, 3] = settings.aim
    return out


def _stepped(channel: Channel, rows: Array) -> bool:
    """Whether a dial only switches: its values are its two ends, or never change."""
    return channel.is_dial and bool(np.isin(rows, (0.0, 1.0)).all() or (rows == rows[0]).all())


def _steps(rows: Array) -> NDArray[np.intp]:
    """The first and the last row, and every one that differs from the one before it."""
    changes = np.flatnonzero(np.any(np.diff(rows, axis=0) != 0.0, axis=1)) + 1
    return np.unique([0, *changes, len(rows) - 1])


def _fewest(
    subject: Subject, arm: str, taken: ArmTake, after: ArmSettings, values: dict[Channel, Array], tolerance: float
) -> tuple[dict[Channel, NDArray[np.intp]], Array, Array]:
    """The rows to key, as few a channel as keep the whole arm's pose within the tolerance, and the gaps (N,) and turns
    (N,) that they leave.
    """
    geometry = subject.geometries[arm]
    length = geometry.upper_length + geometry.forearm_length
    wanted = solve(geometry, after)
    scale = LOOSEST
    for _ in range(TRIES):
        kept = {channel: _rarely(channel, rows, scale * tolerance, length) for channel, rows in values.items()}
        between = {channel: _between(rows, kept[channel], _stepped(channel, rows)) for channel, rows in values.items()}
        gap, turn = _errors(wanted, solve(geometry, _applied(subject, arm, taken, after, between)))
        error = float(np.max([gap, length * turn], initial=0.0))
        if error <= tolerance:
            return kept, gap, turn
        scale *= float(np.clip(MARGIN * tolerance / error, LEAST_STEP, MOST_STEP))
    nothing = np.zeros(len(after.ik))
    return {channel: _every(channel, rows) for channel, rows in values.items()}, nothing, nothing


def _rarely(channel: Channel, rows: Array, tolerance: float, length: float) -> NDArray[np.intp]:
    """The rows of one channel to key within a tolerance, metres at the arm's length."""
    if _stepped(channel, rows):
        return _steps(rows)
    if (rows == rows[0]).all():
        return np.unique([0, len(rows) - 1])
    if channel.path == "location":
        return kept_frames(rows, tolerance)
    # A quaternion changes by half of the angle.
    return kept_frames(rows, tolerance / length * (0.5 if channel.path == "rotation_quaternion" else 1.0))


def _between(rows: Array, kept: NDArray[np.intp], stepped: bool) -> Array:
    """What the curves through the kept rows give on every row."""
    every = np.arange(len(rows))
    if stepped:
        return np.asarray(rows[kept[np.searchsorted(kept, every, side="right") - 1]])
    return np.stack([np.interp(every, kept, column[kept]) for column in rows.T], axis=1)


def _applied(
    subject: Subject, arm: str, taken: ArmTake, after: ArmSettings, values: dict[Channel, Array]
) -> ArmSettings:
    """`after` with the channels' values in place of its own."""
    record, bones = subject.record, subject.armature.pose.bones
    fields: dict[str, Any] = {}
    fk = {record.bone(arm, role): field for role, field in FK_ROLES.items()}
    basis: dict[str, Array] = {}
    for channel, rows in values.items():
        if channel.is_dial:
            fields[DIAL_FIELDS[channel.path[2:-2]]] = rows[:, 0]
        elif channel.bone in fk:
            fields[fk[channel.bone]] = rows
        else:
            role = _held_role(subject, arm, channel)
            if role not in basis:
                basis[role] = unscaled_basis(taken.carriers[role], taken.rests[role], _poses(after, role))
            if channel.path == "location":
                basis[role][:, :3, 3] = rows
            elif channel.path == "rotation_quaternion":
                basis[role][:, :3, :3] = quat_to_matrix(rows / np.linalg.norm(rows, axis=1, keepdims=True))
            else:
                basis[role][:, :3, :3] = euler_to_matrix(rows, bones[channel.bone].rotation_mode)
    for role, own in basis.items():
        poses = unscaled_poses(taken.carriers[role], taken.rests[role], own)
        if role in HOLD_FIELDS:
            fields[role] = convert_read.rigid(poses)
        else:
            fields["aim"] = poses[:, :3, 3]
    return replace(after, **fields)


def _errors(wanted: ArmPose, made: ArmPose) -> tuple[Array, Array]:
    """Largest distance of a joint, metres, and largest turn of a segment, radians, (N,) each."""
    far = [np.linalg.norm(getattr(wanted, name) - getattr(made, name), axis=-1) for name in ("elbow", "wrist")]
    turned = [angle_between(getattr(wanted, name), getattr(made, name)) for name in ("upper_arm", "forearm", "hand")]
    return np.max(far, axis=0), np.max(turned, axis=0)
