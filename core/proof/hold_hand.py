"""`hold-hand`: the hand stays where it is put, whatever carries the arm."""

from __future__ import annotations

from .expected import expected
from .measures import SLIDE_LIMIT, TURN_LIMIT, Measured, at, drift, slide, turn
from .run_plan import RunSpec
from .samples import ArmRun

ID = "hold-hand"
MODES: tuple[str, ...] = ("hand",)
LIMITS = {"wrist-slide": SLIDE_LIMIT, "hand-drift": TURN_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Wrist against the hand hold as it was set (L), hand's rotation against the hold's (degrees)."""
    goal = expected(run)
    hold = run.settings.hand_hold
    return (
        slide(run, "wrist-slide", at(run.samples.wrist), at(hold), goal.hand_missing, goal.ik_wrist),
        drift("hand-drift", turn(run.samples.hand), turn(hold)),
    )
