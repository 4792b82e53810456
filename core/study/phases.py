"""What each arm does, frame by frame, as phases: swinging, planted, rolling, held on something that moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..anatomy import FOREARM, UPPER_ARM
from ..anatomy import HAND as HAND_LENGTH
from ..rotations import angle_between
from .motion import ArmMotion, StudyMotion
from .roll_edges import turning_span
from .rolls import OVER, rolls_of
from .still import SHORTEST, Span, noise_of, place_of, runs, stillness

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SWING, HAND, ELBOW, ROLL, HELD = "swinging", "hand-planted", "elbow-planted", "rolling", "held"
KINDS = (SWING, HAND, ELBOW, ROLL, HELD)
WORLD = "world"
HEEL = OVER[0][1]

# Degrees that a hand has to turn in all to roll.
ROLL_TURN = 8.0
# Seconds that a roll lasts at least: half of a plant.
SHORTEST_ROLL = SHORTEST / 2.0
# A hand holds on to what is this near, arm lengths, and keeps its distance for so long, seconds.
NEAR, LONG_ENOUGH = 1.0, 0.4
# And both move by this much meanwhile, arm lengths: what stands still is planted and not held.
TRAVELS = 0.1
# Hands this near to each other, arm lengths, hold one thing even where both go along with the torso; hanging hands are
# further apart (0.8 and more by the handbook's shoulder breadth).
TOGETHER = 0.5


@dataclass(frozen=True)
class Phase:
    """Frames `first` to `last`, both included, of one thing that an arm does.

    Attributes:
        arm: its id.
        kind: one of KINDS.
        on: what is held: WORLD, the id of the other arm, or the name of a thing; "" for a swing.
        shoulder_moved: furthest that the shoulder got from its first place meanwhile, over L: what the phase proves.
        strayed: furthest that the held point got from its place, over L; 0 for a swing.
        turned: degrees that the hand turned from the phase's first frame at most; of its direction where positions
            alone are known; 0 without a hand.
        over: of a roll, the part of the hand that stands: one of the names in rolls.OVER; "" for the others.
    """

    arm: str
    kind: str
    on: str
    first: int
    last: int
    shoulder_moved: float
    strayed: float
    turned: float
    over: str = ""


@dataclass(frozen=True, eq=False)
class _Hand:
    """An arm with what its hand's phases are read from: the tip (N, 3), known or by the handbook; L, metres.

    Positions alone tell where a hand points, and not how it turns about that: they count its directions' turns.
    """

    motion: StudyMotion
    arm: ArmMotion
    tip: Array | None
    size: float


def phases_of(motion: StudyMotion) -> tuple[Phase, ...]:
    """The phases of every arm, arm by arm in order of time; swings fill what nothing else takes for the hand."""
    return tuple(phase for arm in motion.arms for phase in _arm_phases(motion, arm))


def planted_frames(phases: tuple[Phase, ...], arm: str, frames: int, kinds: tuple[str, ...] = (HAND, ROLL)) -> Mask:
    """Frames (N,) in which an arm does one of `kinds`."""
    return _mask(frames, [phase for phase in phases if phase.arm == arm and phase.kind in kinds])


def _arm_phases(motion: StudyMotion, arm: ArmMotion) -> list[Phase]:
    size = arm.length
    hand = _Hand(motion, arm, _tip(arm, size), size)
    taken = np.zeros(motion.frames, bool)
    found: list[Phase] = []
    turning = _turning(hand)
    for span in _still(hand, arm.wrist):
        found += _planted(hand, span, turning)
    _take(taken, found)
    found += _rolling(hand, taken, turning)
    found = _long_enough(_with_edges(hand, found), SHORTEST * motion.rate)
    _take(taken, found)
    found += [phase for phase in _held(hand) if not taken[phase.first : phase.last + 1].any()]
    _take(taken, found)
    found += [_phase(hand, SWING, "", span, 0.0) for span in runs(~taken)]
    found += [_phase(hand, ELBOW, WORLD, span, _stray(arm.elbow, span)) for span in _still(hand, arm.elbow)]
    return sorted(found, key=lambda phase: (phase.first, KINDS.index(phase.kind)))


def _tip(arm: ArmMotion, size: float) -> Array | None:
    """End of the hand; where only its orientation is known, as far from the wrist as the handbook's hand is long."""
    if arm.tip is not None or arm.hand is None:
        return arm.tip
    return np.asarray(arm.wrist + arm.hand[:, :, 1] * (size * HAND_LENGTH / (UPPER_ARM + FOREARM)))


def _still(hand: _Hand, points: Array) -> tuple[Span, ...]:
    return stillness(points, hand.motion.rate, hand.size).spans


def _turning(hand: _Hand) -> Mask:
    """Frames (N,) in which the hand turns: its directions, drawn as long as the hand, do not stand still."""
    arm, frames = hand.arm, hand.motion.frames
    if hand.tip is None:
        return np.zeros(frames, bool)
    line = hand.tip - arm.wrist
    if arm.hand is not None:
        length = float(np.median(np.linalg.norm(line, axis=1)))
        line = np.concatenate([arm.hand[:, :, 1], arm.hand[:, :, 2]], axis=1) * length
    still = np.zeros(frames, bool)
    for span in _still(hand, line):
        still[span.first : span.last + 1] = True
    return ~still


