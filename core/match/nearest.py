"""The pose nearest to the one before that a mode's segment lengths allow: the wrist first, then the elbow.

The shoulder is where it was. All points (N, 3), armature space, metres; lengths (N,).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from ..rotations import swing, unit
from ..solve.settings import Array

# Two lengths that differ by less than this part of the arm's length are the same.
SAME = 1e-13
# By how much of the arm's length the elbow may be off where the hinge says that it is; and how many roundings.
HINGE_ROUNDING, HINGE_ROUNDINGS = 2e-10, 10.0

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Joints:
    """An arm's joints (N, 3) and the orientations (N, 3, 3) of its segments."""

    shoulder: Array
    elbow: Array
    wrist: Array
    upper_arm: Array
    forearm: Array
    hand: Array

    @property
    def upper_length(self) -> Array:
        """Metres, (N,)."""
        return np.asarray(np.linalg.norm(self.elbow - self.shoulder, axis=-1))

    @property
    def forearm_length(self) -> Array:
        """Metres, (N,)."""
        return np.asarray(np.linalg.norm(self.wrist - self.elbow, axis=-1))


@dataclass(frozen=True)
class LengthLimits:
    """Least and most length (N,) of the upper arm and of the forearm, metres; `elbow_first` (N,): the elbow is held."""

    upper_least: Array
    upper_most: Array
    forearm_least: Array
    forearm_most: Array
    elbow_first: Flags


def nearest_joints(joints: Joints, limits: LengthLimits) -> Joints:
    """The joints with segments within the limits.

    The wrist stays where it is if any such arm reaches it; of the elbows that then are allowed the one nearest to the
    elbow before is taken, which lies in the same plane, on the same side. Otherwise the arm points at the wrist, or
    away from it, as far as it goes. A held elbow comes before the wrist: it goes along the upper arm as far as it may,
    and the forearm then points at the wrist. Segments that move are swung; the hand keeps its orientation.
    """
    size = joints.upper_length + joints.forearm_length
    slack = SAME * size
    kept = _within(joints.upper_length, limits.upper_least, limits.upper_most, slack) & _within(
        joints.forearm_length, limits.forearm_least, limits.forearm_most, slack
    )
    if bool(kept.all()):
        return joints
    elbow, wrist = _moved(joints, limits, slack)
    upper = swing(joints.upper_arm, elbow - joints.shoulder)
    fore = swing(joints.forearm, wrist - elbow)
    return Joints(
        shoulder=joints.shoulder,
        elbow=np.where(kept[:, None], joints.elbow, elbow),
        wrist=np.where(kept[:, None], joints.wrist, wrist),
        upper_arm=np.where(kept[:, None, None], joints.upper_arm, upper),
        forearm=np.where(kept[:, None, None], joints.forearm, fore),
        hand=joints.hand,
    )


def picked_joints(joints: Joints, which: Flags) -> Joints:
    """Some of the frames."""
    return Joints(**{item.name: getattr(joints, item.name)[which] for item in fields(Joints)})


def bend_side(joints: Joints, along: Array, precision: float = 0.0) -> Array:
    """Units (N, 3) at right angles to the units `along`, towards the elbow; the hinge's side for a straight arm.

    The hinge (the upper arm's X) says the side wherever its word moves the elbow by no more than rounding: a nearly
    straight elbow says it coarsely. `precision`: rounding of the joints, a part of the arm's length.
    """
    aside = across(joints.elbow - joints.shoulder, along)
    height = np.linalg.norm(aside, axis=-1)
    hinge = np.cross(along, joints.upper_arm[..., :, 0])
    hinge_size = np.linalg.norm(hinge, axis=-1)
    hinge = hinge / np.where(hinge_size > 0.0, hinge_size, 1.0)[:, None]
    off = np.linalg.norm(aside - hinge * height[:, None], axis=-1)
    use_hinge = off < max(HINGE_ROUNDING, HINGE_ROUNDINGS * precision) * (joints.upper_length + joints.forearm_length)
    return np.asarray(np.where(use_hinge[:, None], hinge, aside / np.where(height > 0.0, height, 1.0)[:, None]))


def across(vectors: Array, along: Array) -> Array:
    """The parts (N, 3) of vectors at right angles to the units `along`."""
    return np.asarray(vectors - along * np.sum(vectors * along, -1, keepdims=True))


def _within(values: Array, least: Array, most: Array, slack: Array) -> Flags:
    return np.asarray((values >= least - slack) & (values <= most + slack))


def _moved(joints: Joints, limits: LengthLimits, slack: Array) -> tuple[Array, Array]:
    """Elbow and wrist of arms whose segments are too long or too short."""
    shoulder, wrist = joints.shoulder, joints.wrist
    span = wrist - shoulder
    far = np.linalg.norm(span, axis=-1)
    along = np.where(far[:, None] > slack[:, None], span / np.where(far > 0.0, far, 1.0)[:, None], _y(joints.upper_arm))
    aside = bend_side(joints, along)

    first = (
        shoulder + _y(joints.upper_arm) * np.clip(joints.upper_length, limits.upper_least, limits.upper_most)[:, None]
    )
    back = np.clip(joints.forearm_length, limits.forearm_least, limits.forearm_most)
    second = wrist - _y(joints.forearm) * back[:, None]
    candidates = [first, second]
    for upper in (limits.upper_least, limits.upper_most):
        for fore in (limits.forearm_least, limits.forearm_most):
            x = (upper * upper - fore * fore + far * far) / (2.0 * np.where(far > 0.0, far, 1.0))
            height = np.sqrt(np.maximum(0.0, upper * upper - x * x))
            candidates.append(shoulder + along * x[:, None] + aside * height[:, None])
    best = candidates[0]
    best_off = np.full(len(far), np.inf)
    for elbow in candidates:
        fits = _within(
            np.linalg.norm(elbow - shoulder, axis=-1), limits.upper_least, limits.upper_most, slack
        ) & _within(np.linalg.norm(wrist - elbow, axis=-1), limits.forearm_least, limits.forearm_most, slack)
        off = np.where(fits, np.linalg.norm(elbow - joints.elbow, axis=-1), np.inf)
        best = np.where((off < best_off)[:, None], elbow, best)
        best_off = np.minimum(off, best_off)
    elbow, end = _pointing(limits, far, along, shoulder)
    reached = np.isfinite(best_off)[:, None]
    elbow, end = np.where(reached, best, elbow), np.where(reached, wrist, end)
    gap = np.clip(np.linalg.norm(wrist - first, axis=-1), limits.forearm_least, limits.forearm_most)
    held_end = first + unit(wrist - first) * gap[:, None]
    held = limits.elbow_first[:, None]
    return np.where(held, first, elbow), np.where(held, held_end, end)


def _pointing(limits: LengthLimits, far: Array, along: Array, shoulder: Array) -> tuple[Array, Array]:
    """Elbow and wrist of arms that do not reach: straight at a wrist too far, folded for one too near."""
    too_far = far > limits.upper_most + limits.forearm_most
    long_upper = limits.upper_least > limits.forearm_most
    upper = np.where(too_far, limits.upper_most, np.where(long_upper, limits.upper_least, -limits.upper_most))
    fore = np.where(too_far, limits.forearm_most, np.where(long_upper, -limits.forearm_most, limits.forearm_least))
    elbow = shoulder + along * upper[:, None]
    return elbow, elbow + along * fore[:, None]


def _y(turns: Array) -> Array:
    return np.asarray(turns[..., :, 1])
