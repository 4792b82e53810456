"""Which checks of a proof come first for people: failing ones, then those next to their limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from .report.summary import quantity
from .results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, Check, Results
from .verdicts import severity

# A longer list is read by nobody: what fails everywhere is explained by its worst.
MOST = 20


def worst_of_each(results: Results) -> tuple[Check, ...]:
    """The worst check of each requirement that applies, in the order in which they were measured."""
    worst: dict[str, Check] = {}
    for check in results.checks:
        if check.verdict != NOT_APPLICABLE and (
            check.requirement not in worst or severity(check) > severity(worst[check.requirement])
        ):
            worst[check.requirement] = check
    return tuple(worst.values())


def nearest(results: Results, requirement: str, most: int = MOST) -> tuple[Check, ...]:
    """The checks of a requirement that fail or come nearest to their limits, worst first; `most` of them.

    Those out of reach come last, the furthest of them first.
    """
    found = [item for item in results.checks if item.requirement == requirement and item.verdict != NOT_APPLICABLE]
    return tuple(sorted(found, key=_order)[:most])


def rows(checks: Sequence[Check]) -> tuple[str, ...]:
    """A line for each check of a requirement, short enough for a narrow sidebar; no two are alike.

    Each has its arm and motion and the dials that are turned up. Checks that are alike in these also have what tells
    them apart: their mode, their measure, or both. The dials come last, since a host cuts long lines in the middle.
    """
    with_mode = _told_apart(checks, [_line(check) for check in checks], lambda check: check.case.mode)
    modes = [check.case.mode if mode else "" for check, mode in zip(checks, with_mode, strict=True)]
    plain = [_line(check, mode) for check, mode in zip(checks, modes, strict=True)]
    measured = _told_apart(checks, plain, lambda check: check.measure)
    return tuple(
        _line(check, f"{check.measure} {mode}" if needed else mode)
        for check, mode, needed in zip(checks, modes, measured, strict=True)
    )


def _line(check: Check, more: str = "") -> str:
    return " ".join(f"{check.arm} {check.motion} {more} {check.case.turned}".split())


def _told_apart(checks: Sequence[Check], lines: Sequence[str], by: Callable[[Check], str]) -> list[bool]:
    """Which of the checks have a line that others have as well, and differ from one of those in what `by` gives."""
    known: dict[str, set[str]] = {}
    for check, line in zip(checks, lines, strict=True):
        known.setdefault(line, set()).add(by(check))
    return [len(known[line]) > 1 for line in lines]


def _order(check: Check) -> tuple[bool, bool, float, str]:
    size = check.value if check.verdict == OUT_OF_REACH else severity(check)
    return check.verdict == OUT_OF_REACH, check.verdict != FAIL, -size if math.isfinite(size) else -math.inf, check.id


def headline(results: Results) -> str:
    """The whole proof in a few words, for a narrow place."""
    failed = sum(check.verdict == FAIL for check in results.checks)
    far = sum(check.verdict == OUT_OF_REACH for check in results.checks)
    measured = sum(check.verdict != NOT_APPLICABLE for check in results.checks)
    return (
        f"{measured} checks: "
        + (f"{failed} failed" if failed else "none failed")
        + (f", {far} out of reach" if far else "")
    )


def share(check: Check) -> str:
    """How much of its limit a check takes, short enough for a narrow sidebar."""
    if check.verdict == OUT_OF_REACH:
        return "out of reach"
    part = severity(check)
    if not math.isfinite(part):
        return "no number"
    if part < 1.0:
        return f"{100.0 * part:.2g} % of limit"
    # One digit up to a million, such as 1.5, 40 and 200,000; then a power of ten.
    if part < 10.0:
        return f"{part:.2g} times limit"
    return f"{float(f'{part:.1g}'):,.0f} times limit" if part < 1e6 else f"{quantity(part, '1')} times limit"
