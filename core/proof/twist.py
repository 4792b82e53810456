"""`twist`: the roll of upper arm and forearm spreads evenly over the bones that carry their skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..rotations import swing
from .measures import (
    DEGREES,
    FACTOR,
    LENGTH_LIMIT,
    LENGTHS,
    SLIDE_LIMIT,
    Measured,
    arm_length,
    at,
    carried,
    distance,
    turn,
    turn_error,
    unit,
)
from .run_plan import RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "twist"
MODES: tuple[str, ...] = ("none", "hand", "elbow", "both")
# Design, section 2, twist: share at each bone.
SHARE_LIMIT = 1e-4
# Design, section 3: host and reference solver; an end is behind a swing and a roll in single precision.
END_LIMIT = 5e-3
LIMITS = {
    "twist-share": SHARE_LIMIT,
    "twist-backwards": SHARE_LIMIT,
    "twist-end": END_LIMIT,
    "twist-gap": SLIDE_LIMIT,
    "twist-width": LENGTH_LIMIT,
}
# A share is a quotient: under a smaller roll it would be made of rounding. Radians.
LEAST_ROLL = np.radians(10.0)
# Nearer to half a turn than this a roll may come out on either side of it. Radians.
HALF_TURN = np.radians(179.0)


@dataclass(frozen=True)
class _Segment:
    """Skin bones (N, K, 4, 4) and, (N, 3, 3), where their roll starts and where it ends; joints (N, 3)."""

    bones: Array
    start: Array
    end: Array
    near: Array
    far: Array


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """The worst of both segments and all their bones, frame by frame, all from what the host showed.

    The roll of a bone over the whole roll against its share; how far the shares run backwards; the orientation of the
    bones at both ends, degrees; the bones' heads against their places between the joints, L; their width and length
    against the first bone's.
    """
    samples = run.samples
    if not samples.upper_skin.size or not samples.forearm_skin.size:
        note = "the rig has no skin bones that share a roll"
        none = np.zeros(len(samples.wrist))
        return tuple(
            Measured(name, _UNITS[name], none, limit, note=note, not_applicable=True) for name, limit in LIMITS.items()
        )
    worst: dict[str, Array] = {}
    for segment in _segments(run):
        for name, values in _errors(segment, arm_length(run.geometry)).items():
            worst[name] = np.maximum(worst[name], values) if name in worst else values
    return tuple(Measured(name, _UNITS[name], worst[name], limit) for name, limit in LIMITS.items())


_UNITS = {
    "twist-share": FACTOR,
    "twist-backwards": FACTOR,
    "twist-end": DEGREES,
    "twist-gap": LENGTHS,
    "twist-width": FACTOR,
}


def _segments(run: ArmRun) -> tuple[_Segment, _Segment]:
    """Where each roll starts: the smallest swing off the rest direction as clavicle or upper arm carries it.

    The upper arm's ends with the upper arm; the forearm's with the hand, but about the forearm's axis.
    """
    geometry, samples = run.geometry, run.samples
    upper = turn(samples.upper_arm)
    fore_axis = unit(at(samples.wrist) - at(samples.elbow))
    upper_start = swing(carried(samples.clavicle, geometry.clavicle, geometry.upper_arm), upper[..., 1])
    fore_start = swing(carried(samples.upper_arm, geometry.upper_arm, geometry.forearm), fore_axis)
    fore_end = swing(carried(samples.hand, geometry.hand, geometry.forearm), fore_axis)
    return (
        _Segment(samples.upper_skin, upper_start, upper, at(samples.upper_arm), at(samples.elbow)),
        _Segment(samples.forearm_skin, fore_start, fore_end, at(samples.elbow), at(samples.wrist)),
    )


def _errors(segment: _Segment, size: float) -> dict[str, Array]:
    """Each measure (N,) of one segment; `size` is L in metres."""
    count = segment.bones.shape[1]
    wanted = np.linspace(0.0, 1.0, count) if count > 1 else np.ones(1)
    scale = np.linalg.norm(turn(segment.bones), axis=-2)
    axes = turn(segment.bones) / scale[..., None, :]
    whole = _roll(segment.start, segment.end)
    rolls = _roll(segment.start[:, None], axes)
    asked = (np.abs(whole) > LEAST_ROLL) & (np.abs(whole) < HALF_TURN)
    # A number that is none must not be left out with the small rolls.
    asked |= ~np.isfinite(whole)
    share = rolls / np.where(asked, whole, 1.0)[:, None]
    backwards = np.maximum(-np.diff(share, axis=1), 0.0).max(axis=1) if count > 1 else np.zeros(len(whole))
    steps = np.arange(count)[:, None] / count
    places = segment.near[:, None] + steps * (segment.far - segment.near)[:, None]
    end = turn_error(axes[:, -1], segment.end)
    if count > 1:
        end = np.maximum(end, turn_error(axes[:, 0], segment.start))
    return {
        "twist-share": np.where(asked, np.abs(share - wanted).max(axis=1), 0.0),
        "twist-backwards": np.where(asked, backwards, 0.0),
        "twist-end": end,
        "twist-gap": distance(at(segment.bones), places).max(axis=1) / size,
        "twist-width": np.abs(scale / scale[:, :1] - 1.0).max(axis=(1, 2)),
    }


def _roll(start: Array, end: Array) -> Array:
    """Angle about their common Y axis from orientations `start` to `end` (..., 3, 3), radians, -π to π."""
    turned = np.swapaxes(start, -1, -2) @ end
    return np.asarray(np.arctan2(turned[..., 0, 2] - turned[..., 2, 0], turned[..., 0, 0] + turned[..., 2, 2]))
