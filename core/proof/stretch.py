"""`stretch`: segments as long as dials and reach say, the wrist where that puts it, the skin's volume kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .expected import Expected, expected
from .measures import FACTOR, LENGTH_LIMIT, SLIDE_LIMIT, Measured, at, distance, held_arm, slide, turn
from .run_plan import RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "stretch"
MODES: tuple[str, ...] = ("none", "hand", "elbow", "both")
LIMITS = {
    "wrist-error": SLIDE_LIMIT,
    "upper-length": LENGTH_LIMIT,
    "forearm-length": LENGTH_LIMIT,
    "upper-volume": LENGTH_LIMIT,
    "forearm-volume": LENGTH_LIMIT,
    "upper-skin-gap": SLIDE_LIMIT,
    "forearm-skin-gap": SLIDE_LIMIT,
}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Wrist error (L), lengths over rest lengths, widths and x·y·z of the skin, its end against the joint (L).

    The wrist is compared with where docs/arm.md has it: on the hold where the arm reaches it, and otherwise on the
    straight line to it, short by exactly the missing distance.
    """
    geometry, samples = run.geometry, run.samples
    goal = expected(run)
    upper, fore = goal.upper / geometry.upper_length, goal.forearm / geometry.forearm_length
    shoulder, elbow, wrist = at(samples.upper_arm), at(samples.elbow), at(samples.wrist)
    return (
        slide(run, "wrist-error", wrist, wanted_wrist(run, goal)),
        _factor("upper-length", distance(shoulder, elbow) / geometry.upper_length - upper),
        _factor("forearm-length", distance(elbow, wrist) / geometry.forearm_length - fore),
        _factor("upper-volume", volume_error(samples.skin_upper_arm, upper, run.settings.volume)),
        _factor("forearm-volume", volume_error(samples.skin_forearm, fore, run.settings.volume)),
        slide(run, "upper-skin-gap", skin_end(samples.skin_upper_arm, geometry.upper_length), elbow),
        slide(run, "forearm-skin-gap", skin_end(samples.skin_forearm, geometry.forearm_length), wrist),
    )


def wanted_wrist(run: ArmRun, goal: Expected) -> Array:
    """Where the wrist should be, (N, 3): by IK, by the held elbow's FK forearm, or along the host's FK arm."""
    if run.case.ik == 1.0:
        return goal.ik_wrist
    if run.case.elbow == 1.0:
        return goal.held_elbow + held_arm(run)[0][..., 1] * goal.forearm[:, None]
    samples = run.samples
    elbow = at(samples.upper_arm) + turn(samples.upper_arm)[..., 1] * goal.upper[:, None]
    return np.asarray(elbow + turn(samples.forearm)[..., 1] * goal.forearm[:, None])


def volume_error(skin: Array, factor: Array, volume: Array) -> Array:
    """Largest error, (N,), of x·y·z against c^(1 - volume) and of x and z against c^(-volume / 2): docs/arm.md, 13."""
    size = np.linalg.norm(turn(skin), axis=-2)
    product = np.prod(size, axis=-1) - factor ** (1.0 - volume)
    widths = size[:, [0, 2]] - (factor ** (-0.5 * volume))[:, None]
    return np.asarray(np.maximum(np.abs(product), np.abs(widths).max(axis=-1)))


def skin_end(skin: Array, rest_length: float) -> Array:
    """Far end of the skin, (N, 3): at volume 1 the product of its axes can not tell a bone that does not stretch."""
    return at(skin) + turn(skin)[..., 1] * rest_length


def _factor(name: str, error: Array) -> Measured:
    return Measured(name, FACTOR, np.abs(error), LENGTH_LIMIT)
