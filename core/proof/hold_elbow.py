"""`hold-elbow`: the elbow is planted; forearm and hand swing by FK and neither moves nor turns with the torso."""

from __future__ import annotations

from .expected import expected
from .measures import SLIDE_LIMIT, TURN_LIMIT, Measured, at, drift, held_arm, slide, turn
from .run_plan import RunSpec
from .samples import ArmRun

ID = "hold-elbow"
MODES: tuple[str, ...] = ("elbow",)
LIMITS = {"elbow-slide": SLIDE_LIMIT, "wrist-slide": SLIDE_LIMIT, "hand-drift": TURN_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Elbow against its hold, wrist against the FK forearm in the hold's frame (L), hand's rotation (degrees)."""
    goal = expected(run)
    hold = at(run.settings.elbow_hold)
    forearm, hand = held_arm(run)
    reach = forearm[..., 1] * (run.geometry.forearm_length * run.settings.forearm_length)[:, None]
    missing = goal.elbow_missing
    return (
        slide(run, "elbow-slide", at(run.samples.elbow), hold, missing, goal.held_elbow),
        slide(run, "wrist-slide", at(run.samples.wrist), hold + reach, missing, goal.held_elbow + reach),
        drift("hand-drift", turn(run.samples.hand), hand),
    )
