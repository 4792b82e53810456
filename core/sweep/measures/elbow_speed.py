"""`any-axis`: the elbow's speed over the target's, in the direction of the target that moves it most.

The target is that of `proof/any_axis.py`: the hand hold, and the elbow aim brought to the arm's own length from the
torso's own shoulder point. The elbow's places after a step along each of its five coordinates (three of the hand,
two of the aim's direction) make a matrix (3, 5) whose largest singular value is the speed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...proof import any_axis
from ...proof.measures import FACTOR, SLIDE_LIMIT, at, distance, shoulder_point, unit
from ...solve.settings import ArmSettings
from ..look import Look
from ..measure import Measure, nowhere

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Of the arm's length: short against the least distance of hand and shoulder, long against single precision.
STEP = 0.005
# Each of the five columns is the difference of two places over the step, each as exact as what is held has to be.
TOLERANCE = 2.0 * np.sqrt(5.0) * SLIDE_LIMIT / STEP


def _applies(look: Look) -> Mask:
    return np.asarray((look.settings.ik == 1.0) & (look.settings.elbow == 0.0))


def _left_out(look: Look) -> Mask:
    """What the proof leaves out: steps with an end in or at the singular set."""
    # Asked of every pose, and dear: the others have nothing to say.
    out, asked = nowhere(look), _applies(look)
    part = look.only(asked)
    singular = any_axis.singular(look.geometry, part.settings)
    for stepped in _stepped(part):
        singular = singular | any_axis.singular(look.geometry, stepped)
    out[asked] = singular
    return out


def _speed(look: Look) -> Array:
    step = STEP * look.size
    found = np.stack([_moved(look, stepped) / step for stepped in _stepped(look)], axis=-1)
    known = np.isfinite(found).all(axis=(1, 2))
    out = np.full(len(found), np.nan)
    out[known] = np.linalg.norm(found[known], ord=2, axis=(1, 2))
    return out


def _stepped(look: Look) -> Iterator[ArmSettings]:
    """The settings after a step along each of the target's five coordinates."""
    settings, step = look.settings, STEP * look.size
    point = shoulder_point(look.geometry, settings.torso)
    for axis in np.eye(3):
        hold = settings.hand_hold.copy()
        hold[:, :3, 3] += axis * step
        yield replace(settings, hand_hold=hold)
    # The aim's direction turns as far as its point at the arm's own length moves.
    away = distance(settings.aim, point)[:, None] / look.size
    for tangent in _tangents(unit(settings.aim - point)):
        yield replace(settings, aim=settings.aim + tangent * away * step)


def _moved(look: Look, settings: ArmSettings) -> Array:
    return at(look.show(settings).elbow) - at(look.shown.elbow)


def _tangents(along: Array) -> tuple[Array, Array]:
    """Two units (N, 3) at right angles to the units `along` and to each other."""
    least = np.eye(3)[np.argmin(np.abs(along), axis=1)]
    first = unit(np.cross(along, least))
    return first, np.cross(along, first)


MEASURES = (
    Measure(
        "elbow-speed", any_axis.ID, FACTOR, any_axis.LIMITS["elbow-speed"], _speed, _applies, _left_out,
        tolerance=TOLERANCE, search=True,
    ),
)  # fmt: skip
