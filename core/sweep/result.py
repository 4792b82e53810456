"""The outcome of a sweep as data, as JSON and as a table. Nothing in it tells how long it took or who did it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .. import codec
from ..errors import ProofError
from ..proof.measures import SLIDE_LIMIT
from ..proof.results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, VERDICTS
from .case import SweepCase

FORMAT = "armwright.sweep"
VERSION = 1


@dataclass(frozen=True)
class Worst:
    """The worst of one measure on one arm.

    Attributes:
        id: "requirement/sweep/arm/measure", unique.
        requirement, measure, arm, unit, limit: what.
        value: the worst; None where there is no number, or nothing was looked at.
        verdict: "pass", "fail", "out_of_reach" or "not_applicable".
        drawn: the worst before the local search.
        looked, left_out: poses measured, and poses in or at the singular set.
        case: where it is; None where nothing was looked at.
    """

    id: str
    requirement: str
    measure: str
    arm: str
    unit: str
    limit: float | None
    value: float | None
    verdict: str
    drawn: float | None
    looked: int
    left_out: int
    case: SweepCase | None


@dataclass(frozen=True)
class SweepResult:
    """Attributes:
    rig, plan_digest: the character, and the plan of its rig.
    seed, poses, rounds: of the sweep and its local search.
    worst: one for each measure and arm.
    """

    rig: str
    plan_digest: str
    seed: int
    poses: int
    rounds: int
    worst: tuple[Worst, ...]

    @property
    def failed(self) -> bool:
        """Whether any measure is over its limit."""
        return any(item.verdict == FAIL for item in self.worst)


def verdict(value: float | None, limit: float | None, looked: int) -> str:
    """The verdict on a worst value."""
    if looked == 0:
        return NOT_APPLICABLE
    if value is None:
        return FAIL
    if limit is None:
        return OUT_OF_REACH if value > SLIDE_LIMIT else PASS
    return PASS if value <= limit else FAIL


def to_text(result: SweepResult) -> str:
    """JSON text of `result`: the same sweep gives the same bytes."""
    data = codec.encode(result, ProofError)
    counts = {name: sum(item.verdict == name for item in result.worst) for name in VERDICTS}
    return codec.to_text({"format": FORMAT, "version": VERSION, "summary": counts, **data})


def table(result: SweepResult) -> str:
    """A line for each measure and arm, for people."""
    rows = [("measure", "arm", "worst", "limit", "unit", "verdict", "looked at", "left out")]
    for item in result.worst:
        value = "no number" if item.value is None and item.looked else _number(item.value)
        rows.append(
            (item.measure, item.arm, value, _number(item.limit), item.unit, item.verdict, str(item.looked),
             str(item.left_out))
        )  # fmt: skip
    return "\n".join(_line(row, [max(len(line[at]) for line in rows) for at in range(len(rows[0]))]) for row in rows)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    left = (True, True, False, False, True, True, False, False)
    cells = [cell.ljust(w) if to_left else cell.rjust(w) for cell, w, to_left in zip(row, widths, left, strict=True)]
    return "  ".join(cells).rstrip()
