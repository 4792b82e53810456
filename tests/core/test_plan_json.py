"""The plan's written form: exact both ways, and hostile files are refused with the place."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core import codec
from armwright.core.errors import PlanError
from armwright.core.plan.json import digest, from_text, read, to_text
from armwright.core.plan.model import (
    Bone,
    Constraint,
    Display,
    Driver,
    External,
    Plan,
    Property,
    Role,
    Variable,
)

_texts = st.text(max_size=12)
_floats = st.floats(allow_nan=False, allow_infinity=False)
_whole = st.integers(-(2**53), 2**53)
_rests = st.tuples(*[st.tuples(*[_floats] * 4)] * 4)
_flags = st.tuples(*[st.booleans()] * 3)
_triples = st.tuples(*[_floats] * 3)
_displays = st.builds(Display, _texts, _texts, _triples, _triples, _texts)
_bones = st.builds(
    Bone,
    _texts,
    _texts,
    _rests,
    _floats,
    _texts,
    _texts,
    st.booleans(),
    st.booleans(),
    _flags,
    _flags,
    _flags,
    _displays,
    st.booleans(),
)
_scalars = st.one_of(st.booleans(), _whole, _floats, _texts)
_settings = st.lists(st.tuples(_texts, _scalars), max_size=3).map(tuple)
_constraints = st.builds(Constraint, _texts, _texts, _texts, _texts, _floats, _settings, _texts)
_variables = st.builds(Variable, _texts, _texts, _texts, _texts, _texts, _whole)
_drivers = st.builds(
    Driver, _texts, _texts, _texts, st.lists(_variables, max_size=2).map(tuple), _whole, _texts, _texts
)


def _few(items: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(items, max_size=2).map(tuple)


_plans = st.builds(
    Plan,
    name=_texts,
    bones=_few(_bones),
    constraints=_few(_constraints),
    drivers=_few(_drivers),
    properties=_few(st.builds(Property, _texts, _texts, _floats, _floats, _floats, _texts, st.booleans(), _texts)),
    roles=_few(st.builds(Role, _texts, _texts, _texts)),
    external=_few(st.builds(External, _texts, _rests, _floats)),
    torso=_texts,
    root=_texts,
    guide=_texts,
    options=_texts,
)


def _types(value: Any) -> Any:
    """The value with the types of its parts: True == 1 == 1.0 must not pass for each other."""
    if dataclasses.is_dataclass(value):
        return [_types(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, tuple):
        return [_types(item) for item in value]
    return type(value), repr(value)


@settings(max_examples=150, deadline=None)
@given(_plans)
def test_a_plan_reads_back_exactly_and_writes_the_same_bytes(plan: Plan) -> None:
    text = to_text(plan)
    back = from_text(text)
    assert back == plan
    assert _types(back) == _types(plan)
    assert to_text(back) == text
    assert from_text(text.encode()) == plan
    assert text.isascii() and text.endswith("\n")
    assert digest(plan) == digest(back)


REST = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
PLAN = Plan(
    "Wren",
    (Bone("fk.hand.L", "", REST, 0.2, "Arm L"),),
    (Constraint("fk.hand.L", "turn", "copy_rotation", "torso"),),
    external=(External("torso", REST, 0.5),),
)


def test_whole_numbers_in_number_fields_give_the_same_bytes_as_decimals() -> None:
    whole = dataclasses.replace(PLAN, bones=(dataclasses.replace(PLAN.bones[0], length=2),))
    decimal = dataclasses.replace(PLAN, bones=(dataclasses.replace(PLAN.bones[0], length=2.0),))
    assert to_text(whole) == to_text(decimal)


def test_digests_of_different_plans_differ() -> None:
    other = dataclasses.replace(PLAN, bones=(dataclasses.replace(PLAN.bones[0], length=math.nextafter(0.2, 1.0)),))
    assert digest(other) != digest(PLAN)
    assert len(digest(PLAN)) == 64


def _edit(change: Callable[[dict[str, Any]], None]) -> str:
    data = json.loads(to_text(PLAN))
    change(data)
    return json.dumps(data)


def _set(path: str, value: Any) -> str:
    """The plan's text with the value at a path such as "bones 0 rest" replaced."""

    def change(data: Any) -> None:
        *steps, last = [int(step) if step.isdigit() else step for step in path.split()]
        for step in steps:
            data = data[step]
        data[last] = value

    return _edit(change)


