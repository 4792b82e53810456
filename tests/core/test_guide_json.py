"""The joint guide's written form: exact both ways, friendly to people, and hostile files are refused with the place."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core.errors import GuideError
from armwright.core.guide import FRONT, UP, ArmGuide, Guide, TorsoGuide
from armwright.core.guide_json import from_text, read, to_text

_floats = st.floats(allow_nan=False, allow_infinity=False)
_points = st.tuples(_floats, _floats, _floats)
_texts = st.text(max_size=10)
_arms = st.builds(ArmGuide, _texts, _points, _points, _points, _points, _points, _points, st.none() | _points)
_torsos = st.builds(TorsoGuide, _points, st.lists(_points, max_size=4).map(tuple), _points)
_guides = st.builds(
    Guide, _texts, st.lists(_arms, max_size=3).map(tuple), st.none() | _torsos, up=_points, front=_points
)


@settings(deadline=None)
@given(_guides)
def test_a_guide_reads_back_exactly_and_writes_the_same_bytes(guide: Guide) -> None:
    text = to_text(guide)
    assert from_text(text) == guide
    assert repr(from_text(text)) == repr(guide)
    assert to_text(from_text(text)) == text
    assert text.isascii() and text.endswith("\n")


BY_HAND = """{
  "format": "armwright.guide", "version": 1, "name": "Wren",
  "arms": [{"side": "L", "clavicle": [0.03, 0, 1.4], "shoulder": [0.2, 0, 1.4], "elbow": [0.45, 0.03, 1.4],
            "wrist": [0.7, 0, 1.4], "hand_end": [0.88, 0, 1.4], "palm": [0, 0, -1]}]
}"""


def test_a_guide_written_by_hand_may_leave_out_what_has_a_default() -> None:
    guide = from_text(BY_HAND)
    assert guide.arms[0].shoulder == (0.2, 0.0, 1.4)
    assert (guide.torso, guide.up, guide.front, guide.arms[0].bend) == (None, UP, FRONT, None)
    assert all(type(value) is float for value in guide.arms[0].palm)


def _edit(change: Callable[[Any], Any]) -> str:
    data = json.loads(BY_HAND)
    change(data)
    return json.dumps(data)


HOSTILE: list[tuple[str, str | bytes, str]] = [
    ("empty", "", "line 1, column 1"),
    ("cut off", BY_HAND[:100], r"line \d+, column \d+"),
    ("a plan", BY_HAND.replace("armwright.guide", "armwright.plan"), 'its format is "armwright.plan"'),
    ("newer", _edit(lambda d: d.update(version=2)), r"newer Armwright \(version 2; this one reads up to 1\)"),
    ("no arms", _edit(lambda d: d.pop("arms")), '"arms" is missing'),
    ("arms null", _edit(lambda d: d.update(arms=None)), "arms: expected a list, found null"),
    ("no elbow", _edit(lambda d: d["arms"][0].pop("elbow")), r'arms\[0\] \("L"\): the field "elbow" is missing'),
    (
        "misspelt",
        _edit(lambda d: d["arms"][0].update(elbo=1)),
        'unknown field "elbo", perhaps "elbow" is meant; known are side, clavicle',
    ),
    ("two numbers", _edit(lambda d: d["arms"][0].update(elbow=[1, 2])), r"\.elbow: expected 3 items, found 2"),
    ("text", _edit(lambda d: d["arms"][0]["elbow"].__setitem__(1, "2")), r"\.elbow\[1\]: expected a number"),
    ("NaN", _edit(lambda d: d["arms"][0]["elbow"].__setitem__(1, math.nan)), r"\.elbow\[1\]: expected a finite"),
    ("bend a text", _edit(lambda d: d["arms"][0].update(bend="back")), r"\.bend: expected a list or null"),
    ("bend short", _edit(lambda d: d["arms"][0].update(bend=[1])), r"\.bend: expected 3 items"),
    ("torso a list", _edit(lambda d: d.update(torso=[])), "torso: expected an object"),
    ("torso a text", _edit(lambda d: d.update(torso="x")), "torso: expected an object with named fields or null"),
    ("torso empty", _edit(lambda d: d.update(torso={})), 'torso: the field "root" is missing'),
    ("twice", BY_HAND.replace('"name": "Wren"', '"name": "Wren", "name": "W"'), '"name" is there twice'),
    (
        "arm's field twice",
        BY_HAND.replace('"side": "L"', '"side": "L", "side": "R"'),
        r'arms\[0\].*"side" is there twice',
    ),
]


@pytest.mark.parametrize(("text", "words"), [row[1:] for row in HOSTILE], ids=[row[0] for row in HOSTILE])
def test_a_hostile_text_is_refused_with_the_place(text: str | bytes, words: str) -> None:
    with pytest.raises(GuideError, match=words):
        from_text(text)


def test_a_file_reads_like_its_text(tmp_path: Path) -> None:
    path = tmp_path / "wren.json"
    path.write_text(BY_HAND, encoding="utf-8-sig")
    assert read(path) == from_text(BY_HAND)
    with pytest.raises(GuideError, match="can not be read"):
        read(tmp_path / "none.json")
