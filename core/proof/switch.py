"""`switch`: a change of what is held, of a dial, or of what carries a hold keeps the pose on that frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cases import MODES as EVERY_MODE
from .cases import Case
from .measures import DEGREES, LENGTHS, Measured, at, distance, turn, turn_error

Array = NDArray[np.float64]

ID = "switch"
MODES: tuple[str, ...] = EVERY_MODE
# Design's limits of the requirement: arm lengths, degrees.
LIMITS = {"pop": 1e-5, "turn": 1e-2}
# Bones that a change must not move, by role, in the order of SwitchRun's second axis.
ROLES = ("clavicle", "upper_arm", "forearm", "hand")
REST = "rest"


@dataclass(frozen=True, eq=False)
class SwitchRun:
    """One change, made in N poses.

    Attributes:
        arm: its id.
        motion: where the poses come from and what the change makes of them, such as "rest+to-hand".
        case: mode and dials before the change.
        kind: what changes: "mode", "dial", "hand-space" or "elbow-space".
        length: L, metres.
        before, after: evaluated bones of ROLES, (N, 4, 4, 4), armature space; no number where the change was refused.
        lost: (N,) units of L, how far the nearest pose is that the new mode can make; 0 where it can make the pose.
        lost_turn: (N,) likewise, degrees.
        refused: the reason, where a change was refused; "" otherwise.
    """

    arm: str
    motion: str
    case: Case
    kind: str
    length: float
    before: Array
    after: Array
    lost: Array
    lost_turn: Array
    refused: str = ""


def measure(run: SwitchRun) -> tuple[Measured, ...]:
    """How far shoulder, elbow and wrist jump (L), and how far clavicle, upper arm, forearm and hand turn (degrees)."""
    joints = slice(1, None)
    pops = distance(at(run.before)[:, joints], at(run.after)[:, joints]).max(axis=1) / run.length
    turns = turn_error(turn(run.before), turn(run.after)).max(axis=1)
    worst = 1 + np.argmax(distance(at(run.before)[:, joints], at(run.after)[:, joints]), axis=1)
    rows = np.arange(len(pops))
    exact = np.zeros(len(pops))
    return (
        Measured(
            f"{run.kind}-pop",
            LENGTHS,
            pops,
            LIMITS["pop"],
            at(run.before)[rows, worst],
            at(run.after)[rows, worst],
            note=run.refused,
            missing=run.lost,
            misplaced=exact,
        ),
        Measured(
            f"{run.kind}-turn",
            DEGREES,
            turns,
            LIMITS["turn"],
            note=run.refused,
            missing=run.lost_turn,
            misplaced=exact,
        ),
    )
