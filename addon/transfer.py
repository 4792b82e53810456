"""A recording onto a built rig: arcs by FK, holds by the rig's own holds and spaces, measured; all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import HostError
from ..core.study.phases import WORLD
from ..core.study.study import Study
from ..core.transfer.arcs import KEPT, Arcs
from ..core.transfer.differences import Difference, arm_differences, torso_differences
from ..core.transfer.mapped import Mapped, mapped, size_of
from ..core.transfer.resample import at_rate, checked_study
from ..core.transfer.solved import hand_poses, solved_arms
from ..core.transfer.torso import chain_for
from . import arm_state, convert_read, host, keys, spaces
from .arm_state import Channel
from .convert_read import Frames
from .convert_write import Track
from .posed import back, posed
from .prove import Progress
from .subjects import DIAL_FIELDS, Subject, subject_of
from .switch import JOINT_ROLES, POP_ANGLE, POP_LIMIT, check_editable
from .transfer_action import Stage, prepared
from .transfer_keys import Fewest, arm_tracks, edges_of, torso_tracks
from .transfer_measure import Held, measured_holds, measured_pops

Array = NDArray[np.float64]

EVERY, FEWEST = "every", "fewest"
NEW, SAME = "new", "same"
# A joint of the rig may be this far from what was keyed, arm lengths, with a key on every frame: more means that
# something else moves the arm.
MOST_GAP = 1e-4
# Numbers of the armature's place that differ by less, over the largest of them, are rounding.
STANDS = 1e-6


@dataclass(frozen=True)
class Options:
    """How a recording is put onto a rig.

    Attributes:
        start: scene frame of the recording's first frame.
        into: "new" action, the old one kept; or the "same" action.
        replace: whether keys of the torso and the arms in the range may be replaced in the same action.
        name: of the new action; "" for the recording's.
        keys: "every" frame, or the "fewest" within `tolerance`, metres.
        blend: seconds over which an arc is led into a hold and out of it.
        scale: of the recording's metres; None for the ratio of the arms' lengths.
    """

    start: int = 1
    into: str = NEW
    replace: bool = False
    name: str = ""
    keys: str = EVERY
    tolerance: float = 0.001
    blend: float = 0.2
    scale: float | None = None


@dataclass(frozen=True)
class Transferred:
    """What was done, as measured on the rig.

    Attributes:
        first, last: scene frames.
        action: its name.
        kept_action: name of the action that was played before; "" for none, or where it is the same.
        keys: number of keys set.
        scale: of the recording's metres.
        differences: to the recording, by joint.
        holds: every hold.
        gap: largest distance of a joint from what was keyed, arm lengths.
        pop, pop_angle: largest of the switches, arm lengths and degrees.
        notes: what was left out or changed.
    """

    first: int
    last: int
    action: str
    kept_action: str
    keys: int
    scale: float
    differences: tuple[Difference, ...]
    holds: tuple[Held, ...]
    gap: float
    pop: float
    pop_angle: float
    notes: tuple[str, ...]

    @property
    def slide(self) -> float:
        """Largest of the holds in reach, arm lengths."""
        return max((hold.slide for hold in self.holds), default=0.0)

    def sentence(self) -> str:
        """For people."""
        short = sum(hold.out_of_reach > 0 for hold in self.holds)
        far = f"; {short} of them out of reach in some frames" if short else ""
        kept = f"; {self.kept_action!r} is kept" if self.kept_action else ""
        pops = (
            "nothing pops" if self.pop <= POP_LIMIT and self.pop_angle <= POP_ANGLE else f"largest pop {self.pop:.1e} L"
        )
        count = f"{len(self.holds)} hold{'s' * (len(self.holds) > 1)}"
        held = f"{count}, largest slide {self.slide:.1e} L{far}; {pops}" if self.holds else "nothing is held"
        return f"frames {self.first} to {self.last} in {self.action!r}: {held}{kept}"


def transferring(
    rig: Subject | bpy.types.Object, study: Study, options: Options = Options()
) -> Iterator[Progress | Transferred]:
    """Put `study`'s motion onto the rig: progress, and what was done last.

    If it fails, or is closed before its end, everything is as before. Raises HostError, MotionError or MatchError.
    """
    subject = rig if isinstance(rig, Subject) else subject_of(rig)
    armature, scene = subject.armature, bpy.context.scene
    check_editable(armature)
    _check(options)
    checked_study(study)
    study = at_rate(study, scene.render.fps / scene.render.fps_base)
    motion = study.motion
    frames = convert_read.frames_of(options.start, options.start + motion.frames - 1)
    goal = mapped(motion, subject.geometries, subject.facing, options.scale)
    _check_orders(subject, goal)
    at, kept = (scene.frame_current, scene.frame_subframe), posed(armature)
    total, done, written = 3 * frames.count, False, []
    stage: Stage | None = None
    try:
        stage = prepared(armature, options.into == NEW, options.name or f"{motion.name} on {armature.name}")
        around = yield from _around(subject, frames, total)
        notes: list[str] = list(motion.notes)
        if any(float(armature.pose.bones[subject.record.bone(arm.arm, "dials")]["lift"]) for arm in goal.arms):
            notes.append("the lift dial is keyed at 0: the recording has the shoulders' own rise")
        dials = {arm.arm: _dials(subject, arm.arm) for arm in goal.arms}
        solved = solved_arms(subject.geometries, study, goal, around[:, 0], dials, options.blend, notes)
        yield Progress(frames.count + frames.count // 2, total, "solving")
        tolerance = options.tolerance if options.keys == FEWEST else None
        tracks = _tracks(subject, goal, solved, around[:, 1], tolerance, stage)
        written = [track.channel for track in tracks]
        keys.check_free(armature, written)
        if options.into == SAME and not options.replace:
            _check_no_keys(armature, written, frames)
        count = stage.journal.write(frames, tracks)
        poses = yield from _read(subject, goal, frames, total)
        gaps = _gaps(subject, goal, solved, poses)
        gap = float(gaps.max())
        # With the fewest keys, at the ends and where a switch is.
        exact = gaps if tolerance is None else gaps[[0, -1, *edges_of(solved)[edges_of(solved) < frames.count]]]
        if exact.max() > MOST_GAP:
            raise HostError(
                f"the arms of {armature.name!r} are up to {exact.max():.2g} of their length away from their keys: a "
                "constraint, a driver or a parent of theirs moves them too; take it off first"
            )
        lengths = {arm: size_of(geometry) for arm, geometry in subject.geometries.items()}
        found = torso_differences(goal, poses[:, 0], float(np.mean(list(lengths.values()))))
        for place, arm in enumerate(goal.arms):
            one = solved[arm.arm]
            free = (one.settings.ik == 0.0) & (one.settings.elbow == 0.0) & ~one.led
            found += arm_differences(arm, _joints(poses, place), lengths[arm.arm], free)
        by_arm = {arm.arm: _joints(poses, place) for place, arm in enumerate(goal.arms)}
        held = [
            item for arm in goal.arms for item in measured_holds(arm, solved[arm.arm], by_arm, lengths[arm.arm], frames)
        ]
        if tolerance is not None and gap * max(lengths.values()) > tolerance:
            notes.append(
                f"between the keys a joint is up to {gap * max(lengths.values()):.2g} m from where every key would "
                f"have it, more than the tolerance of {tolerance:g} m: give a smaller one"
            )
        pop, pop_angle = measured_pops(subject, solved, frames)
        done = True
    finally:
        if not done:
            if stage is not None:
                stage.undo()
            written = []
        back(armature, at, kept, written)
    assert stage is not None
    stage.keep()
    yield Transferred(
        frames.first,
        frames.last,
        stage.action.name,
        stage.before.name if stage.before is not None and stage.before != stage.action else "",
        count,
        goal.scale,
        tuple(found),
        tuple(held),
        gap,
        pop,
        pop_angle,
        tuple(dict.fromkeys(notes)),
    )


def transfer_whole(
    rig: Subject | bpy.types.Object,
    study: Study,
    options: Options = Options(),
    report: Callable[[Progress], None] | None = None,
) -> Transferred:
    """`transferring` from beginning to end."""
    for step in transferring(rig, study, options):
        if isinstance(step, Transferred):
            return step
        if report is not None:
            report(step)
    raise AssertionError("a transfer ends with what it did")


def _check(options: Options) -> None:
    if options.keys not in (EVERY, FEWEST) or options.into not in (NEW, SAME):
        raise HostError(f"keys {options.keys!r} into {options.into!r}: give every or fewest, new or same")
    for name in ("tolerance", "blend"):
        value = getattr(options, name)
        if not (np.isfinite(value) and value >= 0.0):
            raise HostError(f"the {name} is {value:g}: give a number of 0 or more")


def _check_orders(subject: Subject, goal: Mapped) -> None:
    for arm in goal.arms:
        # Raises where a control's rotation order is not the rig's.
        arm_state.read(subject, arm.arm)


def _around(subject: Subject, frames: Frames, total: int) -> Generator[Progress, None, Array]:
    """Poses (N, 2, 4, 4) of the root and of what carries the torso's chain: the identity where there is none."""
    bones, record = subject.armature.pose.bones, subject.record
    parent = bones[subject.chain[0]].parent
    names = [record.root or subject.chain[0], parent.name if parent is not None else subject.chain[0]]
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, names)
    out = np.empty((frames.count, 2, 4, 4))
    placed = np.eye(4)
    for row in range(frames.count):
        bpy.context.scene.frame_set(frames.first + row)
        out[row] = reader.read()
        now = host.matrix_to_numpy(subject.armature.matrix_world)
        placed = now if row == 0 else placed
        if np.abs(now - placed).max() > STANDS * max(1.0, float(np.abs(placed).max())):
            raise HostError(
                f"{subject.armature.name!r} itself moves between frames {frames.first} and {frames.first + row}, and "
                "what its arms hold would go along: take the keys, constraints or parent that move the object off, "
                "the recording moves its torso"
            )
        yield Progress(row + 1, total, "reading")
    if not record.root:
        out[:, 0] = np.eye(4)
    if parent is None:
        out[:, 1] = np.eye(4)
    return out


