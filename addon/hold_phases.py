"""Hold the phases of a study: what stood still in the recording, as near as a recording comes to it, stands still.

A hold begins where the joint is on the phase's first frame, so that the frames before stay as they are; after its last
frame the arm goes back to the recording within a moment, still held, and there is let go. So neither end pops.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core import arm_words
from ..core.errors import HostError
from ..core.study.phases import WORLD
from . import arm_state, convert_read, hand_over_kept, host, keys, spaces
from .arm_state import Channel
from .beside import beside
from .convert_read import ArmTake, Frames
from .convert_tracks import tracks_where_changing
from .convert_write import Journal, Track, check_action
from .hold_phase_plan import SLIDE, HeldSettings, HoldPhase, blocks, eased, held_settings, part_of
from .prove import Progress
from .subjects import Subject
from .switch import POP_ANGLE, POP_LIMIT, check_editable

Array = NDArray[np.float64]

HELD_ROLE = {"hand": "hand_hold", "elbow": "elbow_hold"}
JOINT = {"hand": 2, "elbow": 1}


@dataclass(frozen=True)
class PhasesHeld:
    """What was done, as the rig shows it.

    Attributes:
        phases: how many are held.
        slide: furthest that a held joint is from its place, arm lengths.
        pop, pop_angle: furthest that a joint is from the recording, arm lengths, and a segment, degrees, on the first
            and last frames of the holds.
        moved: by arm, how far its joints were moved from the recording meanwhile, arm lengths and degrees.
        stretched: arms whose stretch had to be switched on.
        keys: number of keys set.
    """

    phases: int
    slide: float
    pop: float
    pop_angle: float
    moved: tuple[tuple[str, float, float], ...]
    stretched: tuple[str, ...]
    keys: int

    def sentence(self) -> str:
        """For people."""
        count = f"{self.phases} phase{'s' if self.phases != 1 else ''} held"
        kept = "no pop where the holds begin and end"
        if self.pop > POP_LIMIT or self.pop_angle > POP_ANGLE:
            kept = (
                f"where the holds begin and end the pose is {100.0 * self.pop:.2g} % of the arm's length and "
                f"{self.pop_angle:.2g} degrees off"
            )
        moved = "; ".join(
            f"the {arm_words.name(arm)} was moved from the recording by at most {100.0 * far:.2g} % of its length and "
            f"{turned:.2g} degrees"
            for arm, far, turned in self.moved
        )
        arms = " and ".join(arm_words.name(arm) for arm in self.stretched)
        stretch = f"; stretch is on meanwhile for the {arms}, which would not reach" if arms else ""
        return f"{count}, sliding by at most {self.slide:.1g} of the arm's length; {kept}; {moved}{stretch}"


def hold_phases(subject: Subject, phases: Sequence[HoldPhase]) -> Generator[Progress | PhasesHeld, None, None]:
    """Hold `phases`, keyed: progress frame by frame, what was done last.

    If it fails, or is closed before its end, the file is as before; the scene's frame and what is posed always are.
    Raises HostError or MatchError.
    """
    scene, armature = bpy.context.scene, subject.armature
    wanted = _checked(subject, phases, scene.render.fps / scene.render.fps_base)
    arms = _in_order(subject, wanted)
    span = Frames(min(item.first for item in wanted), max(item.end for item in wanted))
    written: list[Channel] = []
    journal, made = Journal(armature), _Made()
    done = False
    with hand_over_kept.kept(armature, written):
        try:
            carried = _with_spaces(subject, wanted, made)
            walks = 2 + len({item.arm for item in wanted})
            total, passed = walks * span.count, span.count
            takes: dict[str, ArmTake] = {}
            objects = np.empty((span.count, 4, 4))
            for step in convert_read.take(subject, arms, span):
                if isinstance(step, dict):
                    takes = step
                else:
                    objects[step - 1] = _placed(armature)
                    yield Progress(step, total, "reading")
            held: list[tuple[str, Frames, HeldSettings]] = []
            count = 0
            for arm in arms:
                own = [item for item in wanted if item.arm == arm]
                changes = _influences(subject, own, carried)
                keys.check_free(armature, [track.channel for _, track in changes])
                count += sum(journal.write(frames, [track]) for frames, track in changes)
                written += [track.channel for _, track in changes]
                taken = takes[arm]
                for seen in _carriers(subject, arm, span):
                    if isinstance(seen, int):
                        yield Progress(passed + seen, total, "reading what carries the holds")
                    else:
                        taken = replace(taken, carriers={**taken.carriers, **seen})
                passed += span.count
                for step in _held_blocks(subject, arm, own, (span, taken, objects), (journal, written)):
                    if isinstance(step, str):
                        yield Progress(passed, total, step)
                    else:
                        held.append((arm, step.frames, step.settings))
                        count += step.keyed
            joints = np.empty(0)
            for now in convert_read.joints(subject, arms, span.numbers):
                if isinstance(now, int):
                    yield Progress(passed + now, total, "measuring")
                else:
                    joints = now
            result = _measured(subject, arms, span, takes, held, joints, count)
            done = True
        finally:
            if not done:
                journal.undo()
                made.undo()
                written.clear()
    yield result


@dataclass(frozen=True, eq=False)
class _Block:
    """Holds of an arm that touch each other: their frames, the arm's settings there, and how many keys were set."""

    frames: Frames
    settings: HeldSettings
    keyed: int


