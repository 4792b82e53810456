"""The table for the terminal and the words that all reports share."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from report_cases import check, failing, not_asked, results

from armwright.core.proof.report.advice import advice
from armwright.core.proof.report.summary import TITLES, by_requirement, quantity, share, verdict_sentence
from armwright.core.proof.report.table import table
from armwright.core.proof.results import FAIL, OUT_OF_REACH, VERDICTS, Check, Finding, Results
from armwright.core.proof.verdicts import EVERY

BEYOND = check(value=0.12, verdict=OUT_OF_REACH, motion="far")


def test_a_line_a_requirement_in_their_order_then_the_verdict() -> None:
    lines = table(results([check(), check("swing", "none"), BEYOND])).splitlines()
    assert [line.split("  ")[0] for line in lines[2:]] == ["swing", "hold-elbow", "", lines[-1]]
    assert lines[-1] == "Both arms of Wren hold: 3 checks, 0 failed, 1 out of reach."


def test_the_line_shows_the_worst_of_its_verdict() -> None:
    line = table(results([check(value=1.9e-6), failing(arm="R", value=0.25), failing(value=0.125)])).splitlines()[2]
    words = "hold-elbow FAILS 0.25 L 2e-06 L wrist-slide R elbow, isolate 0, lift 1, stretch 0 3 2 0"
    assert " ".join(line.split()) == words


def test_columns_are_aligned() -> None:
    checks = [check("swing", "none", value=1e-9), failing(), BEYOND, not_asked("hold-both", "none")]
    lines = table(results(checks)).splitlines()[:-2]
    edges = [index for index, letter in enumerate(lines[1]) if letter == " " and lines[1][index - 1] == "-"]
    assert len(edges) == 9
    for line in lines:
        assert all(line[edge : edge + 2].strip() == "" for edge in edges)


def test_nothing_measured_is_no_pass() -> None:
    assert verdict_sentence(results([])) == "Nothing is known about Wren: no check was made that applies."
    assert "Nothing is known" in verdict_sentence(results([not_asked("lift", "none")]))
    assert (
        verdict_sentence(results([BEYOND]))
        == "Nothing is proved about Wren: the one check that applies was out of reach."
    )


@pytest.mark.parametrize(
    ("checks", "sentence"),
    [
        ([check(), check(arm="R")], "Both arms of Wren hold: 2 checks, 0 failed."),
        (
            [failing(), check(arm="R")],
            "The left arm of Wren fails: 1 of 2 checks failed in hold-elbow; the right arm holds.",
        ),
        (
            [failing(), failing("lift", arm="R"), failing("swing", arm="R"), BEYOND],
            "Both arms of Wren fail: 3 of 4 checks failed in swing, hold-elbow and lift; 1 out of reach.",
        ),
    ],
)
def test_the_verdict_is_one_sentence(checks: list[Check], sentence: str) -> None:
    assert verdict_sentence(results(checks)) == sentence


FOUR = ("L", "R", "lower.L", "lower.R")


@pytest.mark.parametrize(
    ("bad", "sentence"),
    [
        ((), "All 4 arms of Wren hold: 4 checks, 0 failed."),
        (
            ("lower.L",),
            "The lower left arm of Wren fails: 1 of 4 checks failed in hold-elbow; the others hold.",
        ),
        (
            ("L", "lower.L"),
            "The left and lower left arms of Wren fail: 2 of 4 checks failed in hold-elbow; the others hold.",
        ),
        (
            ("L", "R", "lower.L"),
            "The left, right and lower left arms of Wren fail: 3 of 4 checks failed in hold-elbow; "
            "the lower right arm holds.",
        ),
        (FOUR, "All 4 arms of Wren fail: 4 of 4 checks failed in hold-elbow."),
    ],
)
def test_four_arms_are_told_apart_in_the_verdict(bad: tuple[str, ...], sentence: str) -> None:
    checks = [failing(arm=arm) if arm in bad else check(arm=arm) for arm in FOUR]
    four = replace(results(checks), arm_lengths=tuple((arm, 0.5) for arm in FOUR))
    assert verdict_sentence(four) == sentence


def test_one_arm_is_called_by_its_side() -> None:
    one = replace(results([check(arm="R")]), arm_lengths=(("R", 0.5),))
    assert verdict_sentence(one) == "The right arm of Wren holds: 1 check, 0 failed."


def test_a_name_can_not_drive_the_terminal() -> None:
    hostile: Results = results([failing("\x1b[2Jlift", measure="a\nb")], rig="Wren\x1b]0;\x07\u202e")
    assert "\x1b" not in table(hostile) and "\x07" not in table(hostile) and "\u202e" not in table(hostile)
    assert len(table(hostile).splitlines()) == 5


def test_requirements_without_a_title_follow_those_with_one() -> None:
    found = by_requirement([check("of-its-own"), check("twist"), check("swing", "none")])
    assert list(found) == ["swing", "twist", "of-its-own"]


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (0.0, 2e-6, "0 %"),
        (1e-9, 2e-6, "under 1 %"),
        (1.999e-6, 2e-6, "99 %"),
        (2e-6, 2e-6, "100 %"),
        (2.0001e-6, 2e-6, "1.1 times"),
        (5e-2, 2e-6, "25,000 times"),
        (2.46e-5, 2e-6, "12 times"),
        (1.0, 0.0, "over"),
        (0.0, 0.0, "0 %"),
        (math.nan, 1.0, "no number"),
        (math.inf, 1.0, "no number"),
    ],
)
def test_a_share_never_hides_on_which_side_of_its_limit_a_value_is(value: float, limit: float, text: str) -> None:
    assert share(check(value=value, limit=limit, verdict=FAIL)) == text


@pytest.mark.parametrize(
    ("value", "unit", "plain", "pretty"),
    [(1.1e-7, "L", "1.1e-07 L", "1.1×10⁻⁷ L"), (0.05, "deg", "0.05 deg", "0.05 deg"), (2.0, "1", "2", "2")],
)
def test_quantities_are_read_by_people(value: float, unit: str, plain: str, pretty: str) -> None:
    assert quantity(value, unit, plain=True) == plain
    assert quantity(value, unit) == pretty


def test_every_requirement_has_a_title_and_advice_of_its_own() -> None:
    assert {requirement.ID for requirement in EVERY} <= set(TITLES)
    unknown = advice(failing("of-its-own"))
    words = [advice(failing(name, measure="anything")) for name in TITLES]
    assert unknown not in words
    assert len(set(words)) == len(words)
    for verdict in VERDICTS:
        assert advice(check(verdict=verdict)).endswith(".")


def test_advice_for_the_swinging_hand_differs_from_that_for_the_sliding_elbow() -> None:
    assert "forearm's FK control" in advice(failing(measure="wrist-slide"))
    assert advice(failing(measure="elbow-slide")) != advice(failing(measure="wrist-slide"))
    assert "no number" in advice(failing(value=math.nan))


def test_what_is_wrong_with_the_file_is_said_with_what_to_do() -> None:
    finding = Finding("scaled-object", "Wren", "The armature object is scaled by 2.", "Apply its scale.")
    text = table(replace(results([check()]), findings=(finding,)))
    assert "found in the file\n  Wren: The armature object is scaled by 2. Apply its scale.\n" in text
    assert "found in the file" not in table(results([check()]))
