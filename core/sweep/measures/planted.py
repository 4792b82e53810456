"""The planted hand: what it rolls over stays where it is, and its fingers stand on the surface (docs/arm.md).

Where the points have to be comes from `proof/plant.py`, which has docs/arm.md's product of turns factor by factor, and
the solver sums it up.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...proof.measures import DEGREES, LENGTHS, SLIDE_LIMIT, TURN_LIMIT, at, distance, turn, turn_error
from ...proof.plant import ID, Pivots, pivots
from ...rotations import axis_matrix
from ..look import Look
from ..measure import Measure
from .held import at_hand, hand_held, hand_in_reach

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def _planted(look: Look) -> Mask:
    s = look.settings
    return np.asarray(hand_held(look) & ((s.hand_roll != 0.0) | (s.hand_side != 0.0) | (s.hand_spin != 0.0)))


def _off(look: Look, rolled: Pivots) -> Array:
    return np.asarray(distance(rolled.found, rolled.wanted).max(axis=1) / look.size)


def _slide(look: Look) -> Array:
    """Beyond the missing distance, which is at most the limit here."""
    rolled = pivots(look.run)
    return _off(look, rolled) - rolled.missing / look.size


def _missing(look: Look) -> Array:
    return _off(look, pivots(look.run))


def _misplaced(look: Look) -> Array:
    rolled = pivots(look.run)
    return np.asarray(distance(rolled.found, rolled.wanted + rolled.moved[:, None]).max(axis=1) / look.size)


def _finger_turn(look: Look) -> Array:
    """What carries the fingers against the hand, turned back by as much as the hand rolls over its knuckles."""
    back = axis_matrix("X", -np.clip(look.settings.hand_roll, 0.0, look.settings.finger_bend))
    return turn_error(turn(look.shown.fingers), turn(look.shown.hand) @ back)


def _knuckle_gap(look: Look) -> Array:
    knuckles = (look.shown.hand @ np.append(look.geometry.pivots.knuckles, 1.0))[:, :3]
    return distance(at(look.shown.fingers), knuckles) / look.size


MEASURES = (
    Measure(
        "pivot-slide", ID, LENGTHS, SLIDE_LIMIT, _slide, lambda look: _planted(look) & hand_in_reach(look), at_hand
    ),
    Measure(
        "pivot-short", ID, LENGTHS, SLIDE_LIMIT, _misplaced, lambda look: _planted(look) & ~hand_in_reach(look), at_hand
    ),
    Measure("pivot-missing", ID, LENGTHS, None, _missing, _planted, at_hand),
    Measure("finger-turn", ID, DEGREES, TURN_LIMIT, _finger_turn, tolerance=TURN_LIMIT),
    Measure("knuckle-gap", ID, LENGTHS, SLIDE_LIMIT, _knuckle_gap),
)
