"""The results' written form, `results.json`: the same results always give the same bytes; the reader is strict.

It holds the checks and what is needed to repeat them, not the traces and the margins of rotation orders: those are for
the table and the page of the same proof.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .. import arm_words, codec
from ..errors import ProofError, named
from .cases import MODES
from .results import FAIL, FORMAT, NOT_APPLICABLE, PASS, VERDICTS, VERSION, Check, Finding, MadeWith, Results

NO_NUMBER = "the value is not a finite number"

_WHAT = "results file"
_FIELDS = ("format", "version", "host", "rig", "plan_digest", "seed", "arms", "checks", "summary", "evaluation")
# Fields that files from before they were there do not have.
_MAY_OMIT = ("made_with", "findings")
_UNITS = ("L", "deg", "1")
_DIALS = ("isolate", "lift", "stretch")


@dataclass(frozen=True)
class _Head:
    """The top-level fields that are plain values."""

    host: str
    rig: str
    plan_digest: str
    seed: int


@dataclass(frozen=True)
class _Arm:
    length_m: float


@dataclass(frozen=True)
class _Evaluation:
    frames_per_second: float


def to_text(results: Results) -> str:
    """JSON text of `results`, ASCII, a line per check, a newline at the end; the traces are left out.

    A failing check's value that is not finite becomes null, and its note says so.
    Raises ProofError, with the place, for what `from_text` would refuse.
    """
    head = _Head(results.host, results.rig, results.plan_digest, results.seed)
    arms = {arm: _Arm(length) for arm, length in results.arm_lengths}
    if len(arms) != len(results.arm_lengths):
        raise ProofError("arms: an arm is there twice; keep one of each")
    _check_arms(arms)
    _check_rate(results.frames_per_second)
    rows = [_row(check, _place(index, check.id)) for index, check in enumerate(results.checks)]
    _check_together(results.checks, arms)
    return codec.to_text(
        {
            "format": FORMAT,
            "version": VERSION,
            **codec.encode(head, ProofError),
            "arms": {arm: codec.encode(length, ProofError) for arm, length in arms.items()},
            "checks": rows,
            "summary": summary(results.checks),
            "evaluation": codec.encode(_Evaluation(results.frames_per_second), ProofError),
            "made_with": codec.encode(results.made_with, ProofError),
            "findings": [codec.encode(finding, ProofError) for finding in results.findings],
        }
    )


def from_text(text: str | bytes) -> Results:
    """The results that `text` holds, without traces; a null value is NaN.

    Raises ProofError, with line and column or the path, for text that `to_text` could not have written.
    """
    data = codec.parse(text, _WHAT, ProofError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, ProofError)
    _check_fields(data, _FIELDS, "", (*_FIELDS, *_MAY_OMIT))
    plain = {field.name: data[field.name] for field in dataclasses.fields(_Head)}
    head = codec.decode(_Head, plain, "", ProofError)
    given = data["arms"]
    _check_fields(given, given if isinstance(given, dict) else (), "arms")
    arms = {arm: codec.decode(_Arm, value, f"arms.{named(arm)}", ProofError) for arm, value in given.items()}
    _check_arms(arms)
    rows = data["checks"]
    if not isinstance(rows, list):
        raise ProofError("checks: expected a list of checks; write the file again")
    checks = tuple(_check(row, _place(index, row)) for index, row in enumerate(rows))
    _check_together(checks, arms)
    _check_fields(data["summary"], VERDICTS, "summary")
    # As text, because to Python true is 1.
    if json.dumps(data["summary"], sort_keys=True) != json.dumps(summary(checks), sort_keys=True):
        raise ProofError(
            f"summary: its counts are not those of the {len(checks)} checks; the file was edited or cut: write it again"
        )
    rate = codec.decode(_Evaluation, data["evaluation"], "evaluation", ProofError).frames_per_second
    _check_rate(rate)
    made_with = codec.decode(MadeWith, data.get("made_with", {}), "made_with", ProofError, may_omit=True)
    listed = data.get("findings", [])
    if not isinstance(listed, list):
        raise ProofError("findings: expected a list of findings; write the file again")
    findings = tuple(codec.decode(Finding, item, f"findings[{index}]", ProofError) for index, item in enumerate(listed))
    return Results(
        host=head.host,
        rig=head.rig,
        plan_digest=head.plan_digest,
        seed=head.seed,
        arm_lengths=tuple((arm, length.length_m) for arm, length in arms.items()),
        checks=checks,
        frames_per_second=rate,
        made_with=made_with,
        findings=findings,
    )


def read(path: Path) -> Results:
    """The results in the file at `path`; raises ProofError as `from_text` does, or if the file can not be read."""
    return from_text(codec.read_bytes(path, _WHAT, ProofError))


def summary(checks: Iterable[Check]) -> dict[str, int]:
    """How many checks have each verdict, in the order of VERDICTS."""
    counts = dict.fromkeys(VERDICTS, 0)
    for check in checks:
        counts[check.verdict] += 1
    return counts


def _row(check: Check, where: str) -> dict[str, Any]:
    """One check as JSON data; whole dials without a point, as the format's description shows them."""
    lost = isinstance(check.value, float) and not math.isfinite(check.value)
    note = check.note
    if lost and NO_NUMBER not in note:
        note = f"{note}; {NO_NUMBER}" if note else NO_NUMBER
    plain = dataclasses.replace(check, note=note, value=0.0 if lost else check.value)
    try:
        row = codec.encode(plain, ProofError)
    except ProofError as problem:
        raise ProofError(f"{where}: {problem}") from None
    _check_meaning(check, where)
    for dial in _DIALS:
        value = row["case"][dial]
        row["case"][dial] = int(value) if value == int(value) else value
    if lost:
        row["value"] = None
    return row


