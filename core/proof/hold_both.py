"""`hold-both`: elbow planted and hand held by IK."""

from __future__ import annotations

from .expected import expected
from .measures import SLIDE_LIMIT, Measured, at, slide
from .run_plan import RunSpec
from .samples import ArmRun

ID = "hold-both"
MODES: tuple[str, ...] = ("both",)
LIMITS = {"elbow-slide": SLIDE_LIMIT, "wrist-slide": SLIDE_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Elbow and wrist against their holds as they were set (L)."""
    goal = expected(run)
    settings, samples = run.settings, run.samples
    return (
        slide(run, "elbow-slide", at(samples.elbow), at(settings.elbow_hold), goal.elbow_missing, goal.held_elbow),
        slide(run, "wrist-slide", at(samples.wrist), at(settings.hand_hold), goal.hand_missing, goal.ik_wrist),
    )
