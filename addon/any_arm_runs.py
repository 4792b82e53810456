"""Plays one run of a proof on arms of other making: controls as an animator leaves them, then the torso moves."""

from __future__ import annotations

from collections.abc import Generator

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ..core.any_arm import plan
from ..core.any_arm.model import AnyArm, AnyRun, Shown
from ..core.any_arm.settings import AnySettings, settings_for
from ..core.card.model import FK_CONTROLS
from ..core.errors import CardError
from ..core.motion.clip import torso_for
from ..core.pace import UNBROKEN, Pace, whole
from ..core.posing import chain_poses
from ..core.proof.cases import Case
from ..core.proof.measures import turn, turn_error
from ..core.tracks import DialTrack, EulerTrack, PoseTrack, Tracks
from . import host, sample
from .any_arm_rig import AnySubject, check_there, path_of, write_setting

Array = NDArray[np.float64]

# A control is where it was put to this part of L: single precision, and no more.
PUT = 1e-4
# And the torso is turned as it was set, degrees.
TURNED = 1e-2
READ = ("clavicle", "upper_arm", "forearm", "hand", *FK_CONTROLS, "hand_hold", "elbow_hold", "elbow_aim")


def played(subject: AnySubject, run: AnyRun, stage: sample.Stage) -> dict[str, tuple[Shown, Tracks]]:
    """What the arms that the run is for showed, and what was set, by the arm's id."""
    return whole(playing(subject, run, stage, UNBROKEN))


def playing(
    subject: AnySubject, run: AnyRun, stage: sample.Stage, pace: Pace
) -> Generator[int, None, dict[str, tuple[Shown, Tracks]]]:
    """`played` in steps that may be left where a turn of `pace` is over: yields the number of frames done.

    Raises HostError where a bone that the card names was taken away in somebody's turn.
    """
    armature = subject.armature
    check_there(subject)
    torso_tracks, torso = _torso(subject, run)
    rigs = [rig for rig in subject.rigs if plan.looks(rig.card, run)]
    settings = {}
    for rig in rigs:
        settings[rig.card.arm] = settings_for(run, rig, torso)
        yield 0
    check_there(subject)
    _rest(armature)
    for rig in rigs:
        _set(armature, rig, run.case)
        _place(armature, rig, settings[rig.card.arm])
    angles, dials, moving = [], [], []
    for rig in rigs:
        one = settings[rig.card.arm]
        angles += [EulerTrack(getattr(rig.card, role), values) for role, values in one.channels.items()]
        moving += [PoseTrack(getattr(rig.card, role), poses) for role, poses in one.places.items() if len(poses) > 1]
        dial = rig.card.blend
        if one.dial is not None and dial is not None:
            values = dial.off + one.dial * (dial.on - dial.off)
            dials.append(DialTrack(dial.bone, dial.property, values, path_of(dial)))
    tracks = Tracks(run.clip.frames + 1, (*torso_tracks, *moving), tuple(angles), tuple(dials))
    names = {rig.card.arm: {role: name for role in READ if (name := getattr(rig.card, role))} for rig in rigs}
    bones = [subject.card.torso[-1], *(name for roles in names.values() for name in roles.values())]
    poses = (yield from sample.stepping(stage, tracks, bones, pace)).poses
    yield tracks.frames
    _check_torso(subject, torso, poses[:, 0])
    out: dict[str, tuple[Shown, Tracks]] = {}
    start = 1
    for rig in rigs:
        roles = names[rig.card.arm]
        found = {role: poses[:, start + place] for place, role in enumerate(roles)}
        start += len(roles)
        one = settings[rig.card.arm]
        _check_put(armature, rig, one, found)
        found["torso"] = poses[:, 0]
        shown = Shown(rig.card.arm, run.motion, run.case, rig, found, one.channels, one.hand, one.aim, one.dial)
        out[rig.card.arm] = (shown, tracks)
    return out


def _torso(subject: AnySubject, run: AnyRun) -> tuple[list[PoseTrack], Array]:
    """Tracks of the torso's bones, at rest in frame 0, and the poses (N + 1, 4, 4) of the last of them."""
    bones, clip, facing = subject.armature.data.bones, run.clip, subject.facing
    rests = np.array([host.rest_matrix(bones[name]) for name in subject.card.torso])
    turns = facing @ torso_for(clip, len(rests)) @ facing.T
    travel = clip.travel @ facing.T * (0.0 if bones[subject.card.torso[0]].use_connect else subject.length)
    still = np.broadcast_to(np.eye(3), (1, *turns.shape[1:]))
    poses = chain_poses(rests, np.concatenate([still, turns]), np.concatenate([np.zeros((1, 3)), travel]))
    return [PoseTrack(name, poses[:, index]) for index, name in enumerate(subject.card.torso)], poses[:, -1]


def _rest(armature: bpy.types.Object) -> None:
    # In the rotation mode that each bone has: drivers may write and read its channels.
    for bone in armature.pose.bones:
        bone.matrix_basis = Matrix()


def _set(armature: bpy.types.Object, rig: AnyArm, case: Case) -> None:
    """The mode and the dials of a case."""
    card = rig.card
    for name in plan.DIALS:
        dial = getattr(card, name)
        if dial is not None:
            write_setting(armature, dial, dial.on if getattr(case, name) else dial.off)
    mode = next(mode for mode in card.modes if mode.mode == case.mode)
    for setting in mode.settings:
        write_setting(armature, setting, setting.value)


def _place(armature: bpy.types.Object, rig: AnyArm, settings: AnySettings) -> None:
    """Controls put once, by their own channels with the torso at rest; and rotation modes for those that turn."""
    for role in settings.channels:
        armature.pose.bones[getattr(rig.card, role)].rotation_mode = rig.orders[role]
    for role, poses in settings.places.items():
        if len(poses) == 1:
            bone = armature.pose.bones[getattr(rig.card, role)]
            own = np.linalg.inv(host.rest_matrix(bone.bone)) @ poses[0]
            bone.matrix_basis = host.numpy_to_matrix(own)


def _check_put(armature: bpy.types.Object, rig: AnyArm, settings: AnySettings, found: dict[str, Array]) -> None:
    """Refuse a control that is not where it was put while the torso is at rest: something else moves it."""
    for role, poses in settings.places.items():
        if role not in found:
            continue
        off = float(np.linalg.norm(found[role][0, :3, 3] - poses[0][:3, 3])) / rig.length
        if not off <= PUT:
            name = getattr(rig.card, role)
            raise CardError(
                f"the card's {role} {name!r} of {armature.name!r} stays {off:.3g} arm lengths away from where it is "
                "put: something else moves it; name the bone that an animator moves"
            )


def _check_torso(subject: AnySubject, wanted: Array, found: Array) -> None:
    """Refuse a torso that does not move as it is set: holds under a torso that stands still prove nothing."""
    off = float(np.linalg.norm(found[:, :3, 3] - wanted[:, :3, 3], axis=1).max()) / subject.length
    turned = float(turn_error(turn(found), turn(wanted)).max())
    if not (off <= PUT and turned <= TURNED):
        raise CardError(
            f"the torso of {subject.armature.name!r} does not move as it is set: {subject.card.torso[-1]!r} stays "
            f"{off:.3g} arm lengths and {turned:.3g} degrees off; something else poses it, so name the bones that an "
            "animator moves"
        )
