"""Where a proof puts the holds of a planted hand: still ones, from which it stays in reach all the way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import ProofError
from ..solve.arm import solve
from ..solve.plant import goal_in_hold
from ..solve.settings import ArmGeometry, ArmPose, ArmSettings, Array
from .expected import reach_limits
from .holds import Reach, near_place
from .measures import arm_length, at, turn, unit

# The lift moves the shoulder and the shoulder the place: see run_settings.py.
ROUNDS = 2


def planted(settings: ArmSettings) -> bool:
    """Whether a dial of the planted hand is used."""
    return bool(settings.hand_roll.any() or settings.hand_side.any() or settings.hand_spin.any())


def planted_settings(
    geometry: ArmGeometry, free: ArmSettings, loose: ArmPose, hand_at: Array, what: str
) -> ArmSettings:
    """`free` with a hand hold that does not move, near `hand_at` (3,), turned like the hand of `loose`.

    Where the elbow is held as well, its hold goes along, at the forearm's length from the wrist. Where no place keeps
    all of the motion in reach, the checks say so.
    """
    turned = loose.hand[0]
    # How the wrist travels while the hold is still.
    moves = at(goal_in_hold(geometry, free)) @ turned.T
    size, count = arm_length(geometry), len(moves)
    a, b = geometry.upper_length * free.upper_length, geometry.forearm_length * free.forearm_length
    options, ones = geometry.options, np.ones(count)
    nearest, furthest = reach_limits((a, b), options.fold_limit)
    held = bool(free.elbow.any())
    natural = loose.elbow[0] if held else hand_at
    if held:
        wrist = hand_at + moves
        follow = wrist + unit(loose.elbow[0] - wrist) * b[:, None] - loose.elbow[0]
        nearest, furthest = (
            options.shortest * geometry.upper_length * ones,
            options.longest * geometry.upper_length * ones,
        )
    settings = free
    for _ in range(ROUNDS if free.lift.any() else 1):
        shoulder = solve(geometry, settings).shoulder
        reach = Reach(shoulder, follow if held else moves, nearest, furthest, size, None if held else free.aim)
        try:
            place = near_place(reach, natural, what)
        except ProofError:
            place = natural
        hold = np.broadcast_to(np.eye(4), (count, 4, 4)).copy()
        hold[:, :3, :3], hold[:, :3, 3] = turned, hand_at + place - natural
        settings = replace(free, hand_hold=hold)
        if held:
            elbow = np.broadcast_to(np.eye(4), (count, 4, 4)).copy()
            elbow[:, :3, :3], elbow[:, :3, 3] = turn(free.elbow_hold), place + follow
            settings = replace(settings, elbow_hold=elbow)
    return settings
