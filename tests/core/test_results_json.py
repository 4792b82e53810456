"""results.json: it round-trips, equal results give equal bytes; a damaged or false file is refused with its place."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armwright.core.errors import ProofError
from armwright.core.proof.cases import MODES, Case
from armwright.core.proof.results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, PASS, Check, Finding, MadeWith, Results
from armwright.core.proof.results_json import NO_NUMBER, from_text, read, summary, to_text

CHECK = Check(
    id="hold-elbow/torso-wiggle/isolate=0,lift=1,stretch=0/L/wrist-slide",
    requirement="hold-elbow",
    motion="torso-wiggle",
    case=Case("elbow", 0.0, 1.0, 0.0),
    arm="L",
    measure="wrist-slide",
    unit="L",
    value=1.1e-07,
    limit=2e-06,
    verdict=PASS,
    worst_frame=113,
    samples=240,
)
RESULTS = Results(
    "4.5.15",
    "Wren",
    "ab12",
    1,
    (("L", 0.58), ("R", 0.58)),
    (CHECK,),
    frames_per_second=1834.5,
    made_with=MadeWith("0.1.0", "3.11.0", "2.0.0", "steps.bvh", "cd34"),
    findings=(Finding("scaled-object", "Wren", "Its scale is 0.01.", "Apply the scale."),),
)


def with_check(**changes: Any) -> Results:
    return replace(RESULTS, checks=(replace(CHECK, **changes),))


# The example of the format's description, with the summary and the arm filled in.
DESCRIBED = {
    "format": "armwright.results",
    "version": 1,
    "host": "4.5.15",
    "rig": "Wren",
    "plan_digest": "ab12",
    "seed": 1,
    "arms": {"L": {"length_m": 0.58}, "R": {"length_m": 0.58}},
    "checks": [
        {
            "id": "hold-elbow/torso-wiggle/isolate=0,lift=1,stretch=0/L/wrist-slide",
            "requirement": "hold-elbow",
            "motion": "torso-wiggle",
            "case": {"mode": "elbow", "isolate": 0, "lift": 1, "stretch": 0},
            "arm": "L",
            "measure": "wrist-slide",
            "unit": "L",
            "value": 1.1e-07,
            "limit": 2e-06,
            "verdict": "pass",
            "worst_frame": 113,
            "samples": 240,
            "note": "",
        }
    ],
    "summary": {"pass": 1, "fail": 0, "out_of_reach": 0, "not_applicable": 0},
    "evaluation": {"frames_per_second": 1834.5},
    "made_with": {
        "armwright": "0.1.0",
        "python": "3.11.0",
        "numpy": "2.0.0",
        "recorded": "steps.bvh",
        "recorded_digest": "cd34",
        "card_digest": "",
        "sheet_digest": "",
    },
    "findings": [
        {
            "kind": "scaled-object",
            "where": "Wren",
            "what": "Its scale is 0.01.",
            "advice": "Apply the scale.",
        }
    ],
}


def test_the_file_has_the_described_shape_and_no_other() -> None:
    assert json.loads(to_text(RESULTS)) == DESCRIBED


def test_a_file_from_before_versions_and_findings_were_written_is_read() -> None:
    old = {name: value for name, value in DESCRIBED.items() if name not in ("made_with", "findings")}
    assert from_text(json.dumps(old)) == replace(RESULTS, made_with=MadeWith(), findings=())


def test_whole_dials_are_written_without_a_point() -> None:
    assert '"isolate": 0, "lift": 1, "mode": "elbow", "stretch": 0' in to_text(RESULTS)


def test_a_file_in_the_described_shape_is_read_whatever_its_layout() -> None:
    assert from_text(json.dumps(DESCRIBED, indent=3)) == RESULTS
    assert from_text(json.dumps(DESCRIBED).encode("utf-8")) == RESULTS


names = st.text(max_size=12)
sizes = st.floats(0.0, 1e300)


@st.composite
def any_checks(draw: st.DrawFn) -> tuple[Check, ...]:
    out = []
    for identity in draw(st.lists(st.text(min_size=1, max_size=20), unique=True, max_size=6)):
        verdict = draw(st.sampled_from([PASS, FAIL, OUT_OF_REACH, NOT_APPLICABLE]))
        samples = draw(st.integers(1, 1000))
        value, limit = sorted((draw(sizes), draw(sizes)), reverse=verdict == FAIL)
        dials = [draw(st.floats(0.0, 1.0)) for _ in range(3)]
        out.append(
            Check(
                id=identity,
                requirement=draw(names),
                motion=draw(names),
                case=Case(draw(st.sampled_from(MODES)), *dials),
                arm=draw(st.sampled_from("LR")),
                measure=draw(names),
                unit=draw(st.sampled_from(["L", "deg", "1"])),
                value=value,
                limit=limit,
                verdict=verdict,
                worst_frame=draw(st.integers(0, samples - 1)),
                samples=samples,
                note=draw(names),
            )
        )
    return tuple(out)


@given(checks=any_checks(), rig=names, seed=st.integers(-(2**53), 2**53), rate=sizes)
def test_results_round_trip_exactly_and_give_the_same_bytes(
    checks: tuple[Check, ...], rig: str, seed: int, rate: float
) -> None:
    results = Results("5.2.3", rig, "", seed, (("L", 0.5), ("R", 0.25)), checks, frames_per_second=rate)
    text = to_text(results)
    assert text.isascii() and text.endswith("}\n")
    assert from_text(text) == results
    assert to_text(from_text(text)) == text


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_failing_value_without_a_number_is_null_and_its_note_says_so(value: float) -> None:
    text = to_text(with_check(value=value, verdict=FAIL, note="3 frames"))

    row = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))["checks"][0]
    assert row["value"] is None
    assert row["note"] == f"3 frames; {NO_NUMBER}"
    back = from_text(text)
    assert math.isnan(back.checks[0].value)
    assert to_text(back) == text


def test_traces_stay_out_of_the_file_and_the_counts_are_those_of_the_checks() -> None:
    checks = tuple(replace(CHECK, id=str(n), verdict=v) for n, v in enumerate([PASS, FAIL, FAIL, OUT_OF_REACH]))
    assert summary(checks) == {"pass": 1, "fail": 2, "out_of_reach": 1, "not_applicable": 0}
    assert "traces" not in json.loads(to_text(replace(RESULTS, checks=checks)))


def damaged(*path: Any, value: Any) -> str:
    """The described file with one value replaced, or added."""
    data = json.loads(json.dumps(DESCRIBED))
    inner = data
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return json.dumps(data)


HOSTILE = [
    ("cut off", to_text(RESULTS)[:-40], "not complete JSON"),
    ("empty", "", "not complete JSON"),
    ("a list", "[]", "a list"),
    ("another format", damaged("format", value="armwright.plan"), "armwright.plan"),
    ("newer", damaged("version", value=2), "newer Armwright"),
    ("version as text", damaged("version", value="1"), "version"),
    ("unknown verdict", damaged("checks", 0, "verdict", value="fine"), r'checks\[0\] \("hold-elbow.*verdict: "fine"'),
    ("unknown mode", damaged("checks", 0, "case", "mode", value="foot"), r"checks\[0\].*case\.mode"),
    ("unknown unit", damaged("checks", 0, "unit", value="m"), r"checks\[0\].*unit"),
    ("unknown arm", damaged("checks", 0, "arm", value="M"), r"checks\[0\].*arm: \"M\" is not among"),
    ("dial past its end", damaged("checks", 0, "case", "lift", value=1.5), r"case\.lift: 1\.5"),
    ("NaN", damaged("checks", 0, "value", value=math.nan), r"checks\[0\].*value: expected a finite number"),
    ("infinite limit", damaged("checks", 0, "limit", value=math.inf), r"checks\[0\].*limit: expected a finite number"),
    ("null that passes", damaged("checks", 0, "value", value=None), r"checks\[0\].*value: the value is not a finite"),
    ("passes over its limit", damaged("checks", 0, "value", value=1e-5), "it passes with 1e-05 over its limit"),
    ("negative value", damaged("checks", 0, "value", value=-1.0), "neither is below 0"),
    ("value as text", damaged("checks", 0, "value", value="1"), r"checks\[0\].*value: expected a number"),
    ("samples as a fraction", damaged("checks", 0, "samples", value=2.5), r"samples: expected a whole number"),
    ("frame after the last", damaged("checks", 0, "worst_frame", value=240), "worst frame is 240 of 240"),
    ("nothing looked at", damaged("checks", 0, "samples", value=0), r"worst frame|no frame was looked at"),
    ("no name", damaged("checks", 0, "id", value=""), r"checks\[0\].*id: it is empty"),
    ("name twice", damaged("checks", value=DESCRIBED["checks"] * 2), r"checks\[1\].*there twice"),  # type: ignore[operator]
    ("a check is a number", damaged("checks", value=[1]), r"checks\[0\]: expected an object"),
    ("checks are an object", damaged("checks", value={}), "checks: expected a list"),
    ("unknown field of a check", damaged("checks", 0, "extra", value=1), r'checks\[0\].*unknown field "extra"'),
    ("unknown field", damaged("extra", value=1), 'unknown field "extra"'),
    ("seed true", damaged("seed", value=True), "seed: expected a whole number"),
    ("rig is a number", damaged("rig", value=4), "rig: expected a text"),
    ("arms are a list", damaged("arms", value=[]), "arms: expected an object"),
    ("arm without an id", damaged("arms", "", value={"length_m": 1.0}), 'arms: "" is no arm'),
    ("arm of no length", damaged("arms", "L", "length_m", value=0), r"arms\.L\.length_m"),
    ("arm that is missing", damaged("arms", value={"R": {"length_m": 1.0}}), '"L" is not among the arms'),
    ("miscounted", damaged("summary", "pass", value=2), "summary: its counts"),
    ("counts are true", damaged("summary", "pass", value=True), "summary: its counts"),
    ("summary without fail", damaged("summary", value={"pass": 1}), 'summary: the field "fail" is missing'),
    ("negative rate", damaged("evaluation", "frames_per_second", value=-1), "frames_per_second: -1"),
    ("field twice", '{"seed": 2, ' + json.dumps(DESCRIBED)[1:], '"seed" is there twice'),
    ("arm twice", json.dumps(DESCRIBED).replace('"R": {', '"L": {'), '"L" is there twice'),
    ("value twice", json.dumps(DESCRIBED).replace('"value"', '"value": null, "value"'), '"value" is there twice'),
]


@pytest.mark.parametrize(("text", "message"), [row[1:] for row in HOSTILE], ids=[row[0] for row in HOSTILE])
def test_a_damaged_or_false_file_is_refused_with_its_place(text: str, message: str) -> None:
    with pytest.raises(ProofError, match=message):
        from_text(text)


@pytest.mark.parametrize("name", sorted(DESCRIBED.keys() - {"made_with", "findings"}))
def test_a_missing_field_is_named(name: str) -> None:
    with pytest.raises(ProofError, match=name):
        from_text(json.dumps({key: value for key, value in DESCRIBED.items() if key != name}))


@pytest.mark.parametrize(
    ("results", "message"),
    [
        (with_check(value=math.nan), "only a failing check"),
        (with_check(limit=math.nan), "limit"),
        (with_check(verdict="fine"), "verdict"),
        (with_check(value=3e-6), "over its limit"),
        (with_check(worst_frame=1.5), "worst_frame"),
        (replace(RESULTS, checks=(CHECK, CHECK)), "there twice"),
        (replace(RESULTS, arm_lengths=(("L", 0.5), ("L", 0.5))), "arms: an arm is there twice"),
        (replace(RESULTS, arm_lengths=(("R", 0.5),)), "not among the arms"),
        (replace(RESULTS, arm_lengths=(("L", math.inf),)), "length_m"),
        (replace(RESULTS, frames_per_second=math.nan), "frames_per_second"),
        (replace(RESULTS, seed=2**54), "seed"),
    ],
)
def test_what_could_not_be_read_back_is_not_written(results: Results, message: str) -> None:
    with pytest.raises(ProofError, match=message):
        to_text(results)


def test_a_message_shortens_and_escapes_a_strangers_words() -> None:
    with pytest.raises(ProofError) as caught:
        from_text(damaged("checks", 0, "verdict", value="\x1b[31m" + "x" * 5000))
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 500


def test_a_file_is_read_and_a_missing_one_is_named(tmp_path: Any) -> None:
    place = tmp_path / "results.json"
    place.write_text(to_text(RESULTS), encoding="ascii")
    assert read(place) == RESULTS
    with pytest.raises(ProofError, match=r"nothing\.json can not be read"):
        read(tmp_path / "nothing.json")


# An id of another rig's arm; none that a guide would make is stranger than the second.
STRANGE = ("lower.L", "p_19.R", "boathook", "Haken äöü", "arm/2", "L.R", '"<&>"', "length_m")


def test_arms_of_any_id_are_read_back() -> None:
    checks = tuple(replace(CHECK, id=CHECK.id.replace("/L/", f"/{arm}/"), arm=arm) for arm in STRANGE)
    given = replace(RESULTS, arm_lengths=tuple((arm, 0.5) for arm in STRANGE), checks=checks)
    text = to_text(given)
    assert text.isascii()
    assert from_text(text) == replace(given, arm_lengths=tuple(sorted(given.arm_lengths)))
    assert set(json.loads(text)["arms"]) == set(STRANGE)


@pytest.mark.parametrize("arm", ["", " ", "L\n", "\x1b[2J", "‮L", "a" * 64])
def test_what_can_be_no_arms_id_is_refused(arm: str) -> None:
    with pytest.raises(ProofError, match="no arm's id"):
        to_text(with_check(arm=arm))
    with pytest.raises(ProofError, match="no arm's id"):
        to_text(replace(RESULTS, arm_lengths=((arm, 0.5),), checks=()))
    with pytest.raises(ProofError, match="no arm's id"):
        from_text(json.dumps(DESCRIBED | {"arms": {arm: {"length_m": 0.58}}}))
