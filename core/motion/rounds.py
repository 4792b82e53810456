"""Rounds: the hand and the elbow aim over the whole sphere of directions about the shoulder.

A round's steps are short where the elbow is: an elbow that flips by half a turn between two frames moves by twice its
distance from the line between shoulder and hand, and every step is small against that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError

Array = NDArray[np.float64]

# Angle between the directions of hand and aim at which a round passes the singular set (docs/arm.md), degrees.
PASSING = 11.0
# Units of L: nearest and furthest hand of a plain arm; furthest of one that stretches, through straight; hand while the
# aim goes round, and while both do.
NEAREST, FURTHEST, BEYOND = 0.35, 0.95, 1.2
AIMED, TOGETHER = 0.45, 0.4
# Turns of the spirals; the hand's have one at each end.
HAND_TURNS, AIM_TURNS = 3.0, 1.45
# Distance of the aim from the shoulder, units of L: its displacement is then what it is at the arm's own length.
AIM_DISTANCE = 1.0
# Where the aim keeps still: outward, back and down, as an elbow points. Where the hand keeps still: in front.
AIM = np.array([0.5, 0.8, -0.3])
HAND = np.array([0.4, -0.8, -0.4])
# Of a hand further than the first, units of L, the elbow is so near the line that a flip hardly shows, and beyond the
# second the arm has no elbow to flip, wherever the lift has taken the shoulder: steps are as for these bends.
STRAIGHT, STRAIGHT_BEND = 0.955, 0.2
OUT, OUT_BEND = 1.1, 0.5
DENSE = 6000


@dataclass(frozen=True, eq=False)
class Round:
    """Hand and elbow aim, (N, 3) each, seen from the shoulder, units of L, character axes of the left arm."""

    hand: Array
    aim: Array


def hand_round(frames: int, share: float, furthest: float = FURTHEST, cycles: int = 1) -> Round:
    """The hand spirals from one side of the still aim's line to the other, past both at PASSING degrees.

    `share`, 0 to 1, turns the spiral about that line: rounds of several shares interleave. Past the line the hand is at
    NEAREST, where the elbow is fastest; on the way it goes to `furthest` and back `cycles` times.
    """
    _check("hand-round", frames)
    time = np.linspace(0.0, 1.0, DENSE)
    # A whole turn past either end of the line, and the rest from the one to the other.
    rest = 1.0 / HAND_TURNS
    climb = _climb(time, rest)
    radius = (NEAREST + furthest) / 2.0 - (furthest - NEAREST) / 2.0 * np.cos(2.0 * np.pi * cycles * climb)
    around = _spiral(AIM, time, HAND_TURNS, share, rest)
    aim = np.broadcast_to(_unit(AIM) * AIM_DISTANCE, around.shape)
    return _spread(frames, around * radius[:, None], aim)


def aim_round(frames: int, share: float) -> Round:
    """The aim spirals from one side of the still hand's line to the other."""
    _check("aim-round", frames)
    around = _spiral(HAND, np.linspace(0.0, 1.0, DENSE), AIM_TURNS, share, rest=0.0)
    hand = np.broadcast_to(_unit(HAND) * AIMED, around.shape)
    return _spread(frames, hand, around * AIM_DISTANCE)


def both_round(frames: int, share: float) -> Round:
    """Hand and aim each go round a great circle, in different planes; they may meet, in the singular set."""
    _check("both-round", frames)
    turn = 2.0 * np.pi * np.linspace(0.0, 1.0, DENSE)
    # About axes that differ from share to share.
    hand_axis = _direction(0.3 + 0.25 * np.pi * share, 2.0 * np.pi * share)
    aim_axis = _direction(1.4, 2.0 * np.pi * share + 1.0)
    hand, aim = _circle(hand_axis, turn), _circle(aim_axis, 2.0 - turn)
    return _spread(frames, hand * TOGETHER, aim * AIM_DISTANCE)


def _spiral(axis: Array, time: Array, turns: float, share: float, rest: float) -> Array:
    """Units (M, 3) at PASSING degrees from `axis` first and from its opposite last, each for `rest` of the time."""
    low = np.radians(PASSING)
    polar = low + (np.pi - 2.0 * low) * _climb(time, rest)
    across = _circle(_unit(axis), 2.0 * np.pi * (turns * time + share))
    return np.asarray(np.cos(polar)[:, None] * _unit(axis) + np.sin(polar)[:, None] * across)


def _climb(time: Array, rest: float) -> Array:
    """0 for `rest` of the time, then evenly to 1, and 1 for `rest`."""
    return np.asarray(np.clip((time - rest) / (1.0 - 2.0 * rest), 0.0, 1.0))


def _circle(axis: Array, angles: Array) -> Array:
    """Units (M, 3) at right angles to the unit `axis`."""
    # The character's axis that is furthest from it starts the circle.
    least = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = _unit(least - axis * (axis @ least))
    second = np.cross(axis, first)
    return np.asarray(np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second)


def _direction(polar: float, around: float) -> Array:
    return np.array([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)])


def _spread(frames: int, hand: Array, aim: Array) -> Round:
    """The dense path (M, 3) as `frames` poses, with equal steps over the elbow's distance from the line."""
    pair = np.concatenate([hand, aim], axis=1)
    radius = np.linalg.norm(hand, axis=1)
    # Of equal segments; a person's differ little from that.
    bend = np.where(radius > STRAIGHT, STRAIGHT_BEND, np.sqrt(np.maximum(1.0 - radius**2, 0.0)) / 2.0)
    bend[radius > OUT] = OUT_BEND
    steps = np.linalg.norm(np.diff(pair, axis=0), axis=1) / bend[1:]
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0.0, along[-1], frames)
    spread = np.stack([np.interp(wanted, along, column) for column in pair.T], axis=1)
    return Round(spread[:, :3], spread[:, 3:])


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector))


def _check(name: str, frames: int) -> None:
    if frames < 2:
        raise MotionError(f"{name}: {frames} frames go nowhere; give 2 or more")
