"""`hold-hand`: the hand stays where it is put, whatever carries the arm; the elbow bends to the side of its aim."""

from __future__ import annotations

import numpy as np

from .expected import Expected, expected
from .measures import LENGTHS, SLIDE_LIMIT, TURN_LIMIT, Measured, arm_length, at, distance, drift, slide, turn
from .run_plan import RunSpec
from .samples import ArmRun

ID = "hold-hand"
MODES: tuple[str, ...] = ("hand",)
# Design's agreement of reference and host, L: the elbow's place is not held, but follows from shoulder, hand and aim.
ELBOW_LIMIT = 5e-6
LIMITS = {"wrist-slide": SLIDE_LIMIT, "hand-drift": TURN_LIMIT, "elbow-place": ELBOW_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Wrist against the hand hold as it was set (L), hand's rotation against the hold's (degrees), elbow's place (L).

    The elbow is judged in frames in which it is bent: where the arm is straight, its place is noise by design.
    """
    goal = expected(run)
    hold = run.settings.hand_hold
    return (
        slide(run, "wrist-slide", at(run.samples.wrist), at(hold), goal.hand_missing, goal.ik_wrist),
        drift("hand-drift", turn(run.samples.hand), turn(hold)),
        elbow_place(run, goal),
    )


def elbow_place(run: ArmRun, goal: Expected) -> Measured:
    """The IK elbow against its place by shoulder, hand and aim (L), in frames in which it is bent."""
    elbow = at(run.samples.elbow)
    off = distance(elbow, goal.ik_elbow) / arm_length(run.geometry)
    # A frame without a number is bent by no measure, and fails all the same.
    values = np.where(goal.bent | ~np.isfinite(off), off, 0.0)
    straight = not goal.bent.any() and bool(np.isfinite(off).all())
    note = "the arm is nearly straight in every frame" if straight else ""
    return Measured(
        "elbow-place", LENGTHS, values, ELBOW_LIMIT, goal.ik_elbow, elbow, note=note, not_applicable=straight
    )
