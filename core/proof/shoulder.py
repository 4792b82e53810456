"""`shoulder`: the clavicle's control never disturbs what is held."""

from __future__ import annotations

from . import hold_both, hold_elbow, hold_hand
from .measures import SLIDE_LIMIT, TURN_LIMIT, Measured
from .run_plan import RunSpec
from .samples import ArmRun

ID = "shoulder"
MODES: tuple[str, ...] = ("hand", "elbow", "both")
LIMITS = {
    "elbow-slide": SLIDE_LIMIT,
    "wrist-slide": SLIDE_LIMIT,
    "hand-drift": TURN_LIMIT,
    "elbow-place": hold_hand.ELBOW_LIMIT,
}

_HELD = {"hand": hold_hand.measure, "elbow": hold_elbow.measure, "both": hold_both.measure}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run: its clip moves the clavicle, and something is held."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """What the mode's own requirement measures, while the clavicle moves."""
    return _HELD[run.case.mode](run)
