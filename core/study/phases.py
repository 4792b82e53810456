"""What each arm does, frame by frame, as phases: swinging, planted, rolling, held on something that moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..rotations import angle_between
from .motion import ArmMotion, StudyMotion
from .still import SHORTEST, Span, half_window, runs, stillness

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SWING, HAND, ELBOW, ROLL, HELD = "swinging", "hand-planted", "elbow-planted", "rolling", "held"
KINDS = (SWING, HAND, ELBOW, ROLL, HELD)
WORLD = "world"

# Degrees a second above which a planted hand rolls, and degrees that it has to turn in all.
ROLL_SPEED, ROLL_TURN = 20.0, 8.0
# A hand holds on to what is this near, arm lengths, and keeps its distance for so long, seconds.
NEAR, LONG_ENOUGH = 1.0, 0.4
# And both move by this much meanwhile, arm lengths: what stands still is planted and not held.
TRAVELS = 0.1


@dataclass(frozen=True)
class Phase:
    """Frames `first` to `last`, both included, of one thing that an arm does.

    Attributes:
        arm: its id.
        kind: one of KINDS.
        on: what is held: WORLD, the id of the other arm, or the name of a thing; "" for a swing.
        shoulder_moved: furthest that the shoulder got from its first place meanwhile, over L: what the phase proves.
        strayed: furthest that the held point got from its place, over L; 0 for a swing.
        turned: degrees that the hand turned from the phase's first frame at most; 0 without an orientation.
    """

    arm: str
    kind: str
    on: str
    first: int
    last: int
    shoulder_moved: float
    strayed: float
    turned: float


def phases_of(motion: StudyMotion) -> tuple[Phase, ...]:
    """The phases of every arm, arm by arm in order of time; swings fill what nothing else takes for the hand."""
    return tuple(phase for arm in motion.arms for phase in _arm_phases(motion, arm))


def planted_frames(phases: tuple[Phase, ...], arm: str, frames: int, kinds: tuple[str, ...] = (HAND, ROLL)) -> Mask:
    """Frames (N,) in which an arm does one of `kinds`."""
    out = np.zeros(frames, bool)
    for phase in phases:
        if phase.arm == arm and phase.kind in kinds:
            out[phase.first : phase.last + 1] = True
    return out


def _arm_phases(motion: StudyMotion, arm: ArmMotion) -> list[Phase]:
    found = [_phase(arm, HAND, WORLD, span, arm.wrist) for span in _still(motion, arm, arm.wrist)]
    found = [part for phase in found for part in _with_rolls(motion, arm, phase)]
    taken = _mask(motion, found)
    if arm.tip is not None:
        # Over the fingertips: they stand, and the wrist does not.
        for span in _still(motion, arm, arm.tip):
            rolls = [part for part in runs(_within(motion, span) & ~taken) if part.frames >= SHORTEST * motion.rate]
            found += [_phase(arm, ROLL, WORLD, part, arm.tip) for part in rolls]
    taken = _mask(motion, found)
    found += [phase for phase in _held(motion, arm) if not taken[phase.first : phase.last + 1].any()]
    taken = _mask(motion, found)
    found += [_phase(arm, SWING, "", span, arm.wrist) for span in runs(~taken)]
    found += [_phase(arm, ELBOW, WORLD, span, arm.elbow) for span in _still(motion, arm, arm.elbow)]
    return sorted(found, key=lambda phase: (phase.first, KINDS.index(phase.kind)))


def _still(motion: StudyMotion, arm: ArmMotion, points: Array) -> tuple[Span, ...]:
    return stillness(points, motion.rate, arm.length).spans


def _with_rolls(motion: StudyMotion, arm: ArmMotion, phase: Phase) -> list[Phase]:
    """A planted phase, cut where the hand turns about its wrist."""
    turns = hand_turns(arm)
    if turns is None:
        return [phase]
    half = half_window(motion.rate)
    speed = _turn_speed(turns, motion.rate, half)
    span = Span(phase.first, phase.last)
    rolling = [
        part
        for part in runs(_within(motion, span) & (speed > ROLL_SPEED))
        if _turned(turns, part) > ROLL_TURN and part.frames >= SHORTEST * motion.rate / 2.0
    ]
    if not rolling:
        return [phase]
    left = _within(motion, span)
    for part in rolling:
        left[part.first : part.last + 1] = False
    return [_phase(arm, ROLL, WORLD, part, arm.wrist) for part in rolling] + [
        _phase(arm, HAND, WORLD, part, arm.wrist) for part in runs(left)
    ]


def hand_turns(arm: ArmMotion) -> Array | None:
    """Orientations (N, 3, 3) of the hand; from its direction alone where that is all there is; None without a hand."""
    if arm.hand is not None:
        return arm.hand
    if arm.tip is None:
        return None
    along = arm.tip - arm.wrist
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    side = np.cross(along, arm.elbow - arm.wrist)
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-12)
    return np.asarray(np.stack([side, along, np.cross(side, along)], axis=2))


def _turn_speed(turns: Array, rate: float, half: int) -> Array:
    """Degrees a second, (N,), of orientations (N, 3, 3) between `half` frames before and after each."""
    count = len(turns)
    before, after = np.maximum(np.arange(count) - half, 0), np.minimum(np.arange(count) + half, count - 1)
    seconds = np.maximum(after - before, 1) / rate
    return np.asarray(np.degrees(angle_between(turns[before], turns[after])) / seconds)


def _turned(turns: Array, span: Span) -> float:
    inside = turns[span.first : span.last + 1]
    return float(np.degrees(angle_between(np.broadcast_to(inside[0], inside.shape), inside)).max())


def _held(motion: StudyMotion, arm: ArmMotion) -> list[Phase]:
    """Where the hand keeps its distance from the other hand or from a thing, and both move."""
    others = [(other.arm, other.wrist) for other in motion.arms if other.arm != arm.arm]
    found: list[Phase] = []
    for name, place in (*others, *motion.things):
        apart = np.linalg.norm(arm.wrist - place, axis=1)
        if float(apart.min()) > NEAR * arm.length:
            continue
        line = np.zeros((len(apart), 3))
        line[:, 0] = apart
        for span in stillness(line, motion.rate, arm.length).spans:
            inside = slice(span.first, span.last + 1)
            if span.frames < LONG_ENOUGH * motion.rate or float(np.median(apart[inside])) > NEAR * arm.length:
                continue
            if min(_moved(arm.wrist[inside]), _moved(place[inside])) < TRAVELS * arm.length:
                continue
            stray = float(np.abs(apart[inside] - np.median(apart[inside])).max()) / arm.length
            phase = _phase(arm, HELD, name, span, arm.wrist)
            found.append(Phase(**{**vars(phase), "strayed": stray}))
    return _longest_first(found)


def _longest_first(found: list[Phase]) -> list[Phase]:
    """Of phases that overlap the longer ones."""
    kept: list[Phase] = []
    for phase in sorted(found, key=lambda phase: phase.first - phase.last):
        if all(phase.last < other.first or phase.first > other.last for other in kept):
            kept.append(phase)
    return kept


def _phase(arm: ArmMotion, kind: str, on: str, span: Span, held: Array) -> Phase:
    inside = slice(span.first, span.last + 1)
    points, turns = held[inside], hand_turns(arm)
    stray = float(np.linalg.norm(points - np.median(points, axis=0), axis=1).max()) / arm.length if on else 0.0
    return Phase(
        arm=arm.arm,
        kind=kind,
        on=on,
        first=span.first,
        last=span.last,
        shoulder_moved=_moved(arm.shoulder[inside]) / arm.length,
        strayed=stray,
        turned=0.0 if turns is None else _turned(turns, span),
    )


def _moved(points: Array) -> float:
    """Furthest from the first, metres."""
    return float(np.linalg.norm(points - points[0], axis=1).max())


def _within(motion: StudyMotion, span: Span) -> Mask:
    out = np.zeros(motion.frames, bool)
    out[span.first : span.last + 1] = True
    return out


def _mask(motion: StudyMotion, phases: list[Phase]) -> Mask:
    out = np.zeros(motion.frames, bool)
    for phase in phases:
        out[phase.first : phase.last + 1] = True
    return out