def _dials(subject: Subject, arm: str) -> dict[str, float]:
    """The dials that stay as they are on the rig, by their settings' names."""
    bone = subject.armature.pose.bones[subject.record.bone(arm, "dials")]
    return {field: float(bone[key]) for key, field in DIAL_FIELDS.items() if field in KEPT}


def _tracks(
    subject: Subject, goal: Mapped, solved: dict[str, Arcs], parent: Array, tolerance: float | None, stage: Stage
) -> list[Track]:
    armature, bones = subject.armature, subject.armature.data.bones
    rests = np.stack([host.rest_matrix(bones[name]) for name in subject.chain])
    chain = chain_for(rests, goal.torso, subject.facing[:, 2])
    length = float(np.mean([size_of(subject.geometries[arm.arm]) for arm in goal.arms]))
    fewest = None if tolerance is None else Fewest(tolerance, length, edges_of(solved))
    out = torso_tracks(subject, chain, parent, fewest)
    hands = {arm: hand_poses(one) for arm, one in solved.items()}
    for arm, one in solved.items():
        constraints = {}
        for on in {run.hand.on for run in one.runs if run.hand is not None and run.hand.on != WORLD}:
            carrier = spaces.space_bone(subject, arm, "hand")
            before = {item.name for item in carrier.constraints}
            constraints[on] = spaces.ensure_space(
                subject, arm, "hand", armature, subject.record.bone(on, "hand")
            ).constraint
            if constraints[on] not in before:
                stage.made.append((carrier.name, constraints[on]))
        out += arm_tracks(subject, arm, one, hands, fewest, constraints)
    return out