def _planted(hand: _Hand, span: Span, turning: Mask) -> list[Phase]:
    """A span in which the wrist stands, cut where the hand rolls about it: over its heel."""
    rolls = _rolls_within(hand, span, turning)
    left = np.ones(span.frames, bool)
    for part in rolls:
        left[part.first - span.first : part.last + 1 - span.first] = False
    wrist = hand.arm.wrist
    return [_phase(hand, ROLL, WORLD, part, _stray(wrist, part), HEEL) for part in rolls] + [
        _phase(hand, HAND, WORLD, part, _stray(wrist, part)) for part in _runs_from(span.first, left)
    ]


def _rolls_within(hand: _Hand, span: Span, turning: Mask) -> list[Span]:
    """Parts of `span` in which the hand turns by enough and for long enough to roll."""
    return [
        part
        for part in _runs_from(span.first, turning[span.first : span.last + 1])
        if part.frames >= SHORTEST_ROLL * hand.motion.rate and _turned(hand, part) > ROLL_TURN
    ]


def _rolling(hand: _Hand, taken: Mask, turning: Mask) -> list[Phase]:
    """Where another point of the hand than the wrist stands, and no frame is `taken`: rolls, and rests about them."""
    if hand.tip is None:
        return []
    arm, found = hand.arm, []
    free = ~taken
    for roll in rolls_of(arm.wrist, hand.tip, arm.hand, hand.motion.rate, hand.size):
        for part in _runs_from(roll.span.first, free[roll.span.first : roll.span.last + 1]):
            turned = _rolls_within(hand, part, turning)
            found += [_phase(hand, ROLL, WORLD, span, roll.strayed, roll.over) for span in turned]
            for span in turned:
                free[span.first : span.last + 1] = False
            if not turned:
                continue
            # Before and after a roll the hand rests on the same point.
            rests = _runs_from(part.first, free[part.first : part.last + 1])
            found += [_phase(hand, HAND, WORLD, span, roll.strayed) for span in rests]
            for span in rests:
                free[span.first : span.last + 1] = False
    return found


def _with_edges(hand: _Hand, found: list[Phase]) -> list[Phase]:
    """Rolls between two rests as long as the hand turns, whose ends are too slow to be seen; the rests are the rest."""
    found = sorted(found, key=lambda phase: phase.first)
    if hand.tip is None:
        return found
    found = _joined(hand, found)
    out: list[Phase] = []
    index = 0
    while index < len(found):
        end = index
        while end < len(found) and found[end].kind == ROLL and (end == index or _follows(found[end - 1], found[end])):
            end += 1
        rolls = found[index:end]
        if rolls and out and end < len(found) and _between_rests(out[-1], rolls, found[end]):
            before, after = out[-1], found[end]
            exact = turning_span(hand.arm, hand.tip, hand.motion.rate, _span(before), _span_of(rolls), _span(after))
            if exact is not None:
                out[-1] = _moved_to(hand, before, Span(before.first, exact.first - 1))
                found[end] = _moved_to(hand, after, Span(exact.last + 1, after.last))
                rolls = _within(hand, rolls, exact)
        out += rolls or [found[index]]
        index = max(end, index + 1)
    return out


def _within(hand: _Hand, rolls: list[Phase], exact: Span) -> list[Phase]:
    """Rolls that follow on each other, from the first of `exact` to its last."""
    kept = [phase for phase in rolls if phase.first <= exact.last and phase.last >= exact.first]
    if not kept:
        kept = [max(rolls, key=lambda phase: phase.last - phase.first)]
    firsts = [exact.first, *(phase.first for phase in kept[1:])]
    lasts = [*(phase.last for phase in kept[:-1]), exact.last]
    return [_moved_to(hand, phase, Span(first, last)) for phase, first, last in zip(kept, firsts, lasts, strict=True)]


def _between_rests(before: Phase, rolls: list[Phase], after: Phase) -> bool:
    rests = before.kind == after.kind == HAND
    return rests and _follows(before, rolls[0]) and _follows(rolls[-1], after)


def _follows(one: Phase, other: Phase) -> bool:
    return one.last + 1 == other.first


def _span(phase: Phase) -> Span:
    return Span(phase.first, phase.last)


def _span_of(phases: list[Phase]) -> Span:
    return Span(phases[0].first, phases[-1].last)


def _long_enough(found: list[Phase], shortest: float) -> list[Phase]:
    """Without rolls that, with the rests before and after them, last no longer than a swing takes to turn round.

    A point of a hand stands for a moment there. `found` is in order of time.
    """
    out: list[Phase] = []
    first = 0
    for index in range(len(found)):
        if index + 1 < len(found) and _follows(found[index], found[index + 1]):
            continue
        if found[index].last - found[first].first >= shortest:
            out += found[first : index + 1]
        first = index + 1
    return out


