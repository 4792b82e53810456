"""What is held stays: elbow and wrist on their holds where these are in reach, short by no more than has to be beyond.

Where docs/arm.md has the joints comes from `proof/expected.py`, which shares no code with the solver.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...proof.measures import DEGREES, LENGTHS, SLIDE_LIMIT, TURN_LIMIT, at, distance, held_arm, turn, turn_error
from ..look import Look
from ..measure import Measure

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def _elbow_held(look: Look) -> Mask:
    return np.asarray(look.settings.elbow == 1.0)


def hand_held(look: Look) -> Mask:
    """The hand's goal alone decides where the hand is."""
    return np.asarray((look.settings.ik == 1.0) & ((look.settings.elbow == 0.0) | (look.settings.elbow == 1.0)))


def _hand_swings(look: Look) -> Mask:
    return np.asarray((look.settings.ik == 0.0) & _elbow_held(look))


def _elbow_in_reach(look: Look) -> Mask:
    return np.asarray(look.goal.elbow_missing <= SLIDE_LIMIT * look.size)


def hand_in_reach(look: Look) -> Mask:
    """The arm, as its dials have it, gets there."""
    return np.asarray(look.goal.hand_missing <= SLIDE_LIMIT * look.size)


def _elbow_off(look: Look) -> Array:
    return distance(at(look.shown.elbow), at(look.settings.elbow_hold)) / look.size


def _wrist_off(look: Look) -> Array:
    return distance(at(look.shown.wrist), at(look.flat.hand_hold)) / look.size


def _elbow_slide(look: Look) -> Array:
    """Beyond the missing distance, which is at most the limit here."""
    return _elbow_off(look) - look.goal.elbow_missing / look.size


def _wrist_slide(look: Look) -> Array:
    return _wrist_off(look) - look.goal.hand_missing / look.size


def _elbow_misplaced(look: Look) -> Array:
    return distance(at(look.shown.elbow), look.goal.held_elbow) / look.size


def _wrist_misplaced(look: Look) -> Array:
    return distance(at(look.shown.wrist), look.goal.ik_wrist) / look.size


def _swung_wrist(look: Look) -> Array:
    geometry, settings = look.geometry, look.settings
    reach = held_arm(look.run)[0][..., 1] * (geometry.forearm_length * settings.forearm_length)[:, None]
    return distance(at(look.shown.wrist), look.goal.held_elbow + reach) / look.size


def _held_hand(look: Look) -> Array:
    return turn_error(turn(look.shown.hand), turn(look.flat.hand_hold))


def _swung_hand(look: Look) -> Array:
    return turn_error(turn(look.shown.hand), held_arm(look.run)[1])


def _at_hold(look: Look) -> Mask:
    return look.near.hold


def at_hand(look: Look) -> Mask:
    """In or at a singular set of a held hand."""
    return look.near.aim | look.near.hold | look.near.hand


MEASURES = (
    Measure(
        "held-elbow-slide", "hold-elbow", LENGTHS, SLIDE_LIMIT, _elbow_slide,
        lambda look: _elbow_held(look) & _elbow_in_reach(look), _at_hold,
    ),
    Measure(
        "held-elbow-short", "hold-elbow", LENGTHS, SLIDE_LIMIT, _elbow_misplaced,
        lambda look: _elbow_held(look) & ~_elbow_in_reach(look), _at_hold,
    ),
    Measure("held-elbow-missing", "hold-elbow", LENGTHS, None, _elbow_off, _elbow_held, _at_hold),
    Measure("swung-wrist-slide", "hold-elbow", LENGTHS, SLIDE_LIMIT, _swung_wrist, _hand_swings, _at_hold),
    Measure(
        "swung-hand-drift", "hold-elbow", DEGREES, TURN_LIMIT, _swung_hand, _hand_swings, _at_hold, tolerance=TURN_LIMIT
    ),
    Measure(
        "held-wrist-slide", "hold-hand", LENGTHS, SLIDE_LIMIT, _wrist_slide,
        lambda look: hand_held(look) & hand_in_reach(look), at_hand,
    ),
    Measure(
        "held-wrist-short", "hold-hand", LENGTHS, SLIDE_LIMIT, _wrist_misplaced,
        lambda look: hand_held(look) & ~hand_in_reach(look), at_hand,
    ),
    Measure("held-wrist-missing", "hold-hand", LENGTHS, None, _wrist_off, hand_held, at_hand),
    Measure(
        "held-hand-drift", "hold-hand", DEGREES, TURN_LIMIT, _held_hand,
        lambda look: look.settings.ik == 1.0, tolerance=TURN_LIMIT,
    ),
)  # fmt: skip
