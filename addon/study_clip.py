"""From poses that were read off an action to motion that can be studied. Nothing here reads the host's data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.posing import rigid_turns
from ..core.study.motion import ArmMotion, StudyMotion, checked
from ..core.study.prepare import LONGEST_GAP, bridged, without_calibration
from ..core.study.still import runs
from .arm_state import LEAST_SIZE

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A bone is at rest within this, parts of the arm's length and entries of its axes (0.06 degrees).
AT_REST = 1e-3
# One frame of rest is a calibration pose where the wrist leaves it by a jump: further than this part of the arm's
# length, and than the next step by this factor (common practice: a retargeted recording has its rest pose in front).
JUMP, LEAP = 0.02, 3.0


@dataclass(frozen=True, eq=False)
class ClipArm:
    """One arm's id, and places of its bones among those that were read: upper arm, forearm, hand and the hand's end.

    `reach`: length of the last one, units of the armature. `hand_axes`: see study_actor.ArmBones.
    """

    arm: str
    upper: int
    fore: int
    hand: int
    tip: int
    reach: float
    hand_axes: Array | None


@dataclass(frozen=True, eq=False)
class Clip:
    """What was read of an action, B bones over N frames.

    Attributes:
        name, armature: of the action and of the object, for people.
        rate: frames a second.
        first: the scene's frame of row 0.
        metres: of one unit of the scene.
        arms: see ClipArm.
        torso: place of the bone that carries the shoulders; None where the object itself does.
        facing: (3, 3), left, back and up at rest, armature space.
        bones: names (B).
        rests, poses: (B, 4, 4) at rest and (N, B, 4, 4), armature space.
        objects: (N, 4, 4) of the armature in the world.
        things: (name, positions (N, 3), units of the scene).
        notes: sentences so far.
    """

    name: str
    armature: str
    rate: float
    first: int
    metres: float
    arms: tuple[ClipArm, ...]
    torso: int | None
    facing: Array
    bones: tuple[str, ...]
    rests: Array
    poses: Array
    objects: Array
    things: tuple[tuple[str, Array], ...]
    notes: tuple[str, ...]


def motion_of(clip: Clip) -> StudyMotion:
    """The motion, without calibration poses in front, short gaps bridged.

    Raises HostError where something is scaled to nothing for too long, or mirrored, MotionError for what is no motion.
    """
    _check_places(clip)
    lost = np.linalg.svd(clip.poses[:, :, :3, :3], compute_uv=False)[..., -1] < LEAST_SIZE
    turning = {arm.hand for arm in clip.arms if arm.hand_axes is not None}
    for bone in sorted(turning if clip.torso is None else {*turning, clip.torso}):
        _check_gaps(clip, bone, lost[:, bone])
    whole = bridged(_motion(clip, lost))
    # Rigs stretch: that a segment changes its length says nothing against the bones that were found.
    return without_calibration(checked(whole, stretches=True), max(_frames_at_rest(clip) - whole.left_out, 0))


def frame_notes(first: int) -> tuple[str, ...]:
    """What to say where a study's frame 0 is another one of the scene, its frame `first`."""
    return (f"its first frame, 0, is the scene's frame {first}",) if first else ()


def _check_places(clip: Clip) -> None:
    bad = np.flatnonzero(~(np.linalg.det(clip.objects[:, :3, :3]) > 0.0))
    if len(bad):
        raise HostError(
            f"{clip.armature!r} is mirrored by a negative scale, or flat, at frame {clip.first + int(bad[0])}: apply "
            "its scale first (Ctrl A > Scale)"
        )


def _check_gaps(clip: Clip, bone: int, lost: Mask) -> None:
    """HostError for frames in which a bone has no turn, more than can be bridged, between others in which it has."""
    if lost.all():
        raise HostError(f"{clip.bones[bone]!r} is scaled to nothing in every frame: a study needs how it is turned")
    most = max(1, int(LONGEST_GAP * clip.rate))
    for gap in runs(lost):
        inside = gap.first > 0 and gap.last < len(lost) - 1
        if inside and gap.frames > most:
            raise HostError(
                f"{clip.bones[bone]!r} is scaled to nothing from frame {clip.first + gap.first} to "
                f"{clip.first + gap.last}, and how it is turned can be bridged over {most} frames at most: give the "
                "action a range without these"
            )


def _motion(clip: Clip, lost: Mask) -> StudyMotion:
    """As read, with no numbers for turns that are lost (N, B)."""
    world = clip.objects[:, None] @ clip.poses
    arms = []
    for arm in clip.arms:
        hand, tip = world[:, arm.hand], world[:, arm.tip]
        turns = None
        if arm.hand_axes is not None:
            axes = clip.rests[arm.hand, :3, :3].T @ arm.hand_axes
            turns = _without(rigid_turns(rigid_turns(hand[:, :3, :3]) @ axes), lost[:, arm.hand])
        arms.append(
            ArmMotion(
                arm=arm.arm,
                shoulder=clip.metres * world[:, arm.upper, :3, 3],
                elbow=clip.metres * world[:, arm.fore, :3, 3],
                wrist=clip.metres * hand[:, :3, 3],
                tip=clip.metres * (tip[:, :3, 3] + arm.reach * tip[:, :3, 1]),
                hand=turns,
            )
        )
    carrier = clip.objects if clip.torso is None else world[:, clip.torso]
    rest = np.eye(3) if clip.torso is None else clip.rests[clip.torso, :3, :3]
    torso = np.tile(np.eye(4), (len(world), 1, 1))
    torso[:, :3, :3] = rigid_turns(carrier[:, :3, :3]) @ rest.T @ clip.facing
    torso[:, :3, 3] = clip.metres * carrier[:, :3, 3]
    return StudyMotion(
        name=clip.name,
        rate=clip.rate,
        arms=tuple(arms),
        torso=torso if clip.torso is None else _without(torso, lost[:, clip.torso]),
        things=tuple((name, clip.metres * place) for name, place in clip.things),
        notes=(*clip.notes, *frame_notes(clip.first)),
    )


def _without(turns: Array, lost: Mask) -> Array:
    out = turns.copy()
    out[lost] = np.nan
    return out


def _frames_at_rest(clip: Clip) -> int:
    """Frames in front in which the arms and their torso stand at rest: two or more, or one that is left by a jump."""
    read = [place for arm in clip.arms for place in (arm.upper, arm.fore, arm.hand)]
    read += [] if clip.torso is None else [clip.torso]
    arm = clip.arms[0]
    joints = clip.rests[[arm.upper, arm.fore, arm.hand], :3, 3]
    size = float(np.linalg.norm(np.diff(joints, axis=0), axis=1).sum())
    away = np.abs(clip.poses[:, read] - clip.rests[read])
    away[..., :3, 3] /= size
    moved = away[..., :3, :].max(axis=(1, 2, 3)) > AT_REST
    if not moved.any():
        return 0
    count = int(np.argmax(moved))
    if count != 1:
        return count
    wrists = clip.poses[:3][:, [arm.hand for arm in clip.arms]][..., :3, 3]
    steps = np.linalg.norm(np.diff(wrists, axis=0), axis=2).max(axis=1) / size
    return 1 if len(steps) > 1 and steps[0] > max(JUMP, LEAP * steps[1]) else 0
