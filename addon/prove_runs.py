"""Sets what the proof's runs ask for on a rig, plays them and reads the rig."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..core.motion.clip import Clip, torso_for
from ..core.pace import UNBROKEN, Pace, whole
from ..core.posing import chain_poses
from ..core.proof import fingers
from ..core.proof.finger_samples import moving_fingers
from ..core.proof.run_plan import RunSpec
from ..core.proof.run_settings import settings_for
from ..core.proof.samples import ArmRun
from ..core.solve.settings import ArmSettings
from ..core.tracks import DialTrack, EulerTrack, PoseTrack, Tracks
from . import host, sample, sample_fingers
from .subjects import DIAL_FIELDS, FK_ROLES, Subject, check_whole

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Played:
    """A run as every arm showed it, and what was set for it."""

    runs: tuple[ArmRun, ...]
    tracks: Tracks


def run(subject: Subject, spec: RunSpec, stage: sample.Stage) -> tuple[ArmRun, ...]:
    """Play one run on every arm at once."""
    return whole(playing(subject, spec, stage, UNBROKEN)).runs


def playing(subject: Subject, spec: RunSpec, stage: sample.Stage, pace: Pace) -> Generator[int, None, Played]:
    """`run` in steps that may be left where a turn of `pace` is over: yields the number of frames done.

    Raises HostError where a bone was taken from the arms in somebody's turn.
    """
    check_whole(subject.armature, subject.record)
    tracks, settings = yield from setting(subject, spec)
    check_whole(subject.armature, subject.record)
    moving = moving_hands(subject, spec)
    tracks = sample_fingers.joined(tracks, moving)
    bones = sample.sampled_bones(subject.record, subject.arms)
    yield 0
    sampled = yield from sample.stepping(stage, tracks, bones + sample_fingers.read_bones(moving), pace)
    yield spec.clip.frames
    shown = sample_fingers.finger_runs(moving, sampled.poses[:, len(bones) :])
    samples = sample.arm_samples(subject.record, subject.arms, sampled.poses)
    runs = (
        ArmRun(
            arm=arm,
            motion=spec.motion,
            case=spec.case,
            geometry=subject.geometries[arm],
            settings=replace(value, torso=samples[arm].torso, root=samples[arm].root),
            samples=samples[arm],
            fingers=shown.get(arm),
        )
        for arm, value in settings.items()
    )
    return Played(tuple(runs), tracks)


def moving_hands(subject: Subject, spec: RunSpec) -> tuple[sample_fingers.MovingHand, ...]:
    """The hands whose fingers move in a run: those that have any, where a requirement looks at them."""
    if fingers.ID not in spec.requirements:
        return ()
    found = ((arm, sample_fingers.finger_geometry(subject.armature, subject.record, arm)) for arm in subject.arms)
    return tuple(
        sample_fingers.MovingHand(subject.record, arm, geometry, moving_fingers(geometry, spec.clip.frames))
        for arm, geometry in found
        if geometry is not None
    )


def tracks_of(subject: Subject, spec: RunSpec) -> tuple[Tracks, dict[str, ArmSettings]]:
    """Everything to set for one run, and the settings of each arm that it comes from."""
    return whole(setting(subject, spec))


def setting(subject: Subject, spec: RunSpec) -> Generator[int, None, tuple[Tracks, dict[str, ArmSettings]]]:
    """`tracks_of` in steps, one an arm: yields 0, since no frame is done."""
    torso_tracks, torso, root = torso_motion(subject, spec.clip)
    settings = {}
    for arm, geometry in subject.geometries.items():
        settings[arm] = settings_for(spec, arm, geometry, torso, root, subject.facing)
        yield 0
    tracks = Tracks(
        spec.clip.frames,
        (*torso_tracks, *(track for arm, value in settings.items() for track in hold_tracks(subject, arm, value))),
        tuple(track for arm, value in settings.items() for track in channel_tracks(subject, arm, value)),
        tuple(track for arm, value in settings.items() for track in dial_tracks(subject, arm, value)),
    )
    return tracks, settings


def torso_motion(subject: Subject, clip: Clip) -> tuple[list[PoseTrack], Array, Array]:
    """Tracks of the torso's chain under `clip`, and the poses (N, 4, 4) of the torso bone and of the root."""
    bones = subject.armature.data.bones
    rests = np.array([host.rest_matrix(bones[name]) for name in subject.chain])
    length = float(np.mean([g.upper_length + g.forearm_length for g in subject.geometries.values()]))
    turns = subject.facing @ torso_for(clip, len(subject.chain)) @ subject.facing.T
    # A bone that is connected to its parent can not travel.
    travel = clip.travel @ subject.facing.T * (0.0 if bones[subject.chain[0]].use_connect else length)
    poses = chain_poses(rests, turns, travel)
    root = host.rest_matrix(bones[subject.record.root]) if subject.record.root else np.eye(4)
    tracks = [PoseTrack(name, poses[:, index]) for index, name in enumerate(subject.chain)]
    return tracks, poses[:, -1], np.broadcast_to(root, (clip.frames, 4, 4))


def hold_tracks(subject: Subject, arm: str, settings: ArmSettings) -> list[PoseTrack]:
    """Tracks of the two holds and the aim."""
    record = subject.record
    aim_bone = record.bone(arm, "elbow_aim")
    aim = np.tile(host.rest_matrix(subject.armature.data.bones[aim_bone]), (len(settings.aim), 1, 1))
    turned = settings.torso @ np.linalg.inv(subject.geometries[arm].torso)
    aim = turned @ aim
    aim[:, :3, 3] = settings.aim
    return [
        PoseTrack(record.bone(arm, "hand_hold"), settings.hand_hold),
        PoseTrack(record.bone(arm, "elbow_hold"), settings.elbow_hold),
        PoseTrack(aim_bone, aim),
    ]


def channel_tracks(subject: Subject, arm: str, settings: ArmSettings) -> list[EulerTrack]:
    """Tracks of the FK controls' channels."""
    return [EulerTrack(subject.record.bone(arm, role), getattr(settings, field)) for role, field in FK_ROLES.items()]


def dial_tracks(subject: Subject, arm: str, settings: ArmSettings) -> list[DialTrack]:
    """Tracks of the dials."""
    bone = subject.record.bone(arm, "dials")
    return [DialTrack(bone, key, getattr(settings, field)) for key, field in DIAL_FIELDS.items()]
