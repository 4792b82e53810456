"""What strangers might smuggle in: code through expressions, other paths through names, markup through reports."""

from __future__ import annotations

import ast
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from fuzz_expressions import STOLEN, grown
from fuzz_mutations import HOSTILE_NAMES, Rng
from fuzz_readers import reader, readers, tried
from hypothesis import given, settings
from hypothesis import strategies as st
from made_motions import held_hand
from report_cases import check, failing, results, trace
from sheets import SHEET

from armwright.core.errors import PlanError
from armwright.core.plan import expressions
from armwright.core.plan import json as plan_json
from armwright.core.plan.made import bone_path, driven_path
from armwright.core.plan.model import Plan
from armwright.core.plan.validate import validate
from armwright.core.proof import history
from armwright.core.proof.report import html as report_html
from armwright.core.proof.report.junit import junit
from armwright.core.proof.results import Finding, Results
from armwright.core.sheet import sheet_toml
from armwright.core.study.study import study
from armwright.core.study_page import page as study_page

CODE = (
    *STOLEN,
    "a.b",
    "a[0]",
    "[a]",
    "{a}",
    "(a,)",
    "'a'",
    "a if b",
    "lambda a: a",
    "a := 1",
    "*a",
    "**a",
    "a\\\nb",
    "a;b",
    "a\n",
    "a\tb",
    "#a",
    "a#b",
    "ａ + 1",
    "ſin(a)",
    "ａbs(a)",
    "sin",
    "abs",
    "pi()",
    "abs(a)(b)",
    "0x1",
    "1_000",
    "1j",
    "True",
    "None",
    "...",
    "not",
    "a and",
    "a is b",
    "a in b",
    "a < b < c",
    "abs(x=a)",
    "abs(*a)",
    "1e999",
    "0b1",
    "0777",
    "",
    " ",
    "(" * 250 + "a" + ")" * 250,
    "a" * 300,
    "a+" * 200 + "a",
    "-" * 250 + "a",
    "a\x00",
    "a\u200b",
    "a\u202e",
)
MARKUP = (
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    '" onmouseover="alert(1)',
    "' autofocus onfocus='",
    "javascript:alert(1)",
    "{{7*7}}",
    "]]><x/>",
    "--><script>",
    "&#60;script&#62;",
    "\x00\x01\x1b",
    "\u202egnp.x",
    "<!ENTITY",
    "</style><script>",
    "</title><script>",
    "</svg><script>",
    "\ud800",
    "\ufffe",
    "<![CDATA[",
    "a" * 3000,
)


def plan() -> Plan:
    return plan_json.from_text(reader("plan").seeds[0])


@pytest.mark.parametrize("text", CODE, ids=lambda text: repr(text[:30]))
def test_no_code_passes_for_an_expression(text: str) -> None:
    for names in ((), ("a",), ("a", "b"), ("a", "b", "c")):
        with pytest.raises(PlanError):
            expressions.check(text, names)
    first = plan().drivers[0]
    with pytest.raises(PlanError):
        validate(replace(plan(), drivers=(replace(first, expression=text),)))


def test_what_passes_is_arithmetic_on_known_names_alone() -> None:
    seed, passed = 20, 0
    print("seed", seed)
    rng = Rng(seed)
    allowed = (
        ast.Expression,
        ast.Constant,
        ast.Name,
        ast.Load,
        ast.BinOp,
        ast.UnaryOp,
        ast.BoolOp,
        ast.IfExp,
        ast.Compare,
        ast.Call,
        ast.operator,
        ast.unaryop,
        ast.boolop,
        ast.cmpop,
    )
    for _ in range(3_000):
        text = grown(rng, rng.randrange(5))
        try:
            expressions.check(text, [name for name in "abc" if name in text.replace("abs", "").replace("acos", "")])
        except PlanError:
            continue
        passed += 1
        for node in ast.walk(ast.parse(text.strip(), mode="eval")):
            assert isinstance(node, allowed), text
            if isinstance(node, ast.Call):
                assert isinstance(node.func, ast.Name) and node.func.id in expressions.FUNCTIONS, text
    assert passed > 300


@pytest.mark.parametrize("name", [*HOSTILE_NAMES, 'a"b', "a[b", "\u2028", "é" * 31 + "xx"], ids=lambda n: repr(n[:20]))
def test_a_hostile_property_name_is_refused_or_stays_one_name(name: str) -> None:
    whole = plan()
    changed = replace(whole, drivers=(), properties=(replace(whole.properties[0], name=name),))
    try:
        validate(changed)
    except PlanError:
        return
    assert not set('"\\[]\n\x00') & set(name)
    assert 0 < len(name.encode()) <= 63


