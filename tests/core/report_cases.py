"""Synthetic results for the tests of the reports."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from armwright.core.proof.cases import Case
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, PASS, Check, Results, Trace

CHAIN = np.array([[0.02, 0.0, 1.45], [0.18, 0.01, 1.43], [0.42, -0.05, 1.25], [0.5, -0.3, 1.35]])
LENGTHS = (("L", 0.58), ("R", 0.58))


def check(requirement: str = "hold-elbow", mode: str = "elbow", arm: str = "L", **changes: Any) -> Check:
    """A passing check at half of its limit, with `changes`; its id is made of its parts."""
    given = {
        "motion": "torso-wiggle",
        "case": Case(mode, 0.0, 1.0, 0.0),
        "measure": "wrist-slide",
        "unit": "L",
        "value": 1e-6,
        "limit": 2e-6,
        "verdict": PASS,
        "worst_frame": 7,
        "samples": 40,
    } | changes
    name = "/".join((requirement, given["motion"], f"mode={mode},{given['case'].label}", arm, given["measure"]))
    return Check(**({"id": name, "requirement": requirement, "arm": arm} | given))


def failing(requirement: str = "hold-elbow", mode: str = "elbow", arm: str = "L", **changes: Any) -> Check:
    """A check 40 times over its limit."""
    return check(requirement, mode, arm, **({"value": 8e-5, "verdict": FAIL} | changes))


def not_asked(requirement: str, mode: str, arm: str = "L") -> Check:
    """A check that does not apply."""
    return check(
        requirement, mode, arm, value=0.0, verdict=NOT_APPLICABLE, samples=0, worst_frame=0, note="no such mode"
    )


def trace(of: Check, held: int = 1) -> Trace:
    """A curve with its peak at the check's worst frame, and `held` points off by the value, along x."""
    values = np.full(of.samples, of.value / 10.0)
    values[of.worst_frame] = of.value
    wanted = np.repeat(CHAIN[3:], held, axis=0)
    found = wanted + np.array([of.value * 0.58 if np.isfinite(of.value) else 0.0, 0.0, 0.0])
    return Trace(of.id, values, CHAIN, wanted, found)


def results(checks: Sequence[Check], traces: Sequence[Trace] | None = None, rig: str = "Wren") -> Results:
    """Results of these checks; without `traces`, those of everything that was looked at."""
    kept = [trace(item) for item in checks if item.samples] if traces is None else traces
    return Results("4.5.15", rig, "ab12cd", 3, LENGTHS, tuple(checks), tuple(kept), 1800.0)
