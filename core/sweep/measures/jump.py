"""Continuity: between near settings the arm takes no jump, whichever settings change and whatever holds it.

The way from the settings to those beside them is halved again and again, and the half in which the arm moves further is
kept. What moves smoothly moves half as far in half of the way; a jump stays as large as it is. The value is how far the
arm moves, arm lengths, over what is left after all halvings, a part of every range. Once the arm moves less than a jump
over what is left there is none in it, and the rest is taken as even: that saves nine tenths of the work.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...proof.measures import FACTOR, at, turn
from ...proof.samples import ArmSamples
from ..look import Look
from ..measure import Measure
from ..near import near
from ..space import between, take

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# The way between the settings and those beside, in the unit cube of space.py, and how often it is halved: to 1.2e-5.
WAY = 0.003
HALVINGS = 8
# The second half is kept only if the arm moves further in it by this, arm lengths: rounding must not choose.
PLAINLY = 1e-4
# Movement, arm lengths, over what is left of the way: nearly a thousand times as far. Any finer step than that is lost
# in the single precision of a key.
JUMP = 0.01
LAST = WAY / 2.0**HALVINGS
# The ends of the way are in single precision where the host holds them: of what is left that is a hundredth.
TOLERANCE = 0.01 * JUMP / LAST
# Points beside the bones that tell their turns, arm lengths off the axes.
ASIDE = 0.25


def _left_out(look: Look) -> Mask:
    return look.near.any | look.near_beside.any | look.near.rounded | look.near_beside.rounded


def _jump(look: Look) -> Array:
    count = len(look.settings.ik)
    low, high = np.zeros(count), np.ones(count)
    first, last = _points(look, look.shown), _points(look, look.show(look.beside))
    out = _travel(look, first, last)
    left = np.arange(count)
    for halving in range(HALVINGS):
        done = out[left] <= JUMP
        out[left[done]] /= 2.0 ** (HALVINGS - halving)
        left = left[~done]
        if len(left) == 0:
            break
        middle = 0.5 * (low[left] + high[left])
        points = _points(look, look.show(between(take(look.settings, left), take(look.beside, left), middle)))
        before, after = _travel(look, first[left], points), _travel(look, points, last[left])
        later = after > before + PLAINLY
        low[left], high[left] = np.where(later, middle, low[left]), np.where(later, high[left], middle)
        first[left] = np.where(later[:, None, None], points, first[left])
        last[left] = np.where(later[:, None, None], last[left], points)
        out[left] = np.where(later, after, before)
    # Next to a singular set the arm is fast, so that a short way may lead through it from clear end to clear end.
    at_jump = between(take(look.settings, left), take(look.beside, left), 0.5 * (low[left] + high[left]))
    out[left[near(look.geometry, at_jump).any]] = -np.inf
    return out / LAST


def _points(look: Look, shown: ArmSamples) -> Array:
    """The joints and points beside the bones, (N, 9, 3)."""
    found = []
    for bone in (shown.upper_arm, shown.forearm, shown.hand):
        aside = ASIDE * look.size
        found += [at(bone), at(bone) + turn(bone)[..., 0] * aside, at(bone) + turn(bone)[..., 2] * aside]
    return np.stack(found, axis=1)


def _travel(look: Look, one: Array, other: Array) -> Array:
    return np.asarray(np.linalg.norm(one - other, axis=-1).max(axis=1) / look.size)


MEASURES = (
    Measure(
        "jump", "blend", FACTOR, JUMP / LAST, _jump, left_out=_left_out, tolerance=TOLERANCE, pair=True, search=True
    ),
)
