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
}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Wrist error (L), lengths over rest lengths, x·y·z of the skin against c^(1 - volume), c its length factor.

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
        _factor("upper-volume", _volume(samples.skin_upper_arm) - upper ** (1.0 - run.settings.volume)),
        _factor("forearm-volume", _volume(samples.skin_forearm) - fore ** (1.0 - run.settings.volume)),
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


def _volume(skin: Array) -> Array:
    """Product of the lengths of a bone's axes, (N,)."""
    return np.asarray(np.prod(np.linalg.norm(turn(skin), axis=-2), axis=-1))


def _factor(name: str, error: Array) -> Measured:
    return Measured(name, FACTOR, np.abs(error), LENGTH_LIMIT)
