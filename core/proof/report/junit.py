"""The proof as JUnit XML: a suite per requirement, a case per check; a suite and cases of what was found in the file.

Out of reach is not a pass and not a failure: it becomes a skipped case, which readers count apart from the passed ones,
with the missing distance as its message. Elements and attributes are those that continuous-integration servers read in
common (testsuites, testsuite, properties, testcase, failure, error, skipped); common practice, there is no standard.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

from ..history import Comparison
from ..results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, Check, Results
from ..results_json import summary
from .advice import advice
from .history import message, rule
from .summary import Group, by_requirement, clean, number_of, quantity, reason

HISTORY = "history"
FINDINGS = "findings"


def junit(results: Results, comparison: Comparison | None = None) -> str:
    """XML text with a newline at the end; to be written as UTF-8."""
    return "".join(_lines(results, comparison))


def _lines(results: Results, comparison: Comparison | None) -> Iterator[str]:
    tests, failures = counted(results)
    more = 0 if comparison is None else len(comparison.regressions)
    numbers = _numbers(tests + more + (comparison is not None), failures + more)
    yield '<?xml version="1.0" encoding="UTF-8"?>\n'
    yield f"<testsuites name={_attribute(f'Armwright proof of {results.rig}')} {numbers}>\n"
    yield from suites(results)
    if comparison is not None:
        yield from _history(comparison)
    yield "</testsuites>\n"


def suites(results: Results, character: str = "") -> Iterator[str]:
    """The suites alone; `character` goes before their names and classes where a file holds several characters."""
    for name, found in by_requirement(results.checks).items():
        yield from _suite(results, name, found, character)
    if results.findings:
        yield from _findings(results, character)


def counted(results: Results) -> tuple[int, int]:
    """Cases and failures in `suites`."""
    failing = sum(found.makes_fail for found in results.findings)
    return len(results.checks) + len(results.findings), summary(results.checks)[FAIL] + failing


def _findings(results: Results, character: str) -> Iterator[str]:
    """A case for what was found in the file: a failure where no proof may succeed with it, otherwise skipped."""
    failing = sum(found.makes_fail for found in results.findings)
    title = _attribute(f"{character}: {FINDINGS}" if character else FINDINGS)
    classname = _attribute(f"{character}.{FINDINGS}" if character else FINDINGS)
    skipped = len(results.findings) - failing
    yield f'  <testsuite name={title} {_numbers(len(results.findings), failing)} skipped="{skipped}">\n'
    for found in results.findings:
        words = f"{found.where}: {found.what} {found.advice}"
        yield f"    <testcase classname={classname} name={_attribute(f'{found.kind}: {found.where}')}>\n"
        if found.makes_fail:
            yield f"      <failure type={_attribute(found.kind)} message={_attribute(words)}>{_text(words)}</failure>\n"
        else:
            yield f"      <skipped message={_attribute(words)}/>\n"
        yield "    </testcase>\n"
    yield "  </testsuite>\n"


def _history(comparison: Comparison) -> Iterator[str]:
    """A failing case for each regression beside one that says what was compared, so that there is always a case."""
    count = len(comparison.regressions)
    name = _attribute(HISTORY)
    yield f'  <testsuite name={name} {_numbers(count + 1, count)} skipped="0">\n    <properties>\n'
    for number, note in enumerate(comparison.notes):
        yield f'      <property name="note {number + 1}" value={_attribute(note)}/>\n'
    yield "    </properties>\n"
    yield f"    <testcase classname={name} name={_attribute(rule(comparison))}/>\n"
    for change in comparison.regressions:
        kind, words = _attribute(change.kind), message(change)
        yield f"    <testcase classname={name} name={_attribute(change.check.id)}>\n"
        yield f"      <failure type={kind} message={_attribute(words)}>{_text(words)}</failure>\n    </testcase>\n"
    yield "  </testsuite>\n"


def _suite(results: Results, name: str, found: Group, character: str) -> Iterator[str]:
    skipped = found.counts[OUT_OF_REACH] + found.counts[NOT_APPLICABLE]
    title = f"{character}: {name}" if character else name
    yield f'  <testsuite name={_attribute(title)} {_counts(found.counts)} skipped="{skipped}">\n    <properties>\n'
    known = {"rig": results.rig, "host": results.host, "plan_digest": results.plan_digest, "seed": str(results.seed)}
    for key, value in known.items():
        yield f'      <property name="{key}" value={_attribute(value)}/>\n'
    yield "    </properties>\n"
    for check in found.checks:
        yield _case(check, f"{character}.{name}" if character else name)
    yield "  </testsuite>\n"


def _counts(counts: dict[str, int]) -> str:
    return _numbers(sum(counts.values()), counts[FAIL])


def _numbers(tests: int, failures: int) -> str:
    return f'tests="{tests}" failures="{failures}" errors="0"'


def _case(check: Check, classname: str) -> str:
    opening = f"    <testcase classname={_attribute(classname)} name={_attribute(check.id)}"
    if check.verdict == FAIL:
        return f"{opening}>\n{_failure(check)}    </testcase>\n"
    if check.verdict in (OUT_OF_REACH, NOT_APPLICABLE):
        return f"{opening}>\n      <skipped message={_attribute(reason(check))}/>\n    </testcase>\n"
    return f"{opening}/>\n"


def _failure(check: Check) -> str:
    value, limit = (quantity(number, check.unit, plain=True) for number in (check.value, check.limit))
    message = f"{check.measure} {value}, limit {limit}, worst at frame {check.worst_frame}"
    lines = [
        f"value: {value}",
        f"limit: {limit}",
        f"worst frame: {check.worst_frame} (the first is 0) of {number_of(check.samples, 'frame')}",
        f"advice: {advice(check)}",
        *([f"note: {check.note}"] if check.note else []),
    ]
    text = "\n".join(_text(line) for line in lines)
    return f"      <failure type={_attribute(check.measure)} message={_attribute(message)}>{text}</failure>\n"


def _attribute(text: str) -> str:
    return quoteattr(clean(text))


def _text(text: str) -> str:
    return clean(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
