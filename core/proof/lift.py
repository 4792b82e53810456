"""`lift`: the shoulder rises with the raised arm, by its dial, along the anatomical rhythm, in every mode."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..anatomy import SHOULDER_HALF_BREADTH, UPPER_ARM
from ..rotations import axis_matrix
from ..solve.arm import solve
from .measures import DEGREES, FACTOR, Measured, at, turn, turn_error
from .run_plan import RAISE, RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "lift"
MODES: tuple[str, ...] = ("none", "hand", "elbow", "both")
# Design's agreement of reference solver and host, degrees: the lift is a sixth of an elevation that the host reads from
# directions in single precision.
LIFT_LIMIT = 5e-3
# Ceiling of shoulder elevation, degrees: Rettig et al. 2015.
CEILING = 32.0
# The published rise must be met within this factor, either way.
BAND = 2.0
LIMITS = {
    "lift-error": LIFT_LIMIT,
    "lift-backwards": LIFT_LIMIT,
    "lift-jump": 2.0 * LIFT_LIMIT,
    "lift-range": CEILING,
    "rise-band": BAND,
}
# Rise of the shoulder over the humerus' length, against elevation in degrees: Holzbaur et al. 2005, as packaged in
# myo-sim.
ELEVATIONS = np.array([30.0, 60.0, 90.0, 120.0, 150.0, 180.0])
RISES = np.array([0.024, 0.054, 0.087, 0.124, 0.162, 0.200])
# Clavicle over upper arm of a person: Winter, fig. 4.1, shoulder half-breadth 0.129 over upper arm 0.186.
PERSONS_RATIO = SHOULDER_HALF_BREADTH / UPPER_ARM
# Give or take a half: the published rise of a person says nothing about other shoulders.
PERSON = (0.35, 1.05)
# Steepest slope of the rhythm: docs/arm.md, 4.
STEEPEST = 1.0 / 3.0


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """The lifted clavicle against the reference solver's; while the arm is raised: monotone, continuous, in its range.

    Where the dial is 0 nothing may lift, whatever a solver says.
    """
    shoulder = at(run.samples.upper_arm)
    if not run.settings.lift.any():
        return (Measured("lift-error", DEGREES, lift_error(run, np.zeros(len(shoulder))), LIFT_LIMIT),)
    pose = solve(run.geometry, run.settings)
    error = Measured("lift-error", DEGREES, lift_error(run, pose.lift), LIFT_LIMIT, pose.shoulder, shoulder)
    if run.motion != RAISE:
        return (error,)
    lift, elevation = np.degrees(lift_angle(run)), np.degrees(pose.elevation)
    up, raised = np.diff(lift, prepend=lift[0]), np.diff(elevation, prepend=elevation[0])
    backwards = np.maximum(-up * np.sign(raised), 0.0)
    steepest = run.settings.lift * run.geometry.options.lift_share * STEEPEST * np.abs(raised)
    measured = (
        error,
        Measured("lift-backwards", DEGREES, backwards, LIFT_LIMIT),
        Measured("lift-jump", DEGREES, np.maximum(np.abs(up) - steepest, 0.0), 2.0 * LIFT_LIMIT),
        Measured("lift-range", DEGREES, lift - lift.min(), CEILING),
    )
    # Only the FK arm is raised all the way from hanging to overhead: a bent IK elbow starts and ends elsewhere.
    return (*measured, rise_band(run)) if run.case.mode == "none" else measured


def lift_angle(run: ArmRun) -> Array:
    """Turn of the clavicle against its control, signed, about its X axis, (N,), radians."""
    change = np.swapaxes(turn(run.samples.fk_clavicle), -1, -2) @ turn(run.samples.clavicle)
    return np.arctan2(change[:, 2, 1] - change[:, 1, 2], change[:, 1, 1] + change[:, 2, 2])


def lift_error(run: ArmRun, wanted: Array) -> Array:
    """Angle between the lifted clavicle and its control turned by `wanted` (N,), radians, about X: (N,), degrees."""
    return turn_error(turn(run.samples.clavicle), turn(run.samples.fk_clavicle) @ axis_matrix("X", wanted))


def rise_band(run: ArmRun) -> Measured:
    """Rise of the shoulder over the upper arm's length against the published one, as a factor of 1 or more, (N,).

    Rise and elevation are read from the host's bones; the first frame hangs. The table is interpolated; below 30
    degrees it says nothing and the value is 0. Published is the rise of a person: by the same angles a clavicle that is
    shorter for its upper arm raises the shoulder by as much less.
    """
    geometry, samples = run.geometry, run.samples
    down = -(turn(samples.torso) @ turn(geometry.torso).T @ geometry.up)
    return band(samples.upper_arm, down, geometry.up, geometry.clavicle_length, geometry.upper_length)


def band(upper_arm: Array, down: Array, up: Array, clavicle_length: float, upper_length: float) -> Measured:
    """`rise_band` of an upper arm's frames (N, 4, 4): `down` (N, 3) of the torso, `up` (3,) of the rise, units."""
    ratio = clavicle_length / upper_length
    shoulder = at(upper_arm)
    rise = (shoulder - shoulder[0]) @ up / upper_length
    arm = turn(upper_arm)[..., 1]
    elevation = np.degrees(np.arctan2(np.linalg.norm(np.cross(arm, down), axis=1), np.sum(arm * down, axis=1)))
    published = np.interp(elevation, ELEVATIONS, RISES) * ratio / PERSONS_RATIO
    factor = np.maximum(rise / published, published / np.maximum(rise, published / 1000.0))
    outside = not PERSON[0] <= ratio <= PERSON[1]
    return Measured(
        "rise-band",
        FACTOR,
        np.where(elevation >= ELEVATIONS[0], factor, 0.0),
        BAND,
        note=f"the clavicle is {ratio:.2f} of the upper arm, a person's about {PERSONS_RATIO:.2f}" if outside else "",
        not_applicable=outside,
    )
