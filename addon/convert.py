"""Range conversion: an animation over a range of frames, in another mode of holding, with the same poses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.match.euler_paths import euler_path
from ..core.match.match import match
from ..core.match.reduce import kept_frames
from ..core.match.spaces import hold_channels
from ..core.match.target import Target
from ..core.rotations import angle_between, euler_to_matrix, quat_to_matrix
from ..core.solve.arm import solve
from ..core.solve.settings import ArmGeometry, ArmSettings
from . import arm_state, convert_read
from .arm_state import HOLD_FIELDS, Channel
from .convert_read import ArmTake, Frames
from .convert_write import Journal, Track, check_action, check_channels
from .holds import MODES
from .prove import DIAL_FIELDS, FK_ROLES, Progress, Subject
from .switch import POP_ANGLE, POP_LIMIT, check_editable

Array = NDArray[np.float64]

EVERY, FEWEST = "every", "fewest"
KEYS = (EVERY, FEWEST)
# How the tolerance on the channels is brought down until the pose keeps to its own: from twice, by halves.
LOOSEST, HALVINGS = 2.0, 12


@dataclass(frozen=True)
class Request:
    """What to convert.

    Attributes:
        arms: sides.
        mode: a key of MODES.
        first, last: the range, both frames among it.
        keys: "every" frame, or the "fewest".
        tolerance: with the fewest keys, how far a joint may be off, metres; a segment may turn by as much as would
            move a point at the arm's own length from it by so much.
    """

    arms: tuple[str, ...]
    mode: str
    first: float
    last: float
    keys: str = EVERY
    tolerance: float = 0.001


@dataclass(frozen=True)
class Converted:
    """What a conversion did, measured on the rig after it.

    Attributes:
        frames: number of frames in the range.
        keys: number of keys set in it, over all curves.
        keyed_frames: number of its frames that have one of them.
        gap: largest distance of a joint from where it was, arm lengths.
        angle: largest turn of a segment, degrees.
        worst_frame: where.
        mode: a key of MODES.
    """

    frames: int
    keys: int
    keyed_frames: int
    gap: float
    angle: float
    worst_frame: int
    mode: str

    def sentence(self) -> str:
        """For people."""
        what = f"{self.frames} frames: {MODES[self.mode].sentence.lower()}"
        if self.keys == 0:
            return f"{what} already; nothing was changed"
        kept = (
            "every pose is kept"
            if self.gap <= POP_LIMIT and self.angle <= POP_ANGLE
            else f"at most {100.0 * self.gap:.2g} % of the arm's length and {self.angle:.2g} degrees away "
            f"(frame {self.worst_frame})"
        )
        return f"{what}, {self.keys} keys on {self.keyed_frames} frames; {kept}"


def convert(subject: Subject, request: Request) -> Iterator[Progress | Converted]:
    """Convert a range: progress frame by frame, what was done last.

    The scene's frame and what is posed are as before whenever it ends. If it fails, or is closed before its end, so is
    every key. Raises HostError or MatchError with nothing changed.
    """
    frames = _checked(subject, request)
    armature, scene = subject.armature, bpy.context.scene
    at, posed, journal = (scene.frame_current, scene.frame_subframe), convert_read.posed(armature), Journal(armature)
    written: list[Channel] = []
    done = False
    try:
        takes: dict[str, ArmTake] = {}
        for step in convert_read.take(subject, request.arms, frames):
            if isinstance(step, dict):
                takes = step
            else:
                yield Progress(step, 2 * frames.count, "reading")
        tracks = [track for arm in request.arms for track in _arm_tracks(subject, arm, takes[arm], request, frames)]
        written = [track.channel for track in tracks]
        check_channels(armature, written)
        count = journal.write(frames, tracks)
        gap, angle, worst = 0.0, 0.0, frames.first
        if tracks:
            joints = np.empty(0)
            for seen in convert_read.joints(subject, request.arms, frames):
                if isinstance(seen, int):
                    yield Progress(frames.count + seen, 2 * frames.count, "measuring")
                else:
                    joints = seen
            gap, angle, worst = _apart(subject, request.arms, takes, joints, frames)
        keyed = len(set().union(*(track.kept.tolist() for track in tracks)))
        done = True
    finally:
        if not done:
            journal.undo()
            written = []
        _back(armature, at, posed, written)
    yield Converted(frames.count, count, keyed, gap, angle, worst, request.mode)


def convert_whole(subject: Subject, request: Request) -> Converted:
    """`convert` from beginning to end."""
    for step in convert(subject, request):
        if isinstance(step, Converted):
            return step
    raise AssertionError("a conversion ends with what it did")


def _checked(subject: Subject, request: Request) -> Frames:
    frames = convert_read.frames_of(request.first, request.last)
    if request.mode not in MODES:
        raise HostError(f"there is no mode {request.mode!r}; there is: {', '.join(MODES)}")
    if request.keys not in KEYS:
        raise HostError(f"keys {request.keys!r}: give one of: {', '.join(KEYS)}")
    unknown = [arm for arm in request.arms if arm not in subject.arms]
    if unknown or not request.arms:
        raise HostError(
            f"{subject.armature.name!r} has no arm {', '.join(unknown) or 'chosen'}; it has: {', '.join(subject.arms)}"
        )
    if not (np.isfinite(request.tolerance) and request.tolerance >= 0.0):
        raise HostError(f"the tolerance is {request.tolerance:g}: give a length of 0 or more, in metres")
    check_editable(subject.armature)
    check_action(subject.armature, frames)
    return frames


def _arm_tracks(subject: Subject, arm: str, taken: ArmTake, request: Request, frames: Frames) -> list[Track]:
    """The channels to key, and where."""
    mode, geometry = MODES[request.mode], subject.geometries[arm]
    after = match(geometry, taken.settings, Target(ik=mode.ik, elbow=mode.elbow)).settings
    found = arm_state.changed(taken.settings, after, subject, arm)
    values = {channel: _values(subject, arm, taken, after, channel) for channel in found}
    every = np.arange(frames.count)
    if request.keys == EVERY:
        kept = {channel: _steps(rows) if _stepped(channel, rows) else every for channel, rows in values.items()}
    else:
        kept = _fewest(subject, arm, taken, after, values, request.tolerance)
    return [Track(channel, rows, kept[channel], _stepped(channel, rows)) for channel, rows in values.items()]


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
    basis = np.linalg.inv(taken.carriers[role]) @ poses
    if channel.path == "location":
        return np.asarray(basis[:, :3, 3])
    bone = bones[channel.bone]
    if bone.rotation_mode == "AXIS_ANGLE":
        raise HostError(f"{bone.name!r} turns by axis and angle: set its rotation mode to Quaternion")
    if channel.path == "rotation_quaternion":
        return hold_channels(convert_read.rigid(basis), np.array(bone.rotation_quaternion, float))[1]
    start = np.array(bone.rotation_euler, float)
    return euler_path(convert_read.rigid(basis)[:, :3, :3], bone.rotation_mode, start)


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
) -> dict[Channel, NDArray[np.intp]]:
    """The rows to key: as few a channel as keep the whole arm's pose within the tolerance."""
    geometry = subject.geometries[arm]
    length = geometry.upper_length + geometry.forearm_length
    scale = LOOSEST
    for _ in range(HALVINGS):
        kept = {
            channel: _steps(rows)
            if _stepped(channel, rows)
            else kept_frames(rows, scale * tolerance / (1.0 if channel.path == "location" else length))
            for channel, rows in values.items()
        }
        between = {channel: _between(rows, kept[channel], _stepped(channel, rows)) for channel, rows in values.items()}
        if _error(geometry, after, _applied(subject, arm, taken, after, between)) <= tolerance:
            return kept
        scale *= 0.5
    return {
        channel: _steps(rows) if _stepped(channel, rows) else np.arange(len(rows)) for channel, rows in values.items()
    }


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
                basis[role] = np.linalg.inv(taken.carriers[role]) @ _poses(after, role)
            if channel.path == "location":
                basis[role][:, :3, 3] = rows
            elif channel.path == "rotation_quaternion":
                basis[role][:, :3, :3] = quat_to_matrix(rows / np.linalg.norm(rows, axis=1, keepdims=True))
            else:
                basis[role][:, :3, :3] = euler_to_matrix(rows, bones[channel.bone].rotation_mode)
    for role, own in basis.items():
        poses = taken.carriers[role] @ own
        if role in HOLD_FIELDS:
            fields[role] = convert_read.rigid(poses)
        else:
            fields["aim"] = poses[:, :3, 3]
    return replace(after, **fields)


