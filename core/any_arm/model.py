"""One arm of any making: its frames at rest, what is set on it in a run, and what the host showed.

Armature space and the armature's own unit throughout; only L in the results is in metres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..card.model import CardArm
from ..motion.clip import Clip
from ..motion.rounds import Round
from ..proof.cases import Case

Array = NDArray[np.float64]

# What a run does.
HOLD, SWING, BLEND, BEYOND, RAISE, ROUND = "hold", "swing", "blend", "beyond", "raise", "round"


@dataclass(frozen=True, eq=False)
class AnyArm:
    """Attributes:
    card: which bone is what.
    rests: (4, 4) frames at rest by the role's name in the card, and "torso".
    clavicle_length: from clavicle to shoulder; 0 without a clavicle.
    facing: (3, 3), columns are the character's left, back and up.
    orders: rotation order of each FK control by role, such as "XYZ".
    """

    card: CardArm
    rests: Mapping[str, Array]
    clavicle_length: float
    upper_length: float
    forearm_length: float
    facing: Array
    orders: Mapping[str, str]

    @property
    def length(self) -> float:
        """L, in the armature's unit."""
        return self.upper_length + self.forearm_length


@dataclass(frozen=True, eq=False)
class AnyRun:
    """One motion of all arms in one case.

    Attributes:
        motion: name in ids and reports.
        kind: what is done: HOLD plants what the mode holds and moves the torso or the clavicle; SWING turns the FK
            controls; BLEND turns the blend's dial; BEYOND holds the hand out of reach; RAISE lifts the held hand from
            hanging to overhead; ROUND leads it round the shoulder.
        clip: what moves.
        case: mode and dials.
        requirements: ids that look at the run.
        around: hand and aim of a ROUND.
    """

    motion: str
    kind: str
    clip: Clip
    case: Case
    requirements: tuple[str, ...]
    around: Round | None = None


@dataclass(frozen=True, eq=False)
class Shown:
    """One arm through one run; frame 0 is at rest, planted, before anything moves.

    Attributes:
        arm, motion, case: as in a check.
        rig: the arm at rest.
        poses: evaluated bones (N, 4, 4) by the role's name in the card, and "torso".
        channels: Euler channels (N, 3), radians, of the FK controls that were turned, in their own orders, by
            role.
        hand: (N, 3), where the wrist was put; None where the hand is not held.
        aim: (N, 3), where the elbow's aim was put or stood; None where there is none.
        dial: (N,) of the blend; None in other runs.
    """

    arm: str
    motion: str
    case: Case
    rig: AnyArm
    poses: Mapping[str, Array]
    channels: Mapping[str, Array]
    hand: Array | None = None
    aim: Array | None = None
    dial: Array | None = None
