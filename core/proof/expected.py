"""Where docs/arm.md puts elbow and wrist, seen from the shoulder that the host showed.

Looking from the sampled shoulder keeps what a measure says about a hold apart from what it says about the clavicle.
The elbow dial is taken as held where it is 1, as free elsewhere; the runs of a proof set it to 0 or 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..solve.settings import ArmGeometry, ArmSettings
from .measures import at, distance, unit
from .samples import ArmRun

Array = NDArray[np.float64]

# An elbow this far off the line from shoulder to wrist, over the arm's length, moves at most 2.5 times as far as the
# wrist (of equal segments: slope 1 / (4 · 0.1)); nearer, rounding grows without bound: docs/arm.md, "singular".
BENT = 0.1
TINY = 1e-12  # metres; keeps a division by a distance of zero finite


@dataclass(frozen=True, eq=False)
class Expected:
    """Attributes:
    ik_elbow, ik_wrist: (N, 3), the joints at ik 1, metres.
    bent: (N,), whether the IK elbow is bent enough for its place to be exact: see `BENT`.
    held_elbow: (N, 3), the elbow where it is held.
    upper, forearm: (N,), lengths at the run's ik dial, metres.
    elbow_missing, hand_missing: (N,), metres, that the elbow and the hand hold are out of reach.
    """

    ik_elbow: Array
    ik_wrist: Array
    bent: NDArray[np.bool_]
    held_elbow: Array
    upper: Array
    forearm: Array
    elbow_missing: Array
    hand_missing: Array


def expected(run: ArmRun) -> Expected:
    """Docs/arm.md, 5 to 7, 10, 11 and 14, for the run's sampled shoulder."""
    geometry, settings, options = run.geometry, run.settings, run.geometry.options
    shoulder = at(run.samples.upper_arm)
    hand, hold = at(settings.hand_hold), at(settings.elbow_hold)
    a, b = geometry.upper_length * settings.upper_length, geometry.forearm_length * settings.forearm_length

    grown, _, along, aside = triangle(geometry, settings, a, b, distance(hand, shoulder))
    to_hand = unit(hand - shoulder)
    to_aim = settings.aim - shoulder
    to_side = unit(to_aim - to_hand * np.sum(to_aim * to_hand, axis=1, keepdims=True))
    free_elbow = shoulder + grown[:, None] * (along[:, None] * to_hand + aside[:, None] * to_side)

    far = distance(hold, shoulder)
    held_length = np.clip(far, options.shortest * geometry.upper_length, options.longest * geometry.upper_length)
    held_elbow = shoulder + unit(hold - shoulder) * held_length[:, None]

    held = settings.elbow == 1.0
    ik_elbow = np.where(held[:, None], held_elbow, free_elbow)
    need = distance(hand, ik_elbow)
    asked = np.clip(need / b, options.shortest, options.stretch_limit)
    fore = b * (1.0 + settings.stretch * (asked - 1.0))
    ik = settings.ik
    return Expected(
        ik_elbow=ik_elbow,
        bent=aside > BENT * (a + b),
        ik_wrist=ik_elbow + unit(hand - ik_elbow) * fore[:, None],
        held_elbow=held_elbow,
        upper=np.where(held, held_length, a + ik * (a * grown - a)),
        forearm=b + ik * (fore - b),
        elbow_missing=np.abs(far - held_length),
        hand_missing=np.abs(need - fore),
    )


def reach_limits(run_lengths: tuple[Array, Array], fold_limit: float) -> tuple[Array, Array]:
    """Nearest and furthest distance (N,) from shoulder to wrist, metres, for dialled segment lengths (N,)."""
    a, b = run_lengths
    return np.sqrt(np.maximum(a * a + b * b + 2.0 * a * b * np.cos(fold_limit), 0.0)), a + b


def triangle(
    geometry: ArmGeometry, settings: ArmSettings, a: Array, b: Array, d: Array
) -> tuple[Array, Array, Array, Array]:
    """Growth of both segments, the reach before it, and the elbow's place in that along and beside the line to the
    hand, (N,) each.

    `a`, `b`: dialled lengths of the segments; `d`: distance from shoulder to hand, (N,), metres.
    """
    options = geometry.options
    nearest, whole = reach_limits((a, b), options.fold_limit)
    knee = settings.soft * options.soft_share * whole
    beyond = np.maximum(d - (whole - knee), 0.0)
    softened = knee * np.exp(-beyond / np.maximum(knee, TINY))
    slack = np.minimum(np.where(d <= whole - knee, whole - d, softened), whole - nearest)
    reach = whole - slack
    grown = 1.0 + settings.stretch * (np.clip(d / reach, 1.0, options.stretch_limit) - 1.0)
    along = (a * a - b * b + reach * reach) / (2.0 * reach)
    return grown, reach, along, np.sqrt(np.maximum(a * a - along * along, 0.0))
