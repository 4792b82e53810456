"""`blend`: along the FK to IK dial the joints stay together, the segments keep their lengths and nothing jumps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .expected import expected
from .measures import (
    FACTOR,
    LENGTH_LIMIT,
    LENGTHS,
    SLIDE_LIMIT,
    Measured,
    arm_length,
    at,
    distance,
    turn,
    turn_error,
)
from .run_plan import RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "blend"
MODES: tuple[str, ...] = ("none", "hand", "elbow", "both")
# `jump` has no fixed limit: see `_jump`.
LIMITS = {
    "elbow-gap": SLIDE_LIMIT,
    "wrist-gap": SLIDE_LIMIT,
    "upper-length": LENGTH_LIMIT,
    "forearm-length": LENGTH_LIMIT,
}
# The lift moves the shoulder along the ramp as well, and with it the IK end of the blend: Lc · lift_share / 3 per
# radian that the arm turns, under a tenth of the arm. Twice the bound of the still shoulder covers it.
LIFT_ROOM = 2.0


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run: its FK to IK dial sweeps, all else keeps still."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Gaps between each segment's line and the next joint (L), errors of length (over rest length), jumps (L)."""
    geometry, samples = run.geometry, run.samples
    goal = expected(run)
    elbow, wrist = at(samples.elbow), at(samples.wrist)
    upper = distance(elbow, at(samples.upper_arm)) / geometry.upper_length
    fore = distance(wrist, at(samples.forearm)) / geometry.forearm_length
    return (
        _gap(run, "elbow-gap", samples.upper_arm, elbow, samples.forearm),
        _gap(run, "wrist-gap", samples.forearm, wrist, samples.hand),
        Measured("upper-length", FACTOR, np.abs(upper - goal.upper / geometry.upper_length), LENGTH_LIMIT),
        Measured("forearm-length", FACTOR, np.abs(fore - goal.forearm / geometry.forearm_length), LENGTH_LIMIT),
        _jump(run),
    )


def _gap(run: ArmRun, name: str, segment: Array, joint: Array, after: Array) -> Measured:
    return Measured(name, LENGTHS, gap(segment, joint, after) / arm_length(run.geometry), SLIDE_LIMIT, joint, at(after))


def gap(segment: Array, joint: Array, after: Array) -> Array:
    """How far the joint (N, 3) is from the segment's axis, or the next bone's head from the joint: the larger, metres.

    `segment`, `after`: (N, 4, 4).
    """
    to_joint = joint - at(segment)
    tail = at(segment) + turn(segment)[..., 1] * np.linalg.norm(to_joint, axis=1, keepdims=True)
    return np.asarray(np.maximum(distance(tail, joint), distance(at(after), joint)))


def _jump(run: ArmRun) -> Measured:
    samples = run.samples
    segments = ((samples.upper_arm, at(samples.elbow)), (samples.forearm, at(samples.wrist)))
    return jump(segments, run.settings.ik, arm_length(run.geometry))


def jump(segments: Sequence[tuple[Array, Array]], dial: Array, size: float) -> Measured:
    """Second difference of elbow and wrist along the dial: a jump of j shows as j, smooth motion as (step)² · p''.

    `segments`: frames (N, 4, 4) of upper arm and forearm, each with the joint (N, 3) at its end; `dial` (N,) in equal
    steps; `size` is L in the frames' unit.

    The bound: an orientation slerped over the angle Ω turns at the constant rate Ω, a length changes by Δl at a
    constant rate, so a segment's end has |p''| <= Ω² l + 2 Ω |Δl|, and the wrist's is at most the sum of both
    segments'. Ω, l and Δl come from the first and last frame, which `swing` and the holds judge. Three samples with
    weights 1, 2, 1 may each be off by the limit of a gap.
    """
    step = float(np.abs(np.diff(dial)).max())
    bound = 0.0
    values = np.zeros(len(dial))
    for frames, joint in segments:
        lengths = distance(joint, at(frames))[[0, -1]]
        angle = np.radians(float(turn_error(turn(frames[0]), turn(frames[-1]))))
        bound += angle**2 * float(lengths.max()) + 2.0 * angle * abs(float(lengths[1] - lengths[0]))
        bend = np.linalg.norm(joint[2:] - 2.0 * joint[1:-1] + joint[:-2], axis=1) / size
        values[1:-1] = np.maximum(values[1:-1], bend)
    limit = LIFT_ROOM * step**2 * bound / size + 4.0 * SLIDE_LIMIT
    last = segments[-1][1]
    return Measured("jump", LENGTHS, values, limit, last, last)