def _joined(hand: _Hand, found: list[Phase]) -> list[Phase]:
    """Rests at one place that follow on each other as one: of the wrist, and of the point that a roll is over."""
    wrist = hand.arm.wrist
    place = place_of(noise_of(wrist, hand.motion.rate), hand.size)
    out: list[Phase] = []
    for phase in found:
        if out and out[-1].kind == phase.kind == HAND and out[-1].last + 1 == phase.first:
            last = out[-1]
            apart = np.median(wrist[last.first : last.last + 1], axis=0) - np.median(
                wrist[phase.first : phase.last + 1], axis=0
            )
            if np.linalg.norm(apart) <= place:
                out[-1] = _moved_to(hand, last, Span(last.first, phase.last))
                continue
        out.append(phase)
    return out


def _moved_to(hand: _Hand, phase: Phase, span: Span) -> Phase:
    stray = _stray(hand.arm.wrist, span) if phase.kind == HAND or phase.over == HEEL else phase.strayed * hand.size
    return _phase(hand, phase.kind, phase.on, span, stray, phase.over)


def _held(hand: _Hand) -> list[Phase]:
    """Where the hand keeps its distance from the other hand or from a thing, and both move."""
    motion, arm = hand.motion, hand.arm
    hands = [(other.arm, other.wrist, True) for other in motion.arms if other.arm != arm.arm]
    things = [(name, place, False) for name, place in motion.things]
    found: list[Phase] = []
    for name, place, is_hand in (*hands, *things):
        apart = np.linalg.norm(arm.wrist - place, axis=1)
        if float(apart.min()) > NEAR * hand.size:
            continue
        for span in _still(hand, apart[:, None]):
            inside = slice(span.first, span.last + 1)
            distance = float(np.median(apart[inside]))
            if span.frames < LONG_ENOUGH * motion.rate or distance > NEAR * hand.size:
                continue
            if min(_moved(arm.wrist[inside]), _moved(place[inside])) < TRAVELS * hand.size:
                continue
            along_with_torso = _moved(_in_torso(motion, arm.wrist, inside)) < TRAVELS * hand.size
            if is_hand and distance > TOGETHER * hand.size and along_with_torso:
                continue
            stray = float(np.abs(apart[inside] - distance).max())
            found.append(_phase(hand, HELD, name, span, stray))
    return _longest_first(found)


def _in_torso(motion: StudyMotion, points: Array, inside: slice) -> Array:
    """Points (N, 3) of some frames in the torso's axes."""
    torso = motion.torso[inside]
    return np.asarray(np.einsum("fji,fj->fi", torso[:, :3, :3], points[inside] - torso[:, :3, 3]))


def _longest_first(found: list[Phase]) -> list[Phase]:
    """Of phases that overlap the longer ones."""
    kept: list[Phase] = []
    for phase in sorted(found, key=lambda phase: phase.first - phase.last):
        if all(phase.last < other.first or phase.first > other.last for other in kept):
            kept.append(phase)
    return kept


def _phase(hand: _Hand, kind: str, on: str, span: Span, stray: float, over: str = "") -> Phase:
    return Phase(
        arm=hand.arm.arm,
        kind=kind,
        on=on,
        first=span.first,
        last=span.last,
        shoulder_moved=_moved(hand.arm.shoulder[span.first : span.last + 1]) / hand.size,
        strayed=stray / hand.size,
        turned=_turned(hand, span),
        over=over,
    )


def _stray(points: Array, span: Span) -> float:
    """Furthest from the middle of the span, metres."""
    inside = points[span.first : span.last + 1]
    return float(np.linalg.norm(inside - np.median(inside, axis=0), axis=1).max())


def _moved(points: Array) -> float:
    """Furthest from the first, metres."""
    return float(np.linalg.norm(points - points[0], axis=1).max())


def _turned(hand: _Hand, span: Span) -> float:
    """Most from the first frame, degrees."""
    inside = slice(span.first, span.last + 1)
    if hand.arm.hand is not None:
        turns = hand.arm.hand[inside]
        return float(np.degrees(angle_between(np.broadcast_to(turns[0], turns.shape), turns)).max())
    if hand.tip is None:
        return 0.0
    along = hand.tip[inside] - hand.arm.wrist[inside]
    off = np.linalg.norm(np.cross(along[0], along), axis=1)
    return float(np.degrees(np.arctan2(off, along @ along[0])).max())


def _runs_from(first: int, mask: Mask) -> list[Span]:
    """Runs of true values of a part of the clip that begins at frame `first`."""
    return [Span(part.first + first, part.last + first) for part in runs(mask)]


def _take(taken: Mask, phases: list[Phase]) -> None:
    for phase in phases:
        taken[phase.first : phase.last + 1] = True


def _mask(frames: int, phases: list[Phase]) -> Mask:
    out = np.zeros(frames, bool)
    _take(out, phases)
    return out
