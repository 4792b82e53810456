"""How near settings are to the singular sets of docs/arm.md, decided from the settings and the reference solver."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..proof.any_axis import MARGIN, STRAIGHT
from ..proof.measures import arm_length, at, distance, shoulder_point, turn, unit
from ..proof.plant import laid_flat
from ..rotations import angle_between
from ..solve.arm import solve_parts
from ..solve.settings import ArmGeometry, ArmSettings

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# In arm lengths: a hold this near to the shoulder, a hand this near to the elbow that reaches for it.
AT_SHOULDER, AT_ELBOW = 0.02, 0.1
# Orientations nearer than this are blended without a unit result by the host: docs/arm.md, "What the host rounds".
ROUNDED = np.radians(1.62)


@dataclass(frozen=True, eq=False)
class Near:
    """Which poses are in or at each set, (N,) each; a set that the dials do not ask about holds no pose.

    Attributes:
        aim: the hand at the shoulder, or the aim on the line to it.
        hold: the elbow hold at the shoulder, or opposite to the arm.
        hand: the hand hold at the elbow, or on the far side of it: a forearm folded back onto its upper arm.
        halfway: orientations half a turn apart that are blended.
        straight: the hand where the arm is straight, without a soft reach.
        rounded: blends of orientations so near to each other that the host rounds them: no singular set.
    """

    aim: Mask
    hold: Mask
    hand: Mask
    halfway: Mask
    straight: Mask
    rounded: Mask

    @property
    def any(self) -> Mask:
        """In or at any of the singular sets."""
        return self.aim | self.hold | self.hand | self.halfway | self.straight


def near(geometry: ArmGeometry, settings: ArmSettings) -> Near:
    """The sets of docs/arm.md, "Where it is singular"; what has no number is in its set."""
    # What the arm reaches for is the hand's goal: the hold as the dials of the planted hand roll it.
    s, size = laid_flat(geometry, settings), arm_length(geometry)
    pose, parts = solve_parts(geometry, s)
    hand, elbow = at(s.hand_hold), at(s.elbow_hold)
    points = (shoulder_point(geometry, s.torso), pose.shoulder)
    asks_hand, asks_elbow = s.ik > 0.0, s.elbow > 0.0
    partly_held = asks_elbow & (s.elbow < 1.0)

    clear = np.ones(len(s.ik), dtype=bool)
    held = clear.copy()
    for point in points:
        clear &= (_sine(hand - point, s.aim - point) >= np.sin(MARGIN)) & (distance(hand, point) >= AT_SHOULDER * size)
        held &= distance(elbow, point) >= AT_SHOULDER * size
    # Wholly held, the arm points at its hold whatever it pointed at: only its roll tells, and that is as arbitrary.
    free = ((parts.elevation, points[0]), (parts.free_upper, points[1]), (parts.ik_upper, points[1]))
    rounded = np.zeros(len(s.ik), dtype=bool)
    for frames, point in free:
        held &= _apart(frames[..., 1], elbow - point)
        rounded |= partly_held & (_cosine(frames[..., 1], elbow - point) > np.cos(ROUNDED))
    to_hand = hand - parts.ik_elbow
    reached = (np.linalg.norm(to_hand, axis=1) >= AT_ELBOW * size) & _apart(parts.held_ik_upper[..., 1], to_hand)

    whole = np.ones(len(s.ik), dtype=bool)
    for first, second, dial in (
        (parts.carried, parts.level, s.isolate),
        (parts.elevation_fk, parts.elevation_ik, s.ik),
        (parts.fk_upper, parts.ik_upper, s.ik),
        (parts.fk_upper, turn(s.elbow_hold), s.elbow),
        (parts.fk_forearm, parts.ik_forearm, s.ik),
        (parts.fk_hand, turn(s.hand_hold), s.ik),
    ):
        angle = angle_between(first, second)
        blended = (dial > 0.0) & (dial < 1.0)
        whole &= ~blended | (angle < np.pi - MARGIN)
        rounded |= blended & (angle < ROUNDED)
    dialled = geometry.upper_length * s.upper_length + geometry.forearm_length * s.forearm_length
    knee = s.soft * geometry.options.soft_share
    bent = (knee >= STRAIGHT) | (np.abs(distance(hand, pose.shoulder) / dialled - 1.0) >= STRAIGHT)
    return Near(
        aim=asks_hand & ~clear,
        hold=asks_elbow & ~held,
        hand=asks_hand & ~reached,
        halfway=~whole,
        straight=asks_hand & ~bent,
        rounded=rounded,
    )


def _sine(one: Array, other: Array) -> Array:
    return np.asarray(np.linalg.norm(np.cross(unit(one), unit(other)), axis=1))


def _cosine(one: Array, other: Array) -> Array:
    return np.asarray(np.sum(unit(one) * unit(other), axis=1))


def _apart(one: Array, other: Array) -> Mask:
    """Not opposite to each other within MARGIN."""
    return np.asarray(_cosine(one, other) > -np.cos(MARGIN))
