"""Runs a proof in the host: sets what the proof's runs ask for, reads the rig, hands the samples to the measures."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import codec, guide_json
from ..core.arm import names as n
from ..core.errors import HostError
from ..core.guide import Guide
from ..core.motion.bvh import read_bvh
from ..core.motion.clip import Clip, torso_for
from ..core.motion.recorded import recorded_clip
from ..core.options import ArmOptions
from ..core.posing import chain_poses
from ..core.proof import verdicts
from ..core.proof.results import Check, Results, Trace
from ..core.proof.run_plan import RunSpec, evaluated_frames, planned_runs, standard_motions
from ..core.proof.run_settings import settings_for
from ..core.proof.samples import ArmRun
from ..core.rig_record import RigRecord
from ..core.solve.settings import ArmGeometry, ArmSettings
from ..core.tracks import DialTrack, EulerTrack, PoseTrack, Tracks
from . import host, rig, sample

Array = NDArray[np.float64]

# Dials of the rig and the fields of ArmSettings that they are set from.
DIAL_FIELDS = {
    n.IK: "ik",
    n.ELBOW: "elbow",
    n.ISOLATE: "isolate",
    n.LIFT: "lift",
    n.STRETCH: "stretch",
    n.SOFT: "soft",
    n.VOLUME: "volume",
    n.UPPER_LENGTH: "upper_length",
    n.FOREARM_LENGTH: "forearm_length",
    n.UPPER_ROLL: "upper_roll",
}
# The same bound as the wiggle's, arm lengths.
RECORDED_TRAVEL = 0.15
FK_ROLES = {"fk_clavicle": "clavicle", "fk_upper_arm": "upper_arm", "fk_forearm": "forearm", "fk_hand": "hand"}


@dataclass(frozen=True)
class Subject:
    """What is proved: an armature with arms, read once.

    Attributes:
        armature: the object.
        record: its parts by role.
        arms: sides.
        geometries: each arm at rest.
        chain: bones that carry the arms, lowest first, the torso bone last.
        facing: (3, 3), the character's left, back and up, armature space.
    """

    armature: bpy.types.Object
    record: RigRecord
    arms: tuple[str, ...]
    geometries: dict[str, ArmGeometry]
    chain: tuple[str, ...]
    facing: Array


@dataclass(frozen=True)
class Progress:
    """How far a proof is: frames done of all, and what runs."""

    done: int
    total: int
    what: str


def subject_of(armature: bpy.types.Object) -> Subject:
    """Read an armature with arms; raises HostError if it has none or can not be evaluated here."""
    record = rig.read_record(armature)
    missing = [name for name in record.bones if name not in armature.pose.bones]
    if missing:
        raise HostError(
            f"{armature.name!r} has lost the bone {missing[0]!r} of its arms: undo its removal, or build the arms again"
        )
    dials = [armature.pose.bones[record.bone(arm, "dials")] for arm in record.arms]
    lost = [(bone.name, key) for bone in dials for key in DIAL_FIELDS if key not in bone]
    if lost:
        raise HostError(f"{lost[0][0]!r} of {armature.name!r} has no dial {lost[0][1]!r}: build the arms again")
    if armature.name not in bpy.context.view_layer.objects:
        raise HostError(f"{armature.name!r} is not in the current view layer: enable the collection that it is in")
    if not host.is_evaluated(armature):
        raise HostError(
            f"{armature.name!r} or its collection is disabled in viewports, so its pose is not evaluated: enable it "
            "(the screen icon in the outliner)"
        )
    guide = guide_json.from_text(record.guide)
    options = codec.decode(ArmOptions, codec.parse(record.options, "options", HostError), "", HostError)
    return Subject(
        armature=armature,
        record=record,
        arms=record.arms,
        geometries={arm: sample.geometry(armature, record, arm, options, np.array(guide.up)) for arm in record.arms},
        chain=_chain(armature, record),
        facing=_facing(guide),
    )


def prove(subject: Subject, recorded: Clip | None = None, seed: int = 1) -> Iterator[Progress | Results]:
    """Run the whole proof: progress after each run, the results last; the file is as before whenever it ends."""
    from . import prove_switch

    motions = standard_motions(seed, recorded)
    runs = planned_runs(motions)
    frames, done = evaluated_frames(runs), 0
    total = frames + prove_switch.most_changes(subject)
    found: list[Check] = [check for arm in subject.arms for check in verdicts.not_applicable(arm)]
    traces: tuple[Trace, ...] = ()
    seconds = 0.0
    with sample.borrowed(subject.armature) as stage:
        for spec in runs:
            start = time.perf_counter()
            arm_runs = run(subject, spec, stage)
            seconds += time.perf_counter() - start
            for arm_run in arm_runs:
                checks, kept = verdicts.checks(spec, arm_run)
                found += checks
                traces = verdicts.keep((*traces, *kept), found)
            done += spec.clip.frames
            yield Progress(done, total, f"{spec.motion}, {spec.case.mode}")
        pending: tuple[Trace, ...] = ()
        for made in prove_switch.switch_runs(subject, stage, recorded or motions[0], seed):
            if made is None:
                done += 1
                yield Progress(done, total, "changes of what is held")
                continue
            checks, kept = verdicts.switch_checks(made)
            found += checks
            pending += kept
        traces = verdicts.keep((*traces, *pending), found)
    yield Results(
        host=bpy.app.version_string,
        rig=subject.armature.name,
        plan_digest=subject.record.plan_digest,
        seed=seed,
        arm_lengths=tuple(
            (arm, geometry.upper_length + geometry.forearm_length) for arm, geometry in subject.geometries.items()
        ),
        checks=tuple(found),
        traces=traces,
        frames_per_second=frames / seconds if seconds > 0.0 else 0.0,
    )


def prove_whole(
    subject: Subject, recorded: Clip | None = None, seed: int = 1, report: Callable[[Progress], None] | None = None
) -> Results:
    """`prove` from beginning to end."""
    for step in prove(subject, recorded, seed):
        if isinstance(step, Results):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a proof ends with its results")


def run(subject: Subject, spec: RunSpec, stage: sample.Stage) -> list[ArmRun]:
    """Play one run on every arm at once."""
    tracks, settings = tracks_of(subject, spec)
    sampled = sample.step(stage, tracks, sample.sampled_bones(subject.record, subject.arms))
    samples = sample.arm_samples(subject.record, subject.arms, sampled.poses)
    return [
        ArmRun(
            arm=arm,
            motion=spec.motion,
            case=spec.case,
            geometry=subject.geometries[arm],
            settings=replace(value, torso=samples[arm].torso, root=samples[arm].root),
            samples=samples[arm],
        )
        for arm, value in settings.items()
    ]


def tracks_of(subject: Subject, spec: RunSpec) -> tuple[Tracks, dict[str, ArmSettings]]:
    """Everything to set for one run, and the settings of each arm that it comes from."""
    torso_tracks, torso, root = torso_motion(subject, spec.clip)
    settings = {
        arm: settings_for(spec, arm, geometry, torso, root, subject.facing)
        for arm, geometry in subject.geometries.items()
    }
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


def _chain(armature: bpy.types.Object, record: RigRecord) -> tuple[str, ...]:
    """The torso bone and its ancestors below the root, lowest first."""
    bone, names = armature.data.bones[record.torso], []
    while bone is not None and bone.name != record.root:
        names.append(bone.name)
        bone = bone.parent
    return tuple(reversed(names))


def _facing(guide: Guide) -> Array:
    up, front = np.array(guide.up), np.array(guide.front)
    # With Z up and -Y in front, the left is +X.
    return np.stack([np.cross(up, front), -front, up], axis=1)


def recorded_clip_of(text: bytes, frames: int = 240) -> Clip:
    """A clip from the text of a BVH file, made ready for holds: slow turning and drift taken off, travel bounded."""
    return recorded_clip(read_bvh(text), frames=frames, follow_turn=True, limit_travel=RECORDED_TRAVEL)
