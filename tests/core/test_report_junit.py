"""JUnit XML: a suite per requirement, a case per check, counts that add up, nothing that a reader trips over."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from report_cases import check, failing, not_asked, results

from armwright.core.proof.farm import FAILED, Outcome
from armwright.core.proof.report.advice import advice
from armwright.core.proof.report.farm_junit import farm_junit
from armwright.core.proof.report.junit import junit
from armwright.core.proof.report.summary import verdict_sentence
from armwright.core.proof.results import OUT_OF_REACH, Check, Finding, Results

BEYOND = check("hold-hand", "hand", value=0.12, verdict=OUT_OF_REACH)
MIXED = (check(), failing(arm="R"), BEYOND, check("hold-hand", "hand", "R"), not_asked("hold-hand", "none"))

# Children and attributes that continuous-integration servers read in common (common practice, from memory).
ALLOWED = {
    "testsuites": ({"testsuite"}, {"name", "tests", "failures", "errors"}),
    "testsuite": ({"properties", "testcase"}, {"name", "tests", "failures", "errors", "skipped"}),
    "properties": ({"property"}, set()),
    "property": (set(), {"name", "value"}),
    "testcase": ({"failure", "skipped"}, {"classname", "name"}),
    "failure": (set(), {"type", "message"}),
    "skipped": (set(), {"message"}),
}


def parsed(of: Results) -> ET.Element:
    return ET.fromstring(junit(of).encode("utf-8"))


def case_of(root: ET.Element, of: Check) -> ET.Element:
    return next(case for case in root.iter("testcase") if case.get("name") == of.id)


def test_each_requirement_is_a_suite_and_each_check_a_case_of_it() -> None:
    root = parsed(results(MIXED))
    found = {suite.get("name"): [case.get("name") for case in suite.iter("testcase")] for suite in root}
    assert found == {"hold-hand": [MIXED[2].id, MIXED[3].id, MIXED[4].id], "hold-elbow": [MIXED[0].id, MIXED[1].id]}
    assert {case.get("classname") for case in root[0].iter("testcase")} == {"hold-hand"}


def test_the_counts_are_those_of_the_elements() -> None:
    root = parsed(results(MIXED))
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("5", "1", "0")
    for suite in root:
        assert int(suite.get("tests", "")) == len(list(suite.iter("testcase")))
        assert int(suite.get("failures", "")) == len(list(suite.iter("failure")))
        assert int(suite.get("skipped", "")) == len(list(suite.iter("skipped")))
        assert suite.get("errors") == "0"


def test_only_common_elements_and_attributes_are_used() -> None:
    for element in parsed(results(MIXED)).iter():
        children, attributes = ALLOWED[element.tag]
        assert {child.tag for child in element} <= children
        assert set(element.attrib) == attributes


def test_a_failure_says_value_limit_frame_and_what_to_do() -> None:
    failure = case_of(parsed(results(MIXED)), MIXED[1]).find("failure")
    assert failure is not None
    assert failure.get("message") == "wrist-slide 8e-05 L, limit 2e-06 L, worst at frame 7"
    assert advice(MIXED[1]) in (failure.text or "")
    assert "worst frame: 7 (the first is 0) of 40 frames" in (failure.text or "")


def test_a_value_without_a_number_says_so() -> None:
    broken = failing(value=math.nan)
    failure = case_of(parsed(results([broken])), broken).find("failure")
    assert failure is not None and "no number" in failure.get("message", "")


def test_out_of_reach_is_skipped_with_the_missing_distance_and_never_a_plain_pass() -> None:
    case = case_of(parsed(results(MIXED)), BEYOND)
    assert [child.tag for child in case] == ["skipped"]
    assert case[0].get("message") == "out of reach by 0.12 L"


def test_a_pass_has_nothing_inside() -> None:
    assert len(case_of(parsed(results(MIXED)), MIXED[0])) == 0


def test_every_suite_says_how_to_repeat_it() -> None:
    for suite in parsed(results(MIXED)):
        known = {item.get("name"): item.get("value") for item in suite.iter("property")}
        assert known == {"rig": "Wren", "host": "4.5.15", "plan_digest": "ab12cd", "seed": "3"}


def test_an_empty_proof_is_still_a_file() -> None:
    assert parsed(results([])).get("tests") == "0"


@given(name=st.text(), note=st.text())
def test_any_name_and_note_gives_well_formed_xml(name: str, note: str) -> None:
    checks = [failing(id=name, motion=name, note=note), check("hold-both", "both", verdict=OUT_OF_REACH, note=note)]
    root = parsed(results(checks, rig=name))
    assert len(list(root.iter("testcase"))) == 2


def test_names_survive_escaping() -> None:
    rig = """<script>"A" & 'b'</script>]]>"""
    assert parsed(results([failing(note=rig)], rig=rig)).find(".//property").get("value") == rig  # type: ignore[union-attr]


def test_arms_of_any_id_are_cases_of_their_own() -> None:
    items = [failing(arm=arm) for arm in ("L", "lower.L", "p_1.R", "boathook", "arm/2", '"<&>"')]
    found = [case.get("name") for case in parsed(results(items)).iter("testcase")]
    assert found == [item.id for item in items]


def test_what_was_found_in_the_file_is_a_suite_that_fails_only_with_what_no_proof_may_succeed_with() -> None:
    cycle = Finding("dependency-cycle", "ulna.L", "ulna.L needs <grip.L> & back.", "Take it out.")
    scaled = Finding("scaled-object", "Wren", "Its scale is 2.", "Apply it.")
    of = replace(results(MIXED), findings=(scaled, cycle))
    root = parsed(of)
    (suite,) = (suite for suite in root if suite.get("name") == "findings")
    assert (suite.get("tests"), suite.get("failures"), suite.get("skipped")) == ("2", "1", "1")
    assert (root.get("tests"), root.get("failures")) == ("7", "2")
    first, second = suite.iter("testcase")
    assert (first.get("classname"), first.get("name")) == ("findings", "scaled-object: Wren")
    skipped, failure = first.find("skipped"), second.find("failure")
    assert skipped is not None and skipped.get("message") == "Wren: Its scale is 2. Apply it."
    assert failure is not None and failure.get("type") == "dependency-cycle"
    assert failure.text == "ulna.L: ulna.L needs <grip.L> & back. Take it out."
    assert root.find("testsuite[@name='findings']/properties") is None
    assert all(suite.get("name") != "findings" for suite in parsed(results(MIXED)))


def test_the_findings_of_several_files_stand_under_their_names_and_are_counted() -> None:
    cycle = Finding("dependency-cycle", "ulna.L", "A circle.", "Take it out.")
    holding = replace(results((check(),)), findings=(cycle,))
    outcomes = (Outcome("wren.blend", FAILED, 1, "a circle", holding),)
    root = ET.fromstring(farm_junit(outcomes).encode("utf-8"))
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("2", "1", "0")
    assert [suite.get("name") for suite in root][-1] == "wren: findings"


def test_a_proof_with_a_cycle_does_not_say_that_its_arms_hold() -> None:
    cycle = Finding("dependency-cycle", "ulna.L", "A circle.", "Take it out.")
    said = verdict_sentence(replace(results((check(),)), findings=(cycle,)))
    assert "fails" in said and "dependency-cycle" in said and "holds" not in said