def _held_blocks(
    subject: Subject,
    arm: str,
    own: Sequence[HoldPhase],
    read: tuple[Frames, ArmTake, NDArray[np.float64]],
    kept: tuple[Journal, list[Channel]],
) -> Iterator[str | _Block]:
    """Solve and key one arm's holds, block by block; what it does meanwhile.

    read: the frames that were read, the arm on them, and the armature object's matrices (N, 4, 4) there.
    kept: what can take the keys back, and the list of what was written, which grows.
    """
    span, taken, objects = read
    journal, written = kept
    for frames in blocks(own):
        rows = slice(frames.first - span.first, frames.last - span.first + 1)
        part = part_of(taken, rows)
        inside = [item for item in own if frames.first <= item.first <= frames.last]
        settings = None
        # It works on arrays alone, and long holds take it long.
        for worked in beside(partial(held_settings, subject, arm, part, objects[rows], frames, inside)):
            if worked is None:
                yield "holding"
            else:
                settings = worked.value
        assert settings is not None
        tracks = _tracks(subject, arm, part, settings, inside)
        keys.check_free(subject.armature, [track.channel for track in tracks])
        written += [track.channel for track in tracks]
        keyed = 0
        for track in tracks:
            keyed += journal.write(frames, [track])
            yield "keying"
        yield _Block(frames, settings, keyed)


def hold_phases_whole(
    subject: Subject, phases: Sequence[HoldPhase], report: Callable[[Progress], None] | None = None
) -> PhasesHeld:
    """`hold_phases` from beginning to end."""
    for step in hold_phases(subject, phases):
        if isinstance(step, PhasesHeld):
            return step
        if report is not None:
            report(step)
    raise AssertionError("holding ends with what was done")


class _Made:
    """Spaces that were made on the way. It guards their constraints, so that they can be taken off again."""

    def __init__(self) -> None:
        self._made: list[tuple[bpy.types.PoseBone, str]] = []

    def note(self, carrier: bpy.types.PoseBone, constraint: str) -> None:
        """One is new."""
        self._made.append((carrier, constraint))

    def undo(self) -> None:
        """Take them off."""
        for carrier, constraint in reversed(self._made):
            carrier.constraints.remove(carrier.constraints[constraint])
        self._made = []


def _checked(subject: Subject, phases: Sequence[HoldPhase], rate: float) -> tuple[HoldPhase, ...]:
    armature = subject.armature
    if not phases:
        raise HostError("no phase is ticked: tick those that are to be held")
    for phase in phases:
        convert_read.frames_of(phase.first, phase.last)
        if phase.arm not in subject.arms:
            raise HostError(f"{armature.name!r} has no arm {phase.arm!r}: run the study again")
        if phase.part not in HELD_ROLE:
            raise HostError(f"{phase.words()}: an arm holds with its hand or its elbow")
        if phase.on not in (WORLD, *subject.arms) and phase.on not in bpy.context.scene.objects:
            raise HostError(f"{phase.words()}: {phase.on!r} is not in this scene: run the study again")
        if any(other.arm == phase.on and other.on == phase.arm for other in phases):
            raise HostError(
                f"{phase.words()}: each of the two hands would hold on to the other, and nothing would carry them: "
                "untick one of the two"
            )
    check_editable(armature)
    check_action(armature)
    return eased(phases, rate)


def _in_order(subject: Subject, phases: Sequence[HoldPhase]) -> tuple[str, ...]:
    """The arms of the phases, one that carries another's hold before it. HostError where they carry each other."""
    left = {arm: {item.on for item in phases if item.arm == arm} for arm in subject.arms}
    left = {arm: on & set(subject.arms) for arm, on in left.items() if any(item.arm == arm for item in phases)}
    out: list[str] = []
    while left:
        free = next((arm for arm, on in left.items() if not on & left.keys()), None)
        if free is None:
            raise HostError("the hands that are ticked hold on to each other in a ring: untick one of them")
        out.append(free)
        del left[free]
    return tuple(out)


