"""Many characters as one JUnit file: each one's suites under its name; what has no results is a case with an error."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from .. import farm
from ..farm import Outcome
from ..results import FAIL
from ..results_json import summary
from .junit import suites
from .summary import clean


def farm_junit(outcomes: Sequence[Outcome]) -> str:
    """XML text with a newline at the end; to be written as UTF-8."""
    return "".join(_lines(outcomes))


def _lines(outcomes: Sequence[Outcome]) -> Iterator[str]:
    checks = [check for outcome in outcomes if outcome.results is not None for check in outcome.results.checks]
    errors = sum(_is_error(outcome) for outcome in outcomes)
    yield '<?xml version="1.0" encoding="UTF-8"?>\n'
    yield (
        f'<testsuites name="Armwright proof of {len(outcomes)} files" tests="{len(checks) + errors}" '
        f'failures="{summary(checks)[FAIL]}" errors="{errors}">\n'
    )
    for name, outcome in zip(farm.names(outcomes), outcomes, strict=True):
        if outcome.results is not None:
            yield from suites(outcome.results, name)
        if _is_error(outcome):
            yield _error(name, outcome)
    yield "</testsuites>\n"


def _is_error(outcome: Outcome) -> bool:
    """Whether the file needs a case of its own, because none of its checks says that something is wrong with it."""
    if outcome.results is None:
        return True
    return outcome.kind != farm.DONE and not any(check.verdict == FAIL for check in outcome.results.checks)


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
