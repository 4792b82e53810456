"""What the rigger chooses once for an arm; see docs/arm.md for the equations that use it."""

from __future__ import annotations

import math
from dataclasses import dataclass

# More share a roll no better: eight bones of 180 degrees shrink by 1 - cos(180 / 14), under 3 %.
MOST_TWIST_BONES = 8


@dataclass(frozen=True)
class ArmOptions:
    """Constants of a built arm.

    Attributes:
        shortest, longest: limits of a segment's length over its rest length when a hold decides it.
        stretch_limit: most that the IK stretch may ask of a segment, over its (dialled) length.
        fold_limit: largest elbow flexion that the IK makes, radians.
        soft_share: part of the arm's length over which the reach softens when the soft dial is 1.
        lift_share: part of the scapula's upward turn that the clavicle makes when the lift dial is 1.
        twist_bones: skin bones of upper arm and forearm each, over which their roll spreads; 1 to 8.
    """

    shortest: float = 0.5
    longest: float = 2.0
    stretch_limit: float = 1.5
    fold_limit: float = math.radians(170.0)
    soft_share: float = 0.2
    lift_share: float = 0.5
    twist_bones: int = 3