def _with_spaces(subject: Subject, phases: Sequence[HoldPhase], made: _Made) -> dict[HoldPhase, str]:
    """The constraint that is to carry each phase's hold, "" for the world; those that are missing are made."""
    out = {}
    for phase in phases:
        carrier = spaces.space_bone(subject, phase.arm, phase.part)
        known = {item.name for item in carrier.constraints}
        if phase.on == WORLD:
            out[phase] = ""
            continue
        own = phase.on in subject.arms
        target = subject.armature if own else bpy.context.scene.objects[phase.on]
        bone = subject.record.bone(phase.on, "hand") if own else ""
        try:
            out[phase] = spaces.ensure_space(subject, phase.arm, phase.part, target, bone).constraint
        finally:
            for item in carrier.constraints:
                if item.name not in known:
                    made.note(carrier, item.name)
    return out


def _influences(
    subject: Subject, phases: Sequence[HoldPhase], carried: dict[HoldPhase, str]
) -> list[tuple[Frames, Track]]:
    """The influences to key so that each phase's hold is carried by what it stands on."""
    out = []
    for phase in phases:
        carrier, frames = spaces.space_bone(subject, phase.arm, phase.part), Frames(phase.first, phase.end)
        for item in carrier.constraints:
            if item.type not in spaces.KINDS:
                continue
            channel, value = spaces.influence(carrier, item.name), float(item.name == carried[phase])
            if item.influence == value and not keys.curves_for(subject.armature, channel):
                continue
            out.append(
                (frames, Track(channel, np.full((frames.count, 1), value), np.array([0, frames.count - 1]), True))
            )
    return out


def _carriers(subject: Subject, arm: str, span: Frames) -> Iterator[int | dict[str, Array]]:
    """What carries an arm's two holds over the frames, as its spaces are keyed by now; frames done before it."""
    roles = {HELD_ROLE[part]: spaces.space_bone(subject, arm, part).name for part in HELD_ROLE}
    reader = host.PoseReader(subject.armature, bpy.context.view_layer, list(roles.values()))
    out = np.empty((span.count, len(roles), 4, 4))
    for row in range(span.count):
        bpy.context.scene.frame_set(span.first + row)
        out[row] = reader.read()
        yield row + 1
    for place, (role, name) in enumerate(roles.items()):
        arm_state.check_carried(name, out[:, place], span.first)
        assert subject.armature.pose.bones[subject.record.bone(arm, role)].parent.name == name
    yield {role: out[:, place] for place, role in enumerate(roles)}


def _tracks(subject: Subject, arm: str, taken: ArmTake, held: HeldSettings, phases: Sequence[HoldPhase]) -> list[Track]:
    """What to key over the frames that were taken: what changes, and the holds, whose carriers may have changed."""
    bones = [spaces.hold_bone(subject, arm, part) for part in dict.fromkeys(item.part for item in phases)]
    channels = [
        *arm_state.changed(taken.settings, held.settings, subject, arm),
        *(channel for bone in bones for channel in spaces.hold_channels(bone)),
    ]
    return tracks_where_changing(subject, arm, taken, held.settings, list(dict.fromkeys(channels)))


def _measured(
    subject: Subject,
    arms: Sequence[str],
    span: Frames,
    takes: dict[str, ArmTake],
    held: Sequence[tuple[str, Frames, HeldSettings]],
    joints: Array,
    count: int,
) -> PhasesHeld:
    """What the rig shows (N, arms, 3, 4, 4) beside the recording; HostError where a held joint slides."""
    slides, pops, moved = [], [], {arm: (0.0, 0.0) for arm in arms}
    for arm, frames, settings in held:
        geometry = subject.geometries[arm]
        length = geometry.upper_length + geometry.forearm_length
        rows = slice(frames.first - span.first, frames.last - span.first + 1)
        now = joints[rows, list(arms).index(arm)]
        far, turned = convert_read.gaps(takes[arm].joints[rows], now)
        far, turned = far / length, np.degrees(turned)
        pops += [(far[row], turned[row]) for row in (0, -1)]
        moved[arm] = (max(moved[arm][0], float(far.max())), max(moved[arm][1], float(turned.max())))
        for phase, expected in settings.expected.items():
            row = phase.first - frames.first
            seen = now[row : row + len(expected), JOINT[phase.part], :3, 3]
            slides.append(float(np.linalg.norm(seen - expected, axis=1).max()) / length)
            if slides[-1] > SLIDE:
                raise HostError(
                    f"{phase.words()}: the rig lets it slide by {slides[-1]:.2g} of the arm's length, more than "
                    f"{SLIDE:g}: untick it; everything is as it was"
                )
    return PhasesHeld(
        phases=len(slides),
        slide=max(slides),
        pop=float(max(far for far, _ in pops)),
        pop_angle=float(max(turned for _, turned in pops)),
        moved=tuple((arm, *moved[arm]) for arm in subject.arms if arm in moved),
        stretched=tuple(arm for arm in arms if any(item.stretched for own, _, item in held if own == arm)),
        keys=count,
    )


def _placed(armature: bpy.types.Object) -> Array:
    return host.matrix_to_numpy(armature.evaluated_get(bpy.context.view_layer.depsgraph).matrix_world)
