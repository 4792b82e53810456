"""What the host showed: evaluated bones of one arm over the frames of a run.

The only thing that measures look at, besides what was set.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..solve.settings import ArmGeometry, ArmSettings
from .cases import Case
from .finger_samples import FingerRun

Array = NDArray[np.float64]

# Roles whose bones are sampled, in the order of ArmSamples' fields.
SAMPLED_ROLES = (
    "fk_clavicle",
    "clavicle",
    "upper_arm",
    "elbow",
    "forearm",
    "wrist",
    "hand",
    "hand_hold",
    "elbow_hold",
    "elbow_aim",
    "skin_upper_arm",
    "skin_forearm",
    "fingers",
)
# Fields of ArmSamples for the bones that share a segment's roll, and the role that is numbered for them.
SKIN_ROLES = {"upper_skin": "skin_upper_arm", "forearm_skin": "skin_forearm"}


def _none() -> Array:
    return np.zeros((0, 0, 4, 4))


@dataclass(frozen=True)
class ArmSamples:
    """Evaluated bones of one arm, armature space, metres, (N, 4, 4) each.

    `fk_clavicle` is the clavicle's control, `clavicle` the clavicle after the lift; `upper_arm`, `forearm`, `hand` are
    the arm as it ends up, their heads the shoulder, elbow and wrist; `elbow` and `wrist` have the joints as heads too;
    the skin bones carry the stretch in the length of their axes; `fingers` is what carries the fingers. `upper_skin`
    and `forearm_skin`, (N, K, 4, 4), are all the bones that share a segment's roll, the first of them included.
    """

    torso: Array
    root: Array
    fk_clavicle: Array
    clavicle: Array
    upper_arm: Array
    elbow: Array
    forearm: Array
    wrist: Array
    hand: Array
    hand_hold: Array
    elbow_hold: Array
    elbow_aim: Array
    skin_upper_arm: Array
    skin_forearm: Array
    fingers: Array
    upper_skin: Array = field(default_factory=_none)
    forearm_skin: Array = field(default_factory=_none)


@dataclass(frozen=True)
class ArmRun:
    """One arm through one motion in one case.

    Attributes:
        arm: its id.
        motion: the motion's name.
        case: mode and dial corners.
        geometry: the arm at rest.
        settings: what was set, frame by frame (torso and root as the host showed them).
        samples: what the host showed.
        fingers: what the fingers do; None for a hand without any, or a run in which they rest.
    """

    arm: str
    motion: str
    case: Case
    geometry: ArmGeometry
    settings: ArmSettings
    samples: ArmSamples
    fingers: FingerRun | None = None
