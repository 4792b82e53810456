"""Hand and elbow held at once: places that the rig's forearm fits between; how one is led to while the other stands."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..rotations import unit
from .holds import ElbowHold, HandHold, smooth

Array = NDArray[np.float64]

# A wrist and an elbow that are further off the forearm's length, arm lengths, do not fit.
FITS = 1e-6


@dataclass(frozen=True)
class Handover:
    """Frames of one run next to another in which something more is held.

    Attributes:
        rows: frames (R,) of the one run, nearest first.
        share: by how much they are led to the other's pose, (R,), near 1 first.
        at: the other run's frame next to them.
        hand, elbow: what the other run holds in addition.
    """

    rows: NDArray[np.intp]
    share: Array
    at: int
    hand: bool
    elbow: bool


def fitted(
    arm: str,
    hands: Sequence[HandHold],
    elbows: Sequence[ElbowHold],
    forearm: float,
    length: float,
    busy: Collection[int],
    notes: list[str],
) -> tuple[list[HandHold], list[ElbowHold]]:
    """Holds of one arm in the world; those that go on at once have the rig's forearm between them.

    The one that begins first keeps its place, and the hand's of two that begin together; the other is drawn along the
    line between them until they are `forearm` metres apart. Of a hold that begins on the frame after another has ended,
    both are held on that frame, unless the hand is otherwise held on it (`busy`, frames). What can not fit, a hand that
    rolls meanwhile, is said in `notes`.
    """
    new_hands, new_elbows = list(hands), list(elbows)
    order = sorted(
        [(hold.first, 0, index) for index, hold in enumerate(hands)]
        + [(hold.first, 1, index) for index, hold in enumerate(elbows)]
    )
    done: list[tuple[int, int]] = []
    for _, kind, index in order:
        done.append((kind, index))
        mine = (new_hands, new_elbows)[kind][index]
        for other_kind, place in done[:-1]:
            other = (new_hands, new_elbows)[other_kind][place]
            if other_kind == kind or other.last + 1 < mine.first:
                continue
            if other.last < mine.first and (kind == 0 or mine.first not in busy):
                other = _longer(other)
                if isinstance(other, HandHold):
                    new_hands[place] = other
                else:
                    new_elbows[place] = other
            hand, elbow = (mine, other) if kind == 0 else (other, mine)
            assert isinstance(hand, HandHold) and isinstance(elbow, ElbowHold)
            wrist = hand.poses[np.clip(mine.first, hand.first, hand.last) - hand.first, :3, 3]
            way = unit((elbow.place - wrist)[None])[0] * forearm
            if kind == 0:
                moved = elbow.place - way - wrist
                poses = hand.poses.copy()
                poses[:, :3, 3] += moved
                new_hands[index] = hand = replace(hand, poses=poses, place=hand.place + moved)
            else:
                new_elbows[index] = elbow = replace(elbow, place=wrist + way)
            _check_fit(arm, hand, elbow, forearm, length, notes)
    return new_hands, new_elbows


def _longer(hold: HandHold | ElbowHold) -> HandHold | ElbowHold:
    """The hold for one more frame."""
    if isinstance(hold, ElbowHold):
        return replace(hold, last=hold.last + 1)
    return replace(
        hold,
        last=hold.last + 1,
        poses=np.append(hold.poses, hold.poses[-1:], 0),
        pivot=np.append(hold.pivot, hold.pivot[-1:], 0),
        place=np.append(hold.place, hold.place[-1:], 0),
        rolls=np.append(hold.rolls, hold.rolls[-1:], 0),
    )


def _check_fit(arm: str, hand: HandHold, elbow: ElbowHold, forearm: float, length: float, notes: list[str]) -> None:
    first, last = max(hand.first, elbow.first), min(hand.last, elbow.last)
    rows = np.arange(first, last + 1) - hand.first
    off = np.abs(np.linalg.norm(hand.poses[rows, :3, 3] - elbow.place, axis=1) - forearm)
    if off.max(initial=0.0) > FITS * length:
        notes.append(
            f"the {arm} hand rolls while its elbow is held: the elbow stands, and the hand is up to "
            f"{off.max() / length:.2g} L short of its place or past it"
        )


def handovers(runs: Sequence[tuple[int, int, bool, bool]], blend: int) -> list[Handover]:
    """Where runs (first, last, hand held, elbow held) meet without a frame between them."""
    found = []
    for index in range(len(runs) - 1):
        one, two = runs[index], runs[index + 1]
        if one[1] + 1 != two[0]:
            continue
        for led, other, at, step in ((index, index + 1, two[0], -1), (index + 1, index, one[1], 1)):
            first, last, hand, elbow = runs[led]
            more_hand, more_elbow = runs[other][2] and not hand, runs[other][3] and not elbow
            # Half of the run at most: its other end may be led as well.
            size = min(blend, (last - first + 1) // 2)
            if not (more_hand or more_elbow) or size == 0:
                continue
            count = np.arange(1, size + 1)
            rows = at + step * count
            found.append(Handover(rows, smooth(1.0 - count / (size + 1.0)), at, more_hand, more_elbow))
    return found
