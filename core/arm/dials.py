"""The arm's dials: custom properties of the clavicle control, which every mode shows."""

from __future__ import annotations

import math

from ..plan.draft import Draft
from ..plan.model import Property
from . import names as n
from .context import ArmContext
from .plant import default_bend

# key, default, low, high, help
DIALS: tuple[tuple[str, float, float, float, str], ...] = (
    (n.IK, 0.0, 0.0, 1.0, "0: the arm swings free (FK). 1: the hand stays at the hand hold (IK)"),
    (n.ELBOW, 0.0, 0.0, 1.0, "1: the elbow stays at the elbow hold, and the forearm turns in the hold's frame"),
    (
        n.ISOLATE,
        0.0,
        0.0,
        1.0,
        "1: the FK arm does not turn with the torso or the clavicle; it still travels with the shoulder",
    ),
    (n.LIFT, 1.0, 0.0, 1.0, "How much the shoulder lifts by itself as the arm is raised"),
    (n.STRETCH, 0.0, 0.0, 1.0, "How much the IK arm lengthens to reach a hold that is too far away"),
    (n.SOFT, 0.0, 0.0, 1.0, "How early the elbow slows down before the arm is straight"),
    (n.VOLUME, 1.0, 0.0, 1.0, "How much a longer segment gets thinner"),
    (n.UPPER_LENGTH, 1.0, 0.25, 4.0, "Length of the upper arm over its length at rest"),
    (n.FOREARM_LENGTH, 1.0, 0.25, 4.0, "Length of the forearm over its length at rest"),
    (
        n.UPPER_ROLL,
        0.0,
        -math.pi,
        math.pi,
        "Roll of the held arm's upper arm about itself; switching sets it so that nothing turns",
    ),
    (
        n.HAND_ROLL,
        0.0,
        -math.pi / 2.0,
        math.pi,
        "Rolls the held hand over its heel (below 0), or over its knuckles and on over its fingertips",
    ),
    (
        n.HAND_SIDE,
        0.0,
        -math.pi / 2.0,
        math.pi / 2.0,
        "Rolls the held hand over its outer edge, or below 0 over the thumb's",
    ),
    (n.HAND_SPIN, 0.0, -math.pi, math.pi, "Turns the held hand on its palm; above 0 towards the thumb's side"),
    (
        n.FINGER_BEND,
        0.0,
        0.0,
        math.pi / 2.0,
        "How far the fingers bend back before a hand that rolls over its knuckles goes on over its fingertips",
    ),
)
# Dials in radians.
ANGLES = (n.UPPER_ROLL, n.HAND_ROLL, n.HAND_SIDE, n.HAND_SPIN, n.FINGER_BEND)


def add_dials(draft: Draft, arm: ArmContext) -> None:
    """Add the dials to the clavicle control."""
    for key, default, low, high, help in DIALS:
        unit = "angle" if key in ANGLES else ""
        if key == n.FINGER_BEND:
            default = default_bend(arm)
        draft.properties.append(Property(arm.names.fk_clavicle, key, default, low, high, help, unit=unit))