HOSTILE: list[tuple[str, str | bytes, str]] = [
    ("empty", "", "not complete JSON.*line 1, column 1"),
    ("cut off", to_text(PLAN)[: len(to_text(PLAN)) // 2], r"not complete JSON.*line \d+, column \d+"),
    ("cut at the last bracket", to_text(PLAN).rstrip()[:-1], r"not complete JSON.*line \d+"),
    ("two objects", to_text(PLAN) * 2, "not complete JSON: Extra data"),
    ("a list", "[]", "not a plan: it holds a list"),
    ("a number", "3", "not a plan: it holds the number 3"),
    ("null", "null", "not a plan: it holds null"),
    ("an empty object", "{}", '"format" is missing'),
    ("not UTF-8", b"\xff\xfe{}", "not UTF-8.*byte 0"),
    ("another format", _set("format", "armwright.guide"), 'its format is "armwright.guide", expected "armwright.plan"'),
    ("a format that is a list", _set("format", []), "its format is a list of 0"),
    (
        "a newer version",
        _set("version", 7),
        r"newer Armwright \(version 7; this one reads up to 2\): update the extension",
    ),
    ("a newer version with new fields", _edit(lambda d: d.update(version=3, wings=[])), "update the extension"),
    ("version 0", _set("version", 0), "version 0: expected"),
    ("version true", _set("version", True), "version true"),
    ("version 1.0", _set("version", 1.0), "version 1.0"),
    ("no version", _edit(lambda d: d.pop("version")), '"version" is missing'),
    ("unknown field", _edit(lambda d: d.update(script="x")), 'unknown field "script"'),
    ("unknown field of a bone", _set("bones 0 script", 1), r'bones\[0\] \("fk.hand.L"\): unknown field "script"'),
    ("missing field", _edit(lambda d: d.pop("torso")), '"torso" is missing'),
    ("missing field of a bone", _edit(lambda d: d["bones"][0].pop("length")), r'bones\[0\].*"length" is missing'),
    ("bones an object", _set("bones", {}), "bones: expected a list, found an object"),
    ("a bone null", _set("bones 0", None), r"bones\[0\]: expected an object with named fields, found null"),
    ("name a number", _set("name", 5), "name: expected a text, found the number 5"),
    (
        "rest with three rows",
        _set("bones 0 rest", [[1, 0, 0, 0]] * 3),
        r"bones\[0\].*\.rest: expected 4 items, found 3",
    ),
    ("rest with text", _set("bones 0 rest 1 2", "1"), r'\.rest\[1\]\[2\]: expected a number, found the text "1"'),
    ("rest with true", _set("bones 0 rest 1 2", True), r"\.rest\[1\]\[2\]: expected a number, found true"),
    ("NaN", _set("bones 0 rest 1 2", math.nan), r"\.rest\[1\]\[2\]: expected a finite number, found nan"),
    ("Infinity", _set("bones 0 length", math.inf), r"\.length: expected a finite number, found inf"),
    ("-Infinity", _set("bones 0 length", -math.inf), r"\.length: expected a finite number, found -inf"),
    ("1e999", to_text(PLAN).replace('"length": 0.2', '"length": 1e999'), r"\.length: expected a finite number"),
    ("a setting with NaN", _set("constraints 0 settings", [["a", math.nan]]), r"settings\[0\]\[1\]: expected a finite"),
    ("a setting null", _set("constraints 0 settings", [["a", None]]), r"settings\[0\]\[1\]: expected true or false or"),
    ("a huge whole number", _set("bones 0 length", 10**400), r"\.length: this whole number is too large"),
    ("digits without end", '{"format": ' + "9" * 10_000 + "}", "too many digits"),
    ("nested without end", "[" * 100_000, "nests lists too deeply|not complete JSON"),
    ("nested objects without end", '{"a":' * 100_000, "nests lists too deeply|not complete JSON"),
    # Looking through all earlier names for each name would take hours here.
    (
        "very many fields, the last twice",
        "{" + ", ".join(f'"f{place}": 0' for place in range(300_000)) + ', "f299999": 1}',
        '"f299999" is there twice',
    ),
    ("a field twice", to_text(PLAN).replace('"root": ""', '"root": "",\n"root": ""'), '"root" is there twice'),
    (
        "a bone's field twice",
        to_text(PLAN).replace('"length": 0.2', '"length": 0.2, "length": 0.3'),
        r'bones\[0\] \("fk.hand.L"\): the field "length" is there twice',
    ),
]


@pytest.mark.parametrize(("text", "words"), [row[1:] for row in HOSTILE], ids=[row[0] for row in HOSTILE])
def test_a_hostile_text_is_refused_with_the_place(text: str | bytes, words: str) -> None:
    with pytest.raises(PlanError, match=words) as caught:
        from_text(text)
    assert len(str(caught.value)) < 500


def test_every_beginning_of_a_plan_s_text_is_refused() -> None:
    text = to_text(PLAN).rstrip()
    for end in range(len(text)):
        with pytest.raises(PlanError):
            from_text(text[:end])


@settings(max_examples=100, deadline=None)
@given(st.recursive(_scalars | st.none(), lambda inner: st.lists(inner) | st.dictionaries(_texts, inner)), st.data())
def test_any_value_in_any_place_is_read_or_refused_with_a_plan_error(value: Any, data: st.DataObject) -> None:
    field = data.draw(st.sampled_from(sorted(json.loads(to_text(PLAN)))))
    try:
        plan = from_text(_set(field, value))
    except PlanError as problem:
        assert field in str(problem) or "version" in str(problem)
    else:
        assert json.loads(to_text(plan))[field] == value


def test_a_text_over_the_limit_is_refused_before_it_is_parsed() -> None:
    with pytest.raises(PlanError, match="too large"):
        from_text("[" * (codec.MOST_BYTES + 1))


def test_a_file_over_the_limit_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    with path.open("wb") as file:
        file.truncate(codec.MOST_BYTES + 1)
    with pytest.raises(PlanError, match="too large"):
        read(path)


def test_a_file_reads_like_its_text_with_or_without_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text(to_text(PLAN), encoding="utf-8")
    assert read(path) == PLAN
    path.write_text(to_text(PLAN), encoding="utf-8-sig")
    assert read(path) == PLAN


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"plan\.json can not be read"):
        read(tmp_path / "plan.json")


@pytest.mark.parametrize("value", [math.nan, math.inf, "0.2", None, True])
def test_a_plan_with_a_wrong_value_is_not_written(value: Any) -> None:
    broken = dataclasses.replace(PLAN, bones=(dataclasses.replace(PLAN.bones[0], length=value),))
    with pytest.raises(PlanError, match=r'bones\[0\] \("fk.hand.L"\)\.length'):
        to_text(broken)
