"""The chain holds together whatever the dials say: joints on their segments, segments and skin at their lengths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...proof.blend import gap
from ...proof.measures import FACTOR, LENGTH_LIMIT, LENGTHS, SLIDE_LIMIT, at, distance
from ...proof.stretch import skin_end, volume_error
from ..look import Look
from ..measure import Measure

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def _elbow_gap(look: Look) -> Array:
    shown = look.shown
    return gap(shown.upper_arm, at(shown.elbow), shown.forearm) / look.size


def _wrist_gap(look: Look) -> Array:
    shown = look.shown
    return gap(shown.forearm, at(shown.wrist), shown.hand) / look.size


def _upper(look: Look) -> Array:
    return distance(at(look.shown.elbow), at(look.shown.upper_arm)) / look.geometry.upper_length


def _forearm(look: Look) -> Array:
    return distance(at(look.shown.wrist), at(look.shown.elbow)) / look.geometry.forearm_length


def _upper_error(look: Look) -> Array:
    free, held = look.goal_with(0.0).upper, look.goal_with(1.0).upper
    return _upper(look) - (free + look.settings.elbow * (held - free)) / look.geometry.upper_length


def _forearm_error(look: Look) -> Array:
    return _forearm(look) - look.goal.forearm / look.geometry.forearm_length


def _upper_volume(look: Look) -> Array:
    return volume_error(look.shown.skin_upper_arm, _upper(look), look.settings.volume)


def _forearm_volume(look: Look) -> Array:
    return volume_error(look.shown.skin_forearm, _forearm(look), look.settings.volume)


def _skin_gap(look: Look) -> Array:
    geometry, shown = look.geometry, look.shown
    upper = distance(skin_end(shown.skin_upper_arm, geometry.upper_length), at(shown.elbow))
    fore = distance(skin_end(shown.skin_forearm, geometry.forearm_length), at(shown.wrist))
    return np.asarray(np.maximum(upper, fore) / look.size)


def _elbow_dial_at_an_end(look: Look) -> Mask:
    return np.asarray((look.settings.elbow == 0.0) | (look.settings.elbow == 1.0))


MEASURES = (
    Measure("elbow-gap", "blend", LENGTHS, SLIDE_LIMIT, _elbow_gap),
    Measure("wrist-gap", "blend", LENGTHS, SLIDE_LIMIT, _wrist_gap),
    Measure("upper-length", "stretch", FACTOR, LENGTH_LIMIT, _upper_error, tolerance=LENGTH_LIMIT),
    # Between the ends of the elbow dial the IK elbow, to which the forearm's stretch refers, is no joint of the arm.
    Measure(
        "forearm-length", "stretch", FACTOR, LENGTH_LIMIT, _forearm_error, _elbow_dial_at_an_end,
        lambda look: look.near.aim | look.near.hold, tolerance=LENGTH_LIMIT,
    ),
    Measure("upper-volume", "stretch", FACTOR, LENGTH_LIMIT, _upper_volume, tolerance=LENGTH_LIMIT),
    Measure("forearm-volume", "stretch", FACTOR, LENGTH_LIMIT, _forearm_volume, tolerance=LENGTH_LIMIT),
    Measure("skin-gap", "stretch", LENGTHS, SLIDE_LIMIT, _skin_gap),
)  # fmt: skip
