"""Formats under values that hypothesis makes: what can be written reads back; any value in any field ends in words."""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from typing import Any

import pytest
from fuzz_mutations import Rng
from fuzz_readers import Reader, reader, readers, tried
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core import guide_json, rig_record
from armwright.core.card import card_json
from armwright.core.card.model import RigCard
from armwright.core.guide import Guide
from armwright.core.plan import json as plan_json
from armwright.core.plan.made import packed, unpacked
from armwright.core.plan.model import Plan
from armwright.core.rig_record import RigRecord
from armwright.core.study import study_json
from armwright.core.study.study_json import StudyRecord

_SCALARS: dict[Any, st.SearchStrategy[Any]] = {
    str: st.text(max_size=8),
    bool: st.booleans(),
    int: st.integers(-(2**53), 2**53),
    float: st.floats(allow_nan=False, allow_infinity=False),
    type(None): st.none(),
}
JSON = [item for item in readers() if item.seeds[0].startswith(b"{") and item.name not in ("torso", "kept proof")]


def values_of(hint: Any) -> st.SearchStrategy[Any]:
    """Values of a type that the codec knows."""
    if hint in _SCALARS:
        return _SCALARS[hint]
    if dataclasses.is_dataclass(hint):
        hints = typing.get_type_hints(hint)
        return st.builds(hint, **{field.name: values_of(hints[field.name]) for field in dataclasses.fields(hint)})
    arguments = typing.get_args(hint)
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        return st.one_of(*map(values_of, arguments))
    assert typing.get_origin(hint) is tuple, hint
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return st.lists(values_of(arguments[0]), max_size=2).map(tuple)
    return st.tuples(*map(values_of, arguments))


@pytest.mark.parametrize(
    ("kind", "write", "read"),
    [
        (Guide, guide_json.to_text, guide_json.from_text),
        (RigCard, card_json.to_text, card_json.from_text),
        (RigRecord, rig_record.to_text, rig_record.from_text),
        (Plan, packed, unpacked),
        (Plan, plan_json.to_text, plan_json.from_text),
    ],
    ids=["guide", "card", "record", "packed plan", "plan"],
)
@settings(max_examples=40, deadline=None, derandomize=True)
@given(data=st.data())
def test_whatever_can_be_written_reads_back_the_same(kind: Any, write: Any, read: Any, data: st.DataObject) -> None:
    value = data.draw(values_of(kind))
    if kind is Plan:
        first = typing.cast(Plan, plan_json.from_text(reader("plan").seeds[0]))
        value = dataclasses.replace(value, format=first.format, version=first.version)
    text = write(value)
    assert read(text) == value
    assert write(read(text)) == text


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.data())
def test_a_studys_record_reads_back_with_any_figures(data: st.DataObject) -> None:
    record = study_json.from_text(reader("study").seeds[0])
    drawn = data.draw(values_of(StudyRecord))
    arms = tuple(dataclasses.replace(arm, arm=str(at)) for at, arm in enumerate(drawn.arms))
    value = dataclasses.replace(record, name=drawn.name, notes=drawn.notes, torso=drawn.torso, arms=arms, phases=())
    assert study_json.from_text(study_json.to_text(value)) == value


_GARBAGE = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(st.characters(), max_size=12)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


@pytest.mark.parametrize("of", JSON, ids=lambda item: item.name)
@settings(max_examples=60, deadline=None, derandomize=True)
@given(garbage=_GARBAGE, seed=st.integers(0, 2**32))
def test_any_value_in_any_field_is_taken_or_refused_in_words(of: Reader, garbage: Any, seed: int) -> None:
    rng = Rng(seed)
    data = json.loads(of.seeds[0])
    holder, steps = data, rng.randrange(1, 5)
    for step in range(steps):
        key = rng.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
        if step == steps - 1 or not isinstance(holder[key], dict | list) or not holder[key]:
            holder[key] = garbage
            break
        holder = holder[key]
    tried(of, json.dumps(data).encode())


@pytest.mark.parametrize("of", [item for item in readers() if item.name != "mesh"], ids=lambda item: item.name)
@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.binary(max_size=200))
def test_any_bytes_are_refused_in_words(of: Reader, data: bytes) -> None:
    tried(of, data)
