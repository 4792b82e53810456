"""What the host's single precision leaves of a limit for an arm that is far from where places are counted from.

The host works constraints out in the world, in numbers of 24 binary digits. Two neighbouring numbers of size d are no
further apart than a step of 2^-23 d: at 1,000 m that is 0.12 mm. Every constraint takes a bone from the armature's
space to the world's and back, and each way rounds every coordinate to the nearest step: off by anything up to half of
one, 0.29 steps as a standard deviation. The bone that carries a hand's skin depends on up to 17 constraints in a row
(a test counts them): 34 roundings, 0.29 sqrt(34) = 1.7 steps a coordinate. STEPS is seven of those: of independent
roundings one pose in 10^10 is further off. Measured: 9.8 steps at the most (docs/measured.md, "Far from the origin").

So a limit holds as it stands near the origin, and is that many steps where those are more. No look at a pose can tell
less there: what it would call a slide is how the host counts.

The design's limits are of a body by the handbook, whose shoulders are 2.5 L from the ground between its feet: 2e-6 L
are 6.7 steps there. Shorter arms on the same body have the same steps, but each is a larger part of L. Their limits on
a distance are the same number of steps: as much larger as their shoulders are further away, in L. Measured: arms of
0.405 m with shoulders 3.5 L away reach 2.2e-6 L where arms of 0.564 m reach 2.0e-6 L.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..solve.settings import ArmGeometry
from .measures import DEGREES, LENGTHS, Measured, arm_length, at

# Widest distance of neighbours over their size, in single precision.
STEP = 2.0**-23
# How many steps a held joint may be off; see above.
STEPS = 12.0
# A body reaches this far from its own origin, L: the shoulder is 0.818 of the stature high, L is 0.332 of it (Winter,
# fig. 4.1, in core/stature.py), and the arm adds one. The design's limits hold within it.
BODY = 4.0
# From the ground to a shoulder, L, of the body that the design's limits are of: 0.818 of the stature up, 0.129 aside,
# over 0.332 for L (Winter, fig. 4.1); rounded up.
SHOULDER = 2.5


def off_by(away: float, length: float) -> float:
    """How far a held joint may be off by rounding alone, arm lengths; 0 where places are counted from.

    `away`: distance of the body's own origin from the world's, and `length`: L, both metres of the world. Up to as
    much again as `away` is counted for the body's own size, which places in it are further away.
    """
    return STEPS * STEP * (away + min(away, BODY * length)) / length


def limit_at(limit: float, away: float, length: float) -> float:
    """A limit on a distance, arm lengths, as it is for an arm that far away: at the origin itself."""
    return max(limit, off_by(away, length))


def turn_limit_at(limit: float, away: float, length: float) -> float:
    """The same for an angle, degrees: of a direction between two joints, the shorter segment half an arm long or more.

    Both joints are off, so that the angle is up to four times as many radians as one of them is arm lengths.
    """
    return max(limit, float(np.degrees(4.0 * off_by(away, length))))


def body_away(geometry: ArmGeometry) -> float:
    """How much further than a body reaches the shoulder is from the armature's own origin, at rest, metres."""
    far = float(np.linalg.norm(at(geometry.upper_arm)))
    return max(0.0, far - BODY * arm_length(geometry))


def share_of_steps(geometry: ArmGeometry) -> float:
    """How much larger a step of single precision is, in arm lengths, than on the body that limits are of; 1 or more."""
    far = float(np.linalg.norm(at(geometry.upper_arm)))
    return max(1.0, min(far / arm_length(geometry), BODY) / SHOULDER)


def restated(measures: tuple[Measured, ...], geometry: ArmGeometry) -> tuple[Measured, ...]:
    """The measures of an arm with the limits that hold where its bones are, and a note where these are others.

    A proof puts the object at the world's origin, so that only bones far from the object's own origin are far away.
    """
    share, away, length = share_of_steps(geometry), body_away(geometry), arm_length(geometry)
    if share == 1.0:
        return measures
    return tuple(_restated(item, share, away, length) for item in measures)


def _restated(item: Measured, share: float, away: float, length: float) -> Measured:
    limit = item.limit
    if item.unit == LENGTHS:
        limit = limit_at(item.limit * share, away, length)
    elif item.unit == DEGREES:
        limit = turn_limit_at(item.limit, away, length)
    if limit == item.limit:
        return item
    where = f"the bones are {away / length:.0f} L further from the armature's origin than a body reaches"
    if away == 0.0:
        where = f"the shoulder is {share * SHOULDER:.1f} L from the armature's origin and not {SHOULDER:g}"
    said = f"the limit is {limit:.2g} {item.unit} for {item.limit:.2g}: {where}, and single precision tells no less"
    return replace(item, limit=limit, note="; ".join(part for part in (item.note, said) if part))
