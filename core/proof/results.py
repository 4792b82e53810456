"""The outcome of a proof as data; its JSON form is in results_json.py, its pages are in report/."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cases import Case
from .order_margin import OrderMargin

FORMAT = "armwright.results"
VERSION = 1

PASS = "pass"
FAIL = "fail"
OUT_OF_REACH = "out_of_reach"
NOT_APPLICABLE = "not_applicable"
VERDICTS = (PASS, FAIL, OUT_OF_REACH, NOT_APPLICABLE)
DEPENDENCY_CYCLE = "dependency-cycle"
# With a cycle the host leaves a dependency out, one or another: what was measured need not be what the rig does the
# next time. Any other finding of an arm shows in the figures; one elsewhere is no arm's fault.
FAILING_FINDINGS = (DEPENDENCY_CYCLE,)


@dataclass(frozen=True)
class Check:
    """One measured figure and its verdict.

    Attributes:
        id: "requirement/motion/case label/arm/measure", unique in a proof.
        requirement: id of design's table, such as "hold-elbow".
        motion: name of the motion.
        case: mode and dials.
        arm: its id.
        measure: what was measured, such as "wrist-slide".
        unit: "L" (arm lengths), "deg" or "1".
        value, limit: in that unit; the check passes when value <= limit.
        verdict: one of VERDICTS.
        worst_frame: index of the frame with the largest value, 0 based.
        samples: number of frames looked at.
        note: for people; why something is out of reach or not applicable, what was left out; otherwise empty.
    """

    id: str
    requirement: str
    motion: str
    case: Case
    arm: str
    measure: str
    unit: str
    value: float
    limit: float
    verdict: str
    worst_frame: int
    samples: int
    note: str = ""


@dataclass(frozen=True)
class Trace:
    """What a plot and a picture of one check need; kept for checks that fail or come near, bounded by `keep`.

    Attributes:
        check: id of the check.
        values: (N,), the measure over the frames, in the check's unit.
        chain: (4, 3) clavicle, shoulder, elbow, wrist at the worst frame, armature space, metres.
        wanted: (K, 3) where held points should be at that frame, metres; K may be 0.
        found: (K, 3) where they were.
    """

    check: str
    values: NDArray[np.float64]
    chain: NDArray[np.float64]
    wanted: NDArray[np.float64]
    found: NDArray[np.float64]


@dataclass(frozen=True)
class MadeWith:
    """What a proof was made with besides host, plan and seed, so that it can be repeated.

    Attributes:
        armwright, python, numpy: versions.
        recorded: name of the recorded motion's file; "" without one.
        recorded_digest: SHA-256 of its bytes.
        card_digest: digest of the rig card; "" for arms built from a plan.
        sheet_digest: SHA-256 of the requirement sheet; "" for a proof of everything.
    """

    armwright: str = ""
    python: str = ""
    numpy: str = ""
    recorded: str = ""
    recorded_digest: str = ""
    card_digest: str = ""
    sheet_digest: str = ""


@dataclass(frozen=True)
class Finding:
    """Something about the file that harms arms whatever they do, found by looking at it and not by moving it.

    Attributes:
        kind: such as "scaled-object", "broken-driver" or "dependency-cycle".
        where: the object, bone, driver or constraint.
        what: a sentence that says what is wrong.
        advice: a sentence that says what to do.
    """

    kind: str
    where: str
    what: str
    advice: str

    @property
    def makes_fail(self) -> bool:
        """Whether it makes the figures meaningless, so that no proof may succeed."""
        return self.kind in FAILING_FINDINGS


@dataclass(frozen=True)
class Results:
    """Everything a proof found out.

    Attributes:
        host: the host's version, such as "4.5.15".
        rig: name of the armature object.
        plan_digest: digest of the plan that the rig was built from; "" for a rig of other making.
        seed: of the seeded motions.
        arm_lengths: (arm, L in metres) per arm.
        checks: in the order in which they were measured.
        traces: see Trace.
        frames_per_second: rate at which poses were set, evaluated and read.
        orders: how far each FK joint's rotation order keeps from gimbal lock over the motions; for people, no verdict.
        made_with: versions and inputs.
        findings: what is wrong with the file itself.
    """

    host: str
    rig: str
    plan_digest: str
    seed: int
    arm_lengths: tuple[tuple[str, float], ...]
    checks: tuple[Check, ...]
    traces: tuple[Trace, ...] = ()
    frames_per_second: float = 0.0
    orders: tuple[OrderMargin, ...] = ()
    made_with: MadeWith = MadeWith()
    findings: tuple[Finding, ...] = ()
