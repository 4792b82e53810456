"""Many characters as one JUnit file: each one's suites under its name; what has no results is a case with an error."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from .. import farm
from ..farm import Outcome
from .junit import counted, suites
from .summary import clean


def farm_junit(outcomes: Sequence[Outcome]) -> str:
    """XML text with a newline at the end; to be written as UTF-8."""
    return "".join(_lines(outcomes))


def _lines(outcomes: Sequence[Outcome]) -> Iterator[str]:
    found = [counted(outcome.results) for outcome in outcomes if outcome.results is not None]
    errors = sum(_is_error(outcome) for outcome in outcomes)
    yield '<?xml version="1.0" encoding="UTF-8"?>\n'
    tests, failures = sum(count for count, _ in found), sum(count for _, count in found)
    yield (
        f'<testsuites name="Armwright proof of {len(outcomes)} files" tests="{tests + errors}" '
        f'failures="{failures}" errors="{errors}">\n'
    )
    for name, outcome in zip(farm.names(outcomes), outcomes, strict=True):
        if outcome.results is not None:
            yield from suites(outcome.results, name)
        if _is_error(outcome):
            yield _error(name, outcome)
    yield "</testsuites>\n"


def _is_error(outcome: Outcome) -> bool:
    """Whether the file needs a case of its own, because neither check nor finding says that it is wrong."""
    if outcome.results is None:
        return True
    return outcome.kind != farm.DONE and not counted(outcome.results)[1]


def _error(name: str, outcome: Outcome) -> str:
    first, *rest = outcome.detail.splitlines()
    text = "\n".join(escape(clean(line)) for line in (first, *rest))
    return (
        f'  <testsuite name={_attribute(name)} tests="1" failures="0" errors="1" skipped="0">\n'
        f"    <testcase classname={_attribute(name)} name={_attribute(f'proof of {outcome.file}')}>\n"
        f"      <error type={_attribute(outcome.kind)} message={_attribute(first)}>{text}</error>\n"
        "    </testcase>\n  </testsuite>\n"
    )


def _attribute(text: str) -> str:
    return quoteattr(clean(text))