@pytest.mark.parametrize("name", [*HOSTILE_NAMES, 'a"b', 'Spine "old"', "x\\", '\\"'], ids=lambda n: repr(n[:20]))
def test_a_bones_path_leads_to_that_bone_whatever_its_name(name: str) -> None:
    path = bone_path(name)
    start, end = 'pose.bones["', '"]'
    assert path.startswith(start) and path.endswith(end)
    inner, at, read = path[len(start) : -len(end)], 0, ""
    while at < len(inner):
        assert inner[at] != '"', path
        at += inner[at] == "\\"
        read += inner[at]
        at += 1
    assert read == name
    driver = replace(plan().drivers[0], bone=name)
    assert driven_path(driver)[0].startswith(path)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.text(min_size=1, max_size=80))
def test_a_bones_name_that_the_host_would_cut_is_refused(name: str) -> None:
    whole = plan()
    other = replace(whole.bones[0], name=name)
    longer = replace(other, name=name + "x" * 63)
    try:
        validate(replace(whole, bones=(other,), constraints=(), drivers=(), properties=(), roles=(), torso="", root=""))
    except PlanError:
        pass
    else:
        assert len(name.encode()) <= 63 and name.isprintable()
    with pytest.raises(PlanError):
        validate(replace(whole, bones=(longer,), constraints=(), drivers=(), properties=(), roles=()))


@pytest.mark.parametrize(
    "path",
    ["../x.bvh", "a/../../x", "/etc/passwd", "C:\\x", "\\\\host\\x", "..", "a\\..\\..\\x", "C:x", "x\x00", "x\n", ""],
)
def test_a_sheet_names_no_file_outside_its_folder(path: str) -> None:
    assert SHEET.recording is not None
    text = sheet_toml.to_text(SHEET).replace('torso = "torso.bvh"', f"torso = {sheet_toml.value_text(path)}")
    assert text != sheet_toml.to_text(SHEET)
    assert "torso" in tried(reader("sheet"), text.encode())


@pytest.mark.parametrize("name", ["../x", "a/b", "a\\b", "C:x", ".hidden", "a\x00", "..", "<x>", "a|b", "\u202ex"])
def test_a_characters_name_that_could_name_another_file_is_refused(name: str) -> None:
    import json

    data = json.loads(reader("guide").seeds[0])
    assert tried(reader("guide"), json.dumps({**data, "name": name}).encode())


class Looks(HTMLParser):
    """Notes every tag and attribute of a page."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    handle_startendtag = handle_starttag


def harmless(text: str, plain: str) -> None:
    """A page whose names are hostile has the tags of one whose names are plain, and no attribute that runs anything."""
    found, wanted = Looks(), Looks()
    found.feed(text)
    wanted.feed(plain)
    assert found.tags == wanted.tags
    assert [name for name, _ in found.attributes] == [name for name, _ in wanted.attributes]
    assert not [name for name, _ in found.attributes if name.startswith("on")]
    links = [value for name, value in found.attributes if name in ("href", "src", "action", "xlink:href")]
    assert all(value.startswith(("#", "data:image/png")) for value in links), links


def with_words(word: str) -> Results:
    """Results in which every text that is free is `word`."""
    worst = failing(arm="R", motion=word, measure=word, note=word)
    own = check(word, "none", note=word, motion=f"m {word}")
    checks = (worst, own, check())
    finding = Finding("dependency-cycle", word, word, word)
    made = results(checks, [trace(item) for item in checks], rig=word)
    return replace(made, host=word, plan_digest=word, findings=(finding,))


@pytest.mark.parametrize("word", MARKUP, ids=lambda word: repr(word[:24]))
def test_a_hostile_name_is_text_in_the_report_and_in_junit(word: str) -> None:
    harmless(report_html.page(with_words(word)), report_html.page(with_words("plain")))
    compared = history.compare(with_words(word), with_words(word))
    found = ET.fromstring(junit(with_words(word), compared).encode("utf-8"))
    wanted = ET.fromstring(
        junit(with_words("plain"), history.compare(with_words("plain"), with_words("plain"))).encode()
    )
    assert [item.tag for item in found.iter()] == [item.tag for item in wanted.iter()]
    assert [sorted(item.attrib) for item in found.iter()] == [sorted(item.attrib) for item in wanted.iter()]


@pytest.mark.parametrize("word", MARKUP, ids=lambda word: repr(word[:24]))
def test_a_hostile_name_is_text_in_the_page_of_a_study(word: str) -> None:
    made = study(replace(held_hand(24.0, 1, True).motion, name="plain"))
    hostile = replace(made, motion=replace(made.motion, name=word, notes=(word,)))
    plain = replace(made, motion=replace(made.motion, notes=("plain",)))
    harmless(study_page.page(hostile, replace(SHEET, name=word)), study_page.page(plain, replace(SHEET, name="plain")))


@pytest.mark.parametrize("of", [item for item in readers() if item.name != "mesh"], ids=lambda item: item.name)
def test_hostile_inputs_end_in_a_sentence_or_are_taken(of: object) -> None:
    seed = 3
    print("seed", seed)
    rng = Rng(seed)
    for _ in range(120):
        tried(of, of.mutate(rng, b""))  # type: ignore[attr-defined]
