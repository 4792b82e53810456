"""FK and isolation: joints turn by their channels alone, and an isolated arm does not turn with torso and clavicle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...proof import swing
from ...proof.isolate import wanted_upper_arm
from ...proof.measures import DEGREES, LENGTHS, SLIDE_LIMIT, TURN_LIMIT, at, distance, turn, turn_error
from ...solve.rest import rest_settings
from ..look import Look
from ..measure import Measure

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def _free(look: Look) -> Mask:
    return np.asarray((look.settings.ik == 0.0) & (look.settings.elbow == 0.0))


def _isolated(look: Look) -> Mask:
    return np.asarray(_free(look) & (look.settings.isolate == 1.0))


def _swing_error(look: Look) -> Array:
    """The largest error of clavicle, forearm and hand against the joint above them; `slerp-error` has the upper arm."""
    found = [item.values for item in swing.measure(look.run) if item.measure != "upper-arm"]
    return np.asarray(np.max(found, axis=0))


def _slerp_error(look: Look) -> Array:
    return turn_error(turn(look.shown.upper_arm), wanted_upper_arm(look.run))


def _drift(look: Look) -> Array:
    """How far the isolated upper arm turns when torso and clavicle go back to rest."""
    rest = rest_settings(look.geometry, len(look.settings.ik))
    still = look.show(replace(look.settings, torso=rest.torso, clavicle=rest.clavicle))
    return turn_error(turn(look.shown.upper_arm), turn(still.upper_arm))


def _travel(look: Look) -> Array:
    clavicle = look.shown.clavicle
    tip = at(clavicle) + turn(clavicle)[..., 1] * look.geometry.clavicle_length
    return distance(at(look.shown.upper_arm), tip) / look.size


def _halfway(look: Look) -> Mask:
    return look.near.halfway


MEASURES = (
    Measure("swing-error", "swing", DEGREES, TURN_LIMIT, _swing_error, _free, tolerance=TURN_LIMIT),
    Measure("isolate-error", "isolate", DEGREES, TURN_LIMIT, _slerp_error, _free, _halfway, tolerance=TURN_LIMIT),
    Measure("isolate-drift", "isolate", DEGREES, TURN_LIMIT, _drift, _isolated, tolerance=TURN_LIMIT),
    Measure("shoulder-travel", "isolate", LENGTHS, SLIDE_LIMIT, _travel),
)
