"""A proof beside an earlier one: what counts as worse, what is only told, what can not be compared."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from report_cases import check, failing, not_asked, results

from armwright.core.errors import ProofError
from armwright.core.proof import history
from armwright.core.proof.report import history as words
from armwright.core.proof.report.html import page
from armwright.core.proof.report.junit import junit
from armwright.core.proof.results import NOT_APPLICABLE, OUT_OF_REACH, Check, MadeWith

LIMIT = 2e-6


def compared(before: Sequence[Check], after: Sequence[Check], **changes: Any) -> history.Comparison:
    return history.compare(results(before, ()), replace(results(after, ()), **changes))


def kinds(found: history.Comparison) -> tuple[list[str], list[str]]:
    return [change.kind for change in found.regressions], [change.kind for change in found.told]


@pytest.mark.parametrize(
    ("then", "now", "regressions"),
    [
        (0.06, 0.13, [history.GREW]),  # shares of the limit: more than twice, over a tenth
        (0.06, 0.119, []),  # less than twice
        (0.06, 0.12, []),  # twice is not more than twice
        (0.001, 0.0999, []),  # a hundred times, below the floor
        (0.001, 0.11, [history.GREW]),
        (0.0, 0.11, [history.GREW]),  # from nothing
        (0.0, 0.0, []),
        (0.5, 0.01, []),  # smaller
    ],
)
def test_a_value_has_grown_if_it_is_more_than_twice_and_over_a_tenth_of_its_limit(
    then: float, now: float, regressions: list[str]
) -> None:
    found = compared([check(value=then * LIMIT)], [check(value=now * LIMIT)])
    assert kinds(found) == (regressions, [])
    assert found.compared == 1


def test_rounding_noise_is_no_regression() -> None:
    assert not compared([check(value=1e-9)], [check(value=3e-9)]).regressions


def test_the_factor_is_the_callers() -> None:
    before, after = results([check(value=0.2 * LIMIT)], ()), results([check(value=0.7 * LIMIT)], ())
    assert history.compare(before, after, growth=3.0).regressions
    assert not history.compare(before, after, growth=4.0).regressions


@pytest.mark.parametrize("growth", [1.0, 0.5, -2.0, math.nan, math.inf])
def test_a_factor_by_which_nothing_grows_is_refused(growth: float) -> None:
    with pytest.raises(ProofError, match=r"--growth.*above 1"):
        history.compare(results([check()]), results([check()]), growth)


def test_a_raised_limit_does_not_hide_a_grown_value() -> None:
    found = compared([check(value=2e-7)], [check(value=1.9e-6, limit=1e-3)])
    assert kinds(found)[0] == [history.GREW]
    assert any("another limit" in note for note in found.notes)


BEYOND = {"value": 0.12, "verdict": OUT_OF_REACH}
UNASKED = {"value": 0.0, "verdict": NOT_APPLICABLE, "samples": 0, "worst_frame": 0}
BROKEN = {"value": 8e-5, "verdict": "fail"}


@pytest.mark.parametrize(
    ("then", "now", "expected"),
    [
        ({}, BROKEN, ([history.FAILS], [])),
        (BEYOND, BROKEN, ([history.FAILS], [])),
        (UNASKED, BROKEN, ([history.FAILS], [])),
        ({}, BEYOND, ([history.UNMEASURED], [])),
        ({}, UNASKED, ([history.UNMEASURED], [])),
        (BROKEN, UNASKED, ([history.UNMEASURED], [])),
        (BROKEN, BEYOND, ([history.UNMEASURED], [])),
        (BEYOND, UNASKED, ([history.UNMEASURED], [])),
        (BROKEN, {}, ([], [history.HOLDS])),
        (BEYOND, {}, ([], [history.HOLDS])),
        (UNASKED, {}, ([], [history.HOLDS])),
        (UNASKED, BEYOND, ([], [history.CHANGED])),
        (BROKEN, BROKEN, ([], [])),
        (UNASKED, UNASKED, ([], [])),
        (BROKEN, BROKEN | {"value": 2e-4}, ([history.GREW], [])),
        (BROKEN, BROKEN | {"value": math.nan}, ([history.GREW], [])),
        (BROKEN | {"value": math.nan}, BROKEN, ([], [])),
        (BEYOND, BEYOND | {"value": 0.3}, ([history.GREW], [])),
    ],
)
def test_every_change_of_verdict_is_judged(
    then: dict[str, Any], now: dict[str, Any], expected: tuple[list[str], list[str]]
) -> None:
    assert kinds(compared([check(**then)], [check(**now)])) == expected


def test_what_vanished_is_a_regression_and_what_is_new_is_told() -> None:
    found = compared([check(), check("swing", "none")], [check(), check("lift", "none")])
    assert [change.check.requirement for change in found.regressions] == ["swing"]
    assert kinds(found) == ([history.VANISHED], [history.NEW])


def test_an_entry_that_never_applied_may_go() -> None:
    assert kinds(compared([check(), not_asked("plant", "none")], [check()])) == ([], [history.GONE])


def test_the_gravest_comes_first_and_the_worst_of_each_kind() -> None:
    before = [check(), check("swing", "none"), check("lift", "none", value=1e-7), check("lift", "hand", value=1e-7)]
    after = [
        failing(),
        check("lift", "none", value=5e-7),
        check("lift", "hand", value=9e-7),
    ]
    found = compared(before, after)
    assert [(change.kind, change.check.case.mode) for change in found.regressions] == [
        (history.FAILS, "elbow"),
        (history.VANISHED, "none"),
        (history.GREW, "hand"),
        (history.GREW, "none"),
    ]


def test_another_rig_is_refused() -> None:
    with pytest.raises(ProofError, match=r"'Heron'.*'Wren'"):
        history.compare(results([check()], rig="Heron"), results([check()]))


def test_a_rig_without_an_arm_in_common_is_refused() -> None:
    earlier = replace(results([]), arm_lengths=(("upper.L", 0.5),))
    with pytest.raises(ProofError, match=r"none of the arms.*upper\.L.*L, R"):
        history.compare(earlier, results([check()]))


def test_an_arm_that_is_gone_is_a_regression_for_each_of_its_checks() -> None:
    found = compared([check(), check(arm="R")], [check()], arm_lengths=(("L", 0.58),))
    assert [(change.kind, change.check.arm) for change in found.regressions] == [(history.VANISHED, "R")]


def test_another_plan_or_host_is_compared_and_said() -> None:
    found = compared([check(value=1e-7)], [check(value=1e-6)], plan_digest="ffff", host="5.2.3")
    assert kinds(found)[0] == [history.GREW]
    assert any("plan changed" in note and "ab12cd" in note and "ffff" in note for note in found.notes)
    assert any("4.5.15" in note and "5.2.3" in note for note in found.notes)


def test_another_seed_leaves_out_what_depends_on_it_and_nothing_else() -> None:
    before = [check(motion="torso-wiggle+far"), check("lift", "none", motion="raise"), check("switch", motion="rest+x")]
    after = [replace(item, value=1.9e-6) for item in before]
    before = [replace(item, value=1e-7) for item in before]
    found = compared(before, after, seed=4)
    assert [change.check.motion for change in found.regressions] == ["raise"]
    assert (found.compared, found.apart) == (1, 2)
    assert any("seed was 3 and is 4" in note and "torso-wiggle" in note for note in found.notes)


def test_the_motions_that_depend_on_the_seed_are_those_that_differ_between_two_seeds() -> None:
    from armwright.core.proof.run_plan import standard_motions

    differ = {
        one.name
        for one, other in zip(standard_motions(1), standard_motions(2), strict=True)
        if any((getattr(one, part) != getattr(other, part)).any() for part in ("torso", "travel", "hand", "elbow"))
    }
    assert history.seeded_motions() == differ


RECORDED = (check(motion="recorded"), check("switch", "hand", motion="recorded+to-none"), check("lift", "none"))


@pytest.mark.parametrize(("then", "now", "apart"), [("aa", "aa", 0), ("aa", "bb", 2), ("", "", 2), ("", "aa", 2)])
def test_checks_of_another_or_an_unknown_recording_are_left_out(then: str, now: str, apart: int) -> None:
    before, after = (
        replace(results(RECORDED, ()), made_with=MadeWith(recorded_digest=digest)) for digest in (then, now)
    )
    found = history.compare(before, after)
    assert (found.compared, found.apart) == (3 - apart, apart)
    assert any("can not be compared" in note for note in found.notes) == bool(apart)


def test_a_recording_that_is_not_played_again_is_no_loss() -> None:
    before = replace(results(RECORDED, ()), made_with=MadeWith(recorded_digest="aa"))
    found = history.compare(before, results([check("lift", "none")], ()))
    assert kinds(found) == ([], [])
    assert (found.compared, found.apart) == (1, 2)


def test_another_unit_is_not_compared() -> None:
    found = compared([check(value=1e-9)], [check(value=1e-6, unit="deg")])
    assert (found.compared, found.apart, found.regressions) == (0, 1, ())


WORSE = compared([check(value=1e-7), check("swing", "none")], [check(value=1e-6)])


def test_the_floor_and_the_factor_are_printed() -> None:
    text = words.text(WORSE)
    assert "2 times" in text and "10 %" in text
    assert "1 vanished, 1 grew" in text
    assert check().id in text and "1e-07 L -> 1e-06 L" in text


def test_nothing_worse_is_said() -> None:
    assert "nothing got worse" in words.text(compared([check()], [check()]))


def test_the_page_has_the_section_and_escapes_what_it_names() -> None:
    name = '<i>"x"</i>'
    found = compared([check(), check(id=name, measure=name)], [check()])
    text = page(results([check()]), compared=found)
    assert 'id="history"' in text and "&lt;i&gt;" in text and name not in text
    assert 'id="history"' not in page(results([check()]))


def test_junit_has_a_failing_case_for_each_regression() -> None:
    root = ET.fromstring(junit(results([check(value=1e-6)]), WORSE))
    (suite,) = [item for item in root if item.get("name") == "history"]
    failed = [case for case in suite.iter("testcase") if case.find("failure") is not None]
    assert [case.get("name") for case in failed] == [change.check.id for change in WORSE.regressions]
    assert [case[0].get("type") for case in failed] == [history.VANISHED, history.GREW]
    assert "1e-07 L (holds) then, 1e-06 L (holds) now, limit 2e-06 L" in failed[1][0].get("message", "")
    assert (suite.get("tests"), suite.get("failures")) == ("3", "2")
    assert (root.get("tests"), root.get("failures")) == ("4", "2")


def test_junit_without_a_regression_says_what_was_compared() -> None:
    root = ET.fromstring(junit(results([check()]), compared([check()], [check()], host="5.2.3")))
    (suite,) = [item for item in root if item.get("name") == "history"]
    assert [len(case) for case in suite.iter("testcase")] == [0]
    assert "5.2.3" in suite.find(".//property").get("value", "")  # type: ignore[union-attr]
