"""What is held, where, from which frame to which: recorded noise while a joint stands is replaced by one place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..posing import rigid_turns
from ..rotations import slerp_matrices
from ..study.phases import ELBOW, HAND, HELD, ROLL, WORLD, Phase
from .mapped import MappedArm

Array = NDArray[np.float64]

# Frames below which a hold is none: one to arrive, one to stand and one to leave.
FEWEST_FRAMES = 3
# Two places nearer than this, arm lengths, that follow each other without a gap are one.
ONE_PLACE = 0.02
# Frames of arc between two places that follow each other at once.
GAP = 4
# How much a point off the hand's own joint has to be told by the turn before it counts (square of metres over metres).
RIDGE = 0.05
# Radians about its mean below which a hand does not turn.
SMALLEST_TURN = 1e-6


@dataclass(frozen=True, eq=False)
class HandHold:
    """A hand held from `first` to `last`, both included.

    Attributes:
        on: WORLD, or the id of the other arm.
        poses: of the hand at the wrist, (M, 4, 4), rigid: armature space, or the other hand's frame.
        pivot: the point of the hand that stands, in the hand's axes from the wrist, (M, 3), metres.
        place: where it stands, (M, 3), in the same space as the poses.
        rolls: rows (M,) in which the hand rolls over the pivot.
    """

    first: int
    last: int
    on: str
    poses: Array
    pivot: Array
    place: Array
    rolls: NDArray[np.bool_]

    @property
    def rows(self) -> NDArray[np.intp]:
        """Frames, (M,)."""
        return np.arange(self.first, self.last + 1)


@dataclass(frozen=True, eq=False)
class ElbowHold:
    """An elbow held in the world from `first` to `last`, both included, at `place` (3,), armature space."""

    first: int
    last: int
    place: Array

    @property
    def rows(self) -> NDArray[np.intp]:
        """Frames, (M,)."""
        return np.arange(self.first, self.last + 1)


def hand_holds(
    arm: MappedArm, phases: tuple[Phase, ...], hand: Array, length: float, blend: int, notes: list[str]
) -> list[HandHold]:
    """Holds of the hand in the world, in order of time; what is left out is said in `notes`.

    `hand` (N, 3, 3): its orientations. `length`: the arm's, metres. `blend`: frames over which a roll takes up the
    recorded orientation.
    """
    own = [phase for phase in phases if phase.arm == arm.arm and phase.kind in (HAND, ROLL) and phase.on == WORLD]
    own = _apart(arm, _long(own, notes), length, notes)
    groups: list[list[Phase]] = []
    for phase in own:
        if groups and phase.first <= groups[-1][-1].last + 1:
            groups[-1].append(replace(phase, first=groups[-1][-1].last + 1))
        else:
            groups.append([phase])
    return [_grouped(arm, group, hand, blend) for group in groups]


def elbow_holds(arm: MappedArm, phases: tuple[Phase, ...], notes: list[str]) -> list[ElbowHold]:
    """Holds of the elbow in the world, in order of time."""
    own = _long([phase for phase in phases if phase.arm == arm.arm and phase.kind == ELBOW], notes)
    out: list[ElbowHold] = []
    for phase in own:
        first = phase.first if not out else max(phase.first, out[-1].last + GAP)
        if phase.last - first + 1 >= FEWEST_FRAMES:
            out.append(ElbowHold(first, phase.last, np.median(arm.elbow[first : phase.last + 1], axis=0)))
    return out


def held_phases(phases: tuple[Phase, ...], arms: tuple[str, ...], notes: list[str]) -> list[Phase]:
    """Phases in which a hand is held on another hand, without a circle of hands that hold each other.

    Where two hands hold each other the arm that comes later in `arms` holds on to the earlier one, over the whole
    clip, unless the other way is recorded for more frames.
    """
    found = _long([phase for phase in phases if phase.kind == HELD and phase.arm in arms], notes)
    things = sorted({phase.on for phase in found if phase.on not in arms})
    notes += [
        f"{name!r} is no hand: the hand goes along with it by its recorded joints, held by nothing" for name in things
    ]
    frames: dict[tuple[str, str], int] = {}
    for phase in found:
        if phase.on in arms:
            key = (phase.arm, phase.on)
            frames[key] = frames.get(key, 0) + phase.last - phase.first + 1
    ways: list[tuple[str, str]] = []
    for way in sorted(frames, key=lambda way: (-frames[way], -arms.index(way[0]))):
        if not _leads(ways, way[1], way[0]):
            ways.append(way)
    out = [phase for phase in found if (phase.arm, phase.on) in ways]
    for phase in found:
        other = [item for item in out if item.arm == phase.on and item.on == phase.arm]
        mutual = any(item.first <= phase.last and item.last >= phase.first for item in other)
        if phase.on in arms and phase not in out and not mutual:
            notes.append(
                f"frames {phase.first} to {phase.last}: the {phase.arm} hand is not held on the {phase.on} hand, "
                "which holds on to it elsewhere"
            )
    return out


def held_hold(arm: MappedArm, other: MappedArm, phase: Phase, hand: Array, carrier: Array) -> HandHold:
    """`arm`'s hand held on `other`'s, whose hand's poses are `carrier` (N, 4, 4): one pose in that hand's frame.

    The recorded way from wrist to wrist is kept, at the recording's scale.
    """
    rows = np.arange(phase.first, phase.last + 1)
    back = np.swapaxes(carrier[rows, :3, :3], -1, -2)
    pose = np.eye(4)
    pose[:3, 3] = np.median(np.einsum("fij,fj->fi", back, arm.wrist[rows] - other.wrist[rows]), axis=0)
    pose[:3, :3] = rigid_turns(np.mean(back @ hand[rows], axis=0))
    return _still(phase.first, phase.last, phase.on, pose)


def _still(first: int, last: int, on: str, pose: Array) -> HandHold:
    count = last - first + 1
    poses = np.tile(pose, (count, 1, 1))
    return HandHold(first, last, on, poses, np.zeros((count, 3)), poses[:, :3, 3].copy(), np.zeros(count, bool))


def _long(phases: list[Phase], notes: list[str]) -> list[Phase]:
    kept = [phase for phase in phases if phase.last - phase.first + 1 >= FEWEST_FRAMES]
    for phase in phases:
        if phase not in kept:
            notes.append(f"frame {phase.first}: a {phase.kind} of {phase.arm} lasts too few frames to be held")
    return sorted(kept, key=lambda phase: (phase.first, phase.last))


def _apart(arm: MappedArm, phases: list[Phase], length: float, notes: list[str]) -> list[Phase]:
    """Planted phases at different places that follow each other at once: the later one begins a few frames later."""
    out = phases[:1]
    for before, phase in pairwise(phases):
        both_stand = before.kind == HAND and phase.kind == HAND and phase.first <= before.last + GAP
        far = np.linalg.norm(_median(arm.wrist, before) - _median(arm.wrist, phase)) > ONE_PLACE * length
        if both_stand and far:
            phase = replace(phase, first=before.last + GAP)
            notes.append(f"frame {phase.first}: the {arm.arm} hand is planted {GAP} frames later, to get there")
        if phase.last - phase.first + 1 >= FEWEST_FRAMES:
            out.append(phase)
    return out


def _median(points: Array, phase: Phase) -> Array:
    return np.asarray(np.median(points[phase.first : phase.last + 1], axis=0))


def _grouped(arm: MappedArm, group: list[Phase], hand: Array, blend: int) -> HandHold:
    """Phases that follow each other at once, each of which begins with the pose in which the one before has ended."""
    parts: list[HandHold] = []
    end: Array | None = None
    for phase in group:
        if phase.kind == ROLL:
            part = _roll(arm, phase, hand, end, blend)
        elif end is None:
            rows = slice(phase.first, phase.last + 1)
            end = np.eye(4)
            end[:3, 3], end[:3, :3] = _median(arm.wrist, phase), rigid_turns(np.mean(hand[rows], axis=0))
            part = _still(phase.first, phase.last, WORLD, end)
        else:
            part = _still(phase.first, phase.last, WORLD, end)
        parts.append(part)
        end = part.poses[-1]
    fields = {
        name: np.concatenate([getattr(part, name) for part in parts]) for name in ("poses", "pivot", "place", "rolls")
    }
    return HandHold(group[0].first, group[-1].last, WORLD, **fields)


def _roll(arm: MappedArm, phase: Phase, hand: Array, start: Array | None, blend: int) -> HandHold:
    """A hand that turns as recorded about a point of its own that stands."""
    rows = np.arange(phase.first, phase.last + 1)
    turns, pivot = hand[rows], pivot_of(arm.wrist[rows], hand[rows])
    if start is None:
        place = np.median(arm.wrist[rows] + turns @ pivot, axis=0)
    else:
        place = start[:3, 3] + start[:3, :3] @ pivot
        gap = start[:3, :3] @ turns[0].T
        share = smooth(1.0 - np.arange(len(rows)) / (blend + 1.0))
        turns = slerp_matrices(np.tile(np.eye(3), (len(rows), 1, 1)), np.tile(gap, (len(rows), 1, 1)), share) @ turns
    poses = np.tile(np.eye(4), (len(rows), 1, 1))
    poses[:, :3, :3], poses[:, :3, 3] = turns, place - turns @ pivot
    count = len(rows)
    return HandHold(
        phase.first,
        phase.last,
        WORLD,
        poses,
        np.tile(pivot, (count, 1)),
        np.tile(place, (count, 1)),
        np.ones(count, bool),
    )


def pivot_of(wrist: Array, turns: Array) -> Array:
    """The point (3,) of a hand, in its axes from the wrist, that stands best as wrist (M, 3) and turns (M, 3, 3) move.

    Least squares of w(t) + R(t) r = c over r and c; a little weight on r = 0 keeps what the turn does not tell at the
    wrist, and a hand that does not turn tells nothing.
    """
    mean_turn, mean = turns.mean(axis=0), wrist.mean(axis=0)
    rows = (turns - mean_turn).reshape(-1, 3)
    scale = float(np.sum(rows**2)) / 3.0
    if scale < SMALLEST_TURN**2 * len(turns):
        return np.zeros(3)
    square = rows.T @ rows + RIDGE**2 * scale * np.eye(3)
    return np.asarray(np.linalg.solve(square, -rows.T @ (wrist - mean).ravel()))


def smooth(share: Array) -> Array:
    """0 to 1 with level ends, of a share that is cut off to 0 to 1."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


def _leads(ways: list[tuple[str, str]], start: str, end: str) -> bool:
    """Whether `start` holds on to `end`, by way of others or not."""
    return any(way[0] == start and (way[1] == end or _leads(ways, way[1], end)) for way in ways)