def _error(geometry: ArmGeometry, wanted: ArmSettings, made: ArmSettings) -> float:
    """Largest distance of a joint, metres; turns count at the arm's length."""
    length = geometry.upper_length + geometry.forearm_length
    first, second = solve(geometry, wanted), solve(geometry, made)
    far = [np.linalg.norm(getattr(first, name) - getattr(second, name), axis=-1) for name in ("elbow", "wrist")]
    turned = [
        length * angle_between(getattr(first, name), getattr(second, name)) for name in ("upper_arm", "forearm", "hand")
    ]
    return float(np.max([*far, *turned]))


def _apart(
    subject: Subject, arms: tuple[str, ...], takes: dict[str, ArmTake], joints: Array, frames: Frames
) -> tuple[float, float, int]:
    """Largest gap (arm lengths), largest turn (degrees), and the frame of the worse of the two by their limits."""
    gaps, angles = [], []
    for place, arm in enumerate(arms):
        geometry = subject.geometries[arm]
        far, turned = convert_read.gaps(takes[arm].joints, joints[:, place])
        gaps.append(far / (geometry.upper_length + geometry.forearm_length))
        angles.append(np.degrees(turned))
    gap, angle = np.max(gaps, axis=0), np.max(angles, axis=0)
    worst = int(np.argmax(np.maximum(gap / POP_LIMIT, angle / POP_ANGLE)))
    return float(gap.max()), float(angle.max()), frames.first + worst


def _back(armature: bpy.types.Object, at: tuple[int, float], posed: dict[str, Any], written: list[Channel]) -> None:
    """The frame and the pose as before, apart from what was `written`: that is what its curves say."""
    bpy.context.scene.frame_set(at[0], subframe=at[1])
    bones = armature.pose.bones
    new = []
    for channel in written:
        bone = bones[channel.bone]
        new.append(bone.path_resolve(channel.path) if channel.is_dial else tuple(getattr(bone, channel.path)))
    convert_read.pose_again(armature, posed)
    for channel, value in zip(written, new, strict=True):
        if channel.is_dial:
            bones[channel.bone][channel.path[2:-2]] = value
        else:
            setattr(bones[channel.bone], channel.path, value)
    armature.update_tag()
    bpy.context.view_layer.update()