def _check(row: Any, where: str) -> Check:
    """One check from JSON data. Raises ProofError, with the place."""
    lost = isinstance(row, dict) and "value" in row and row["value"] is None
    if lost:
        row["value"] = 0.0
    check = codec.decode(Check, row, where, ProofError)
    if lost:
        check = dataclasses.replace(check, value=math.nan)
    _check_meaning(check, where)
    return check


def _check_meaning(check: Check, where: str) -> None:
    """Refuse a check of the right types that says what no check can say."""
    if not check.id:
        raise ProofError(f"{where}.id: it is empty; every check has a name of its own")
    _check_known(check.verdict, VERDICTS, f"{where}.verdict")
    _check_known(check.case.mode, MODES, f"{where}.case.mode")
    _check_arm(check.arm, f"{where}.arm")
    _check_known(check.unit, _UNITS, f"{where}.unit")
    for dial in _DIALS:
        value = getattr(check.case, dial)
        if not 0.0 <= value <= 1.0:
            raise ProofError(f"{where}.case.{dial}: {value:g} is no dial's setting: expected 0 to 1")
    if not math.isfinite(check.value) and check.verdict != FAIL:
        raise ProofError(f"{where}.value: {NO_NUMBER}, which only a failing check's may be")
    if check.value < 0.0 or check.limit < 0.0:
        raise ProofError(f"{where}: value {check.value:g} and limit {check.limit:g} are sizes: neither is below 0")
    if check.verdict == PASS and check.value > check.limit:
        raise ProofError(f"{where}: it passes with {check.value:g} over its limit of {check.limit:g}; prove it again")
    if check.samples < 0 or not 0 <= check.worst_frame < max(check.samples, 1):
        raise ProofError(
            f"{where}: the worst frame is {check.worst_frame} of {check.samples}; frames count from 0 up to one less"
        )
    if check.samples == 0 and check.verdict != NOT_APPLICABLE:
        raise ProofError(f'{where}.samples: no frame was looked at, yet the verdict is "{check.verdict}"')


def _check_together(checks: Iterable[Check], arms: Iterable[str]) -> None:
    """Refuse checks of one name, and of an arm that the results do not have."""
    seen: set[str] = set()
    known = set(arms)
    for index, check in enumerate(checks):
        if check.id in seen:
            raise ProofError(f"{_place(index, check.id)}: a check of this name is there twice; keep one of them")
        seen.add(check.id)
        if check.arm not in known:
            raise ProofError(f"{_place(index, check.id)}.arm: {_quoted(check.arm)} is not among the arms of the file")


def _check_arms(arms: dict[str, _Arm]) -> None:
    for arm, length in arms.items():
        _check_arm(arm, "arms")
        if not length.length_m > 0.0:
            raise ProofError(f"arms.{arm}.length_m: {length.length_m:g} is no length of an arm: expected more than 0")


def _check_arm(arm: str, where: str) -> None:
    if not arm_words.is_id(arm):
        raise ProofError(f"{where}: {_quoted(arm)} is no arm's id: expected a name such as L or lower.L")


def _check_rate(rate: float) -> None:
    if rate < 0.0:
        raise ProofError(f"evaluation.frames_per_second: {rate:g} is no rate: expected 0 or more")


def _check_known(found: str, known: Iterable[str], where: str) -> None:
    if found not in known:
        raise ProofError(f"{where}: {_quoted(found)} is unknown; expected one of {', '.join(known)}")


def _check_fields(data: Any, needed: Iterable[str], where: str, known: Iterable[str] | None = None) -> None:
    """Refuse what is not an object with exactly these fields, each once."""
    start = f"{where}: " if where else ""
    if not isinstance(data, dict):
        raise ProofError(f"{start}expected an object with named fields; write the file again")
    # codec.parse leaves the name of a doubled field on the object.
    twice = getattr(data, "twice", None)
    if twice is not None:
        raise ProofError(f"{start}the field {_quoted(twice)} is there twice; keep one of them")
    known = tuple(needed if known is None else known)
    for name in data:
        if name not in known:
            raise ProofError(f"{start}unknown field {_quoted(name)}; known are {', '.join(known)}")
    for name in needed:
        if name not in data:
            raise ProofError(f'{start}the field "{name}" is missing; write the file again')


def _place(index: int, row: Any) -> str:
    """`checks[3] ("hold-elbow/...")`: a person finds a check by its name."""
    name = row.get("id") if isinstance(row, dict) else row
    return f"checks[{index}] ({_quoted(name)})" if isinstance(name, str) else f"checks[{index}]"


def _quoted(text: str) -> str:
    """In quotes, escaped and shortened: a hostile file must not flood or colour a terminal."""
    return json.dumps(text if len(text) <= 100 else text[:97] + "...")