def _check_no_keys(armature: bpy.types.Object, channels: list[Channel], frames: Frames) -> None:
    for channel in channels:
        for curve in keys.curves_for(armature, channel):
            for point in curve.keyframe_points:
                if frames.first <= point.co.x <= frames.last:
                    raise HostError(
                        f"{channel.bone!r}: {channel.path} has a key at frame {point.co.x:g}, within {frames.first} to "
                        f"{frames.last}: let it be replaced, or write to a new action"
                    )


def _read(subject: Subject, goal: Mapped, frames: Frames, total: int) -> Generator[Progress, None, Array]:
    """Evaluated poses (N, 1 + 3 arms, 4, 4) of the torso and the joints."""
    record = subject.record
    names = [record.torso, *(record.bone(arm.arm, role) for arm in goal.arms for role in JOINT_ROLES)]
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, names)
    out = np.empty((frames.count, len(names), 4, 4))
    for row in range(frames.count):
        bpy.context.scene.frame_set(frames.first + row)
        out[row] = reader.read()
        yield Progress(2 * frames.count + row + 1, total, "measuring")
    return out


def _joints(poses: Array, place: int) -> Array:
    return poses[:, 1 + 3 * place : 4 + 3 * place]


def _gaps(subject: Subject, goal: Mapped, solved: dict[str, Arcs], poses: Array) -> Array:
    """Largest distance of an evaluated joint from what was solved, frame by frame (N,), arm lengths."""
    worst = np.zeros(len(poses))
    for place, one in enumerate(goal.arms):
        pose, seen = solved[one.arm].pose, _joints(poses, place)
        for index, name in enumerate(("shoulder", "elbow", "wrist")):
            far = np.linalg.norm(getattr(pose, name) - seen[:, index, :3, 3], axis=1)
            worst = np.maximum(worst, far / size_of(subject.geometries[one.arm]))
    return worst
