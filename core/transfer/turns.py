"""From recorded directions to orientations of the segments: hinges, rolls and hands."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..rotations import axis_matrix, slerp_matrices, swing
from ..solve.settings import ArmGeometry
from .mapped import MappedArm

Array = NDArray[np.float64]

# Sine of the elbow's flexion from which on the plane of the joints says the upper arm's roll, and below which it says
# nothing (5 and 15 degrees): a marker's noise turns the plane of a nearly straight arm about.
LEAST_SINE, SURE_SINE = np.sin(np.radians(5.0)), np.sin(np.radians(15.0))
# Seconds over which the roll is averaged, weighted by how sure it is: as the fitted speeds of a study.
ROLL_WINDOW = 0.17


@dataclass(frozen=True)
class Turns:
    """Orientations of upper arm, forearm and hand, (N, 3, 3) each, armature space, the rig's axes."""

    upper_arm: Array
    forearm: Array
    hand: Array


def turns_of(geometry: ArmGeometry, arm: MappedArm, rate: float) -> Turns:
    """Orientations whose Y axes are the recorded directions.

    The upper arm's roll puts its hinge at right angles to the plane of the joints. All of the hand's roll against the
    forearm is the forearm's (pronation); a hand of which only the direction is known, or nothing, adds none.
    """
    rests = [frame[:3, :3] for frame in (geometry.upper_arm, geometry.forearm, geometry.hand)]
    upper = _hinged(geometry, arm, rate)
    level = flat_forearm(geometry, upper, arm.forearm)
    carried = level @ (rests[1].T @ rests[2])
    if arm.hand is None:
        hand = carried if arm.along is None else swing(carried, arm.along)
        return Turns(upper, level, hand)
    return Turns(upper, level @ axis_matrix("Y", forearm_roll(geometry, level, arm.hand)), arm.hand)


def flat_forearm(geometry: ArmGeometry, upper: Array, along: Array) -> Array:
    """Orientations (N, 3, 3) of forearms along `along` (N, 3) that have no roll of their own on upper arms `upper`."""
    return swing(upper @ (geometry.upper_arm[:3, :3].T @ geometry.forearm[:3, :3]), along)


def forearm_roll(geometry: ArmGeometry, level: Array, hand: Array) -> Array:
    """Roll (N,), radians, continuous, of forearms `level` (N, 3, 3) by which no twist is left to hands (N, 3, 3)."""
    asked = hand @ (geometry.hand[:3, :3].T @ geometry.forearm[:3, :3])
    turn = np.swapaxes(level, -1, -2) @ asked
    return np.asarray(np.unwrap(np.arctan2(turn[:, 0, 2] - turn[:, 2, 0], turn[:, 0, 0] + turn[:, 2, 2])))


def _hinged(geometry: ArmGeometry, arm: MappedArm, rate: float) -> Array:
    """Upper arms along the recorded direction, X along the elbow's hinge where the elbow tells it."""
    carried = geometry.upper_arm[:3, :3]
    frames = np.empty((len(arm.upper_arm), 3, 3))
    last = carried
    # Carried along without a roll, so that a roll against it is continuous.
    for row, along in enumerate(arm.upper_arm):
        last = swing(last[None], along[None])[0]
        frames[row] = last
    hinge = np.cross(arm.upper_arm, arm.forearm)
    sine = np.linalg.norm(hinge, axis=1)
    seen = np.einsum("fji,fj->fi", frames, hinge)
    # A roll about Y by φ takes X to (cos φ, 0, -sin φ).
    sure = np.clip((sine - LEAST_SINE) / (SURE_SINE - LEAST_SINE), 0.0, 1.0)
    rolls = _smoothed(_filled(np.arctan2(-seen[:, 2], seen[:, 0]), sure), sure, rate)
    return np.asarray(frames @ axis_matrix("Y", rolls))


def _filled(angles: Array, sure: Array) -> Array:
    """Angles (N,) unwrapped over the frames that are sure, straight in between."""
    known = np.flatnonzero(sure > 0.0)
    if len(known) == 0:
        return np.zeros_like(angles)
    return np.asarray(np.interp(np.arange(len(angles)), known, np.unwrap(angles[known])))


def _smoothed(angles: Array, sure: Array, rate: float) -> Array:
    """Where the plane is not sure, the weighted mean over the window takes the angle's place by as much."""
    half = max(1, round(0.5 * ROLL_WINDOW * rate))
    kernel = np.hanning(2 * half + 3)[1:-1]
    weights = sure + 1e-3
    padded_w = np.pad(weights, half, mode="edge")
    padded = np.pad(angles * weights, half, mode="edge")
    mean = np.convolve(padded, kernel, mode="valid") / np.convolve(padded_w, kernel, mode="valid")
    return np.asarray(sure * angles + (1.0 - sure) * mean)


def blended(turns: Turns, rows: NDArray[np.intp], share: Array, delta: tuple[Array, Array, Array]) -> Turns:
    """`turns` with rows turned by `share` (R,) of the turns `delta` (3, 3) of the three segments, armature space."""
    out = {}
    for name, turn in zip(("upper_arm", "forearm", "hand"), delta, strict=True):
        values = getattr(turns, name).copy()
        part = slerp_matrices(
            np.broadcast_to(np.eye(3), (len(rows), 3, 3)), np.broadcast_to(turn, (len(rows), 3, 3)), share
        )
        values[rows] = part @ values[rows]
        out[name] = values
    return replace(turns, **out)
