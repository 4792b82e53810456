"""The lift: by the rhythm of docs/arm.md, 4, never backwards, never a jump, below the ceiling, whatever the settings.

The rhythm is written in degrees here, and the elevation is read off the shown upper arm: the solver has neither.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...proof.lift import CEILING, LIFT_LIMIT, STEEPEST, lift_angle, lift_error
from ...proof.measures import DEGREES, turn
from ...proof.samples import ArmSamples
from ...solve.settings import ArmGeometry
from ..look import Look
from ..measure import Measure

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# How far the upper arm's first channel is moved to see whether the lift follows, radians.
STEP = 0.02
LATEST_REST = 60.0  # degrees: from here on the rhythm is 2:1


def _free(look: Look) -> Mask:
    return np.asarray((look.settings.ik == 0.0) & (look.settings.elbow == 0.0))


def rhythm(elevation: Array) -> Array:
    """The scapula's turn at an elevation, degrees both."""
    return np.where(elevation < LATEST_REST, elevation**2 / 360.0, (elevation - 30.0) / 3.0)


def elevation(geometry: ArmGeometry, torso: Array, upper_arm: Array) -> Array:
    """Angle of the upper arm against the torso's own down, degrees, (N,), of poses (N, 4, 4)."""
    down = -(turn(torso) @ turn(geometry.torso).T @ geometry.up)
    arm = turn(upper_arm)[..., 1]
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(arm, down), axis=1), np.sum(arm * down, axis=1))))


def _error(look: Look) -> Array:
    geometry = look.geometry
    now = elevation(geometry, look.shown.torso, look.shown.upper_arm)
    rest = elevation(geometry, geometry.torso[None], geometry.upper_arm[None])
    wanted = look.settings.lift * geometry.options.lift_share * (rhythm(now) - rhythm(rest))
    return lift_error(look.run, np.radians(wanted))


def _step(look: Look) -> Array:
    """How far the lift goes against the arm, or faster than the rhythm's steepest slope, over a step, degrees."""
    moved = look.settings.upper_arm + np.array([STEP, 0.0, 0.0])
    after = look.show(replace(look.settings, upper_arm=moved))
    raised = _raised(look, after) - _raised(look, look.shown)
    lifted = _lifted(look, after) - _lifted(look, look.shown)
    backwards = np.maximum(-lifted * np.sign(raised), 0.0)
    steepest = look.settings.lift * look.geometry.options.lift_share * STEEPEST * np.abs(raised)
    return np.asarray(np.maximum(backwards, np.abs(lifted) - steepest))


def _raised(look: Look, shown: ArmSamples) -> Array:
    return elevation(look.geometry, shown.torso, shown.upper_arm)


def _lifted(look: Look, shown: ArmSamples) -> Array:
    return np.degrees(lift_angle(replace(look.run, samples=shown)))


def _range(look: Look) -> Array:
    return _lifted(look, look.shown)


MEASURES = (
    Measure("lift-error", "lift", DEGREES, LIFT_LIMIT, _error, _free, tolerance=LIFT_LIMIT),
    Measure("lift-step", "lift", DEGREES, LIFT_LIMIT, _step, _free, tolerance=LIFT_LIMIT),
    Measure(
        "lift-range", "lift", DEGREES, CEILING, _range, left_out=lambda look: look.near.any, tolerance=LIFT_LIMIT,
        search=True,
    ),
)  # fmt: skip
