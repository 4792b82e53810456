"""What the dials of a planted hand do in a proof: rolls, sides and spins through their whole ranges.

Angles in radians; the dials are those of docs/arm.md, "The planted hand".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .clip import Clip, make_clip
from .wiggle import LIMITS, torso_turn

Array = NDArray[np.float64]

ROLL, ASIDE, SIDE, SPIN = "plant-roll", "plant-roll-aside", "plant-side", "plant-spin"
# 3 degrees a frame, so that every hand-over is a frame; sides and spins have none but the middle.
ROLL_FRAMES, OTHER_FRAMES = 91, 61
# Bend of the fingers before the hand goes on over their tips; of a roll that is aside as well.
BEND, ASIDE_BEND = math.radians(45.0), math.radians(30.0)
# Side and spin of a roll that is aside, in turn to either side.
ASIDE_SIDE, ASIDE_SPIN = math.radians(25.0), math.radians(50.0)
# The torso's part of the wiggle's limits: a hand that rolls over travels by twice its length, and stays in reach.
TORSO_SHARE = 0.4
# Cycles of each channel over a run, square roots of primes as in wiggle.py; and where in its cycle each begins.
CYCLES = np.sqrt([2.0, 3.0, 5.0, 7.0, 11.0, 13.0])
PHASES = np.array([0.4, 1.9, 3.1, 4.4, 5.2, 0.9])


@dataclass(frozen=True, eq=False)
class Planted:
    """One run: its name, the body's motion, and the dials (N,) by their names in ArmSettings."""

    name: str
    clip: Clip
    dials: tuple[tuple[str, Array], ...]


def roll() -> Planted:
    """From the heel over knuckles and fingertips, as far as the dial goes."""
    return _planted(ROLL, ROLL_FRAMES, hand_roll=(-math.pi / 2.0, math.pi), finger_bend=(BEND, BEND))


def roll_aside(sign: float) -> Planted:
    """The same of a hand that is spun and leans over an edge: the outer one for a `sign` of 1, the thumb's for -1."""
    side, spin = sign * ASIDE_SIDE, sign * ASIDE_SPIN
    return _planted(
        ASIDE,
        ROLL_FRAMES,
        hand_roll=(-math.pi / 2.0, math.pi),
        hand_side=(side, side),
        hand_spin=(spin, spin),
        finger_bend=(ASIDE_BEND, ASIDE_BEND),
    )


def side() -> Planted:
    """From one edge to the other."""
    return _planted(SIDE, OTHER_FRAMES, hand_side=(-math.pi / 2.0, math.pi / 2.0))


def spin() -> Planted:
    """Once round on the palm."""
    return _planted(SPIN, OTHER_FRAMES, hand_spin=(-math.pi, math.pi))


def _planted(name: str, frames: int, **ends: tuple[float, float]) -> Planted:
    dials = tuple((dial, np.linspace(first, last, frames)) for dial, (first, last) in ends.items())
    return Planted(name, _swayed(name, frames), dials)


def _swayed(name: str, frames: int) -> Clip:
    """The torso leans, turns and travels, smoothly."""
    time = np.linspace(0.0, 2.0 * math.pi, frames)[:, None]
    channels = np.sin(CYCLES * time + PHASES) * LIMITS * TORSO_SHARE
    turn = torso_turn(channels[:, 0], channels[:, 1], channels[:, 2])
    return make_clip(name, frames, torso=turn[:, None], travel=channels[:, 3:])
