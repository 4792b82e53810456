"""A rig card's mistakes are found all together, each with line and field and what to do."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core.card import card_json
from armwright.core.card.check import problems_of
from armwright.core.card.model import CardArm, Dial, Guess, Mode, RigCard, Setting
from armwright.core.card.places import Places, path_in, places_of, written
from armwright.core.card.problems import MOST_SAID, Problem, refuse
from armwright.core.errors import CardError

LEFT = CardArm(
    "L",
    "humerus.L",
    "ulna.L",
    "palm.L",
    clavicle="collarbone.L",
    fk_upper_arm="humerus.L",
    hand_hold="grip.L",
    elbow_hold="rest.L",
    elbow_aim="bend.L",
    modes=(Mode("none", (Setting("grip.L", 0.0, "reach"),)), Mode("hand", (Setting("grip.L", 1.0, "reach"),))),
    blend=Dial("grip.L", "reach"),
)
CARD = RigCard("Keeper", (LEFT,), ("waist", "chest"), "ground", guesses=(Guess("L", "hand", "palm.L", 0.9, "size"),))


def test_a_good_card_has_no_problems_and_reads_back_as_it_was(tmp_path: Path) -> None:
    assert problems_of(CARD) == ()
    file = tmp_path / "card.json"
    file.write_text(card_json.to_text(CARD))
    assert card_json.read(file) == CARD


def _arm(**changes: Any) -> RigCard:
    return replace(CARD, arms=(replace(LEFT, **changes),))


WRONG: list[tuple[RigCard, str, str]] = [
    (replace(CARD, rig=""), "rig", "is missing"),
    (replace(CARD, arms=()), "arms", "no arms"),
    (_arm(arm=""), "arms[0].arm", "can not be an arm's id"),
    (_arm(arm="L\n"), "arms[0].arm", "can not be an arm's id"),
    (replace(CARD, arms=(LEFT, replace(LEFT, upper_arm="a", forearm="b", hand="c", fk_upper_arm=""))), "arms[1].arm",
     "is there already"),
    (_arm(hand=""), "arms[0].hand", "needs this bone"),
    (_arm(forearm=""), "arms[0].forearm", "needs this bone"),
    (_arm(upper_arm="", fk_upper_arm=""), "arms[0].upper_arm", "needs this bone"),
    (_arm(hand="ulna.L"), "arms[0].hand", "is the forearm too"),
    (_arm(fk_forearm="humerus.L"), "arms[0].fk_forearm", "is the fk_upper_arm too"),
    (_arm(fk_hand="ulna.L"), "arms[0].fk_hand", "can not turn the hand as well"),
    (_arm(elbow_aim="grip.L"), "arms[0].elbow_aim", "is the hand_hold too"),
    (_arm(fk_hand="grip.L"), "arms[0].hand_hold", "cyclic"),
    (_arm(hand_hold="palm.L"), "arms[0].hand_hold", "cyclic"),
    (replace(CARD, arms=(LEFT, CardArm("R", "humerus.R", "ulna.L", "palm.R"))), "arms[1].forearm", 'of the arm "L"'),
    (_arm(modes=(Mode("waving"),)), "arms[0].modes[0].mode", "the modes are none, hand, elbow, both"),
    (_arm(modes=(Mode("none"), Mode("none"))), "arms[0].modes[1].mode", "there twice"),
    (_arm(hand_hold=""), "arms[0].modes[1].mode", "needs a bone hand_hold"),
    (_arm(modes=(Mode("none", (Setting("grip.L", 0.0),)),)), "arms[0].modes[0].settings[0]", "neither"),
    (_arm(modes=(Mode("none", (Setting("grip.L", 0.0, "a", "b"),)),)), "arms[0].modes[0].settings[0]", "both"),
    (_arm(modes=(Mode("none", (Setting("g", 0.0, "a"), Setting("g", 1.0, "a"))),)), "arms[0].modes[0].settings[1]",
     "has set the same"),
    (_arm(modes=(Mode("none", (Setting("g", math.nan, "a"),)),)), "arms[0].modes[0].settings[0].value", "not a finite"),
    (_arm(modes=(Mode("none", (Setting("g", 2.0, constraint="a"),)),)), "arms[0].modes[0].settings[0].value",
     "between 0 and 1"),
    (_arm(modes=(Mode("none", (Setting("", 1.0, constraint="a"),)),)), "arms[0].modes[0].settings[0].bone", "name the"),
    (_arm(blend=Dial("grip.L")), "arms[0].blend", "neither"),
    (_arm(lift=Dial("grip.L", "a", off=1.0)), "arms[0].lift.on", "does not turn"),
    (_arm(stretch=Dial("grip.L", "a", off=math.inf)), "arms[0].stretch.off", "not a finite"),
    (replace(CARD, torso=()), "torso", "empty"),
    (replace(CARD, torso=("waist", "")), "torso[1]", "missing"),
    (replace(CARD, torso=("waist", "waist")), "torso[1]", "twice"),
    (replace(CARD, torso=("waist", "ulna.L")), "torso[1]", "not torso"),
    (replace(CARD, root="waist"), "root", "outside"),
    (replace(CARD, unit_m=0.0), "unit_m", "not more than 0"),
    (replace(CARD, unit_m=-1.0), "unit_m", "not more than 0"),
    (replace(CARD, unit_m=math.nan), "unit_m", "not more than 0"),
    (replace(CARD, unit_m=1e-5), "unit_m", "likely 0.001 (millimetres)"),
    (replace(CARD, unit_m=1e4), "unit_m", "0.0254 for inches"),
    (replace(CARD, up=(0.0, 0.0, 2.0)), "up", "its length is 2"),
    (replace(CARD, front=(0.0, 0.0, 0.0)), "front", "its length is 0"),
    (replace(CARD, front=(0.0, 0.0, 1.0)), "front", "0.0 degrees from up"),
    (replace(CARD, guesses=(Guess("", "root", "g", 1.5, ""),)), "guesses[0].confidence", "between 0 and 1"),
]  # fmt: skip


@pytest.mark.parametrize(("card", "where", "what"), WRONG, ids=[f"{where} {what}" for _, where, what in WRONG])
def test_each_mistake_in_a_card_is_named_with_its_field(card: RigCard, where: str, what: str) -> None:
    found = [problem.sentence() for problem in problems_of(card)]
    assert any(line.startswith(f"{where}: ") and what in line for line in found), found


TEXT = """{
  "format": "armwright.card", "version": 1,
  "rig": "Keeper",
  "torso": ["waist", "chest"],
  "arms": [
    {
      "arm": "L",
      "upper_arm": "humerus.L", "forearm": "ulna.L",
      "hand": "palm.L",
      "modes": [
        {"mode": "none"},
        {"mode": "hand",
         "settings": [
           {"bone": "grip.L", "property": "reach",
            "value": 1.0}
         ]}
      ]
    }
  ]
}"""


def test_a_wrong_value_is_named_by_file_line_and_field(tmp_path: Path) -> None:
    file = tmp_path / "card.json"
    file.write_text(TEXT.replace("1.0", '"on"'))
    with pytest.raises(CardError) as caught:
        card_json.read(file)
    said = str(caught.value)
    assert said.startswith("card.json, line 15, arms[0].modes[1].settings[0]"), said
    assert ".value: expected a number" in said


def test_a_misspelt_field_is_looked_up_in_its_own_line() -> None:
    with pytest.raises(CardError, match=r"^line 9, arms\[0\]: unknown field \"hnad\""):
        card_json.from_text(TEXT.replace('"hand": "palm', '"hnad": "palm'))


def test_a_missing_field_is_looked_up_where_it_would_be() -> None:
    with pytest.raises(CardError, match=r"^line 6, arms\[0\]: the field \"hand\" is missing"):
        card_json.from_text(TEXT.replace('"hand": "palm.L",', ""))


def test_mistakes_in_meaning_are_said_together_in_the_order_of_the_lines(tmp_path: Path) -> None:
    file = tmp_path / "card.json"
    file.write_text(TEXT.replace('"palm.L"', '"ulna.L"').replace('"Keeper"', '""'))
    with pytest.raises(CardError) as caught:
        card_json.read(file)
    lines = str(caught.value).splitlines()
    assert [line.split(": ")[0] for line in lines] == [
        "card.json, line 3, rig",
        "card.json, line 9, arms[0].hand",
        "card.json, line 12, arms[0].modes[1].mode",
    ]


def test_of_very_many_mistakes_the_first_twenty_are_said() -> None:
    with pytest.raises(CardError) as caught:
        refuse([Problem(("torso", number), "wrong") for number in range(33)])
    lines = str(caught.value).splitlines()
    assert (len(lines), lines[-1]) == (MOST_SAID + 1, "and 13 more")


_json = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


def _lines_by_walking(value: Any, path: tuple[str | int, ...], found: dict[Any, int]) -> None:
    """Where `json.dumps(value, indent=1)` puts each value, counted by writing the parts."""
    found[path] = found.get("line", 1)
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    pairs = list(items)
    for key, inner in pairs:
        found["line"] = found.get("line", 1) + 1
        _lines_by_walking(inner, (*path, key), found)
    if pairs:
        found["line"] = found.get("line", 1) + 1


@settings(deadline=None)
@given(_json)
def test_every_value_s_line_is_the_one_that_it_is_written_on(value: Any) -> None:
    found: dict[Any, int] = {}
    _lines_by_walking(value, (), found)
    found.pop("line", None)
    assert places_of(json.dumps(value, indent=1)).lines == found


@given(st.lists(st.from_regex(r"[a-z_]{1,5}", fullmatch=True) | st.integers(0, 99), min_size=1, max_size=6))
def test_a_path_is_read_back_from_a_message(steps: list[str | int]) -> None:
    steps = ["arms", *steps]
    assert path_in(f"{written(tuple(steps))}: it is wrong") == tuple(steps)


@pytest.mark.parametrize("name", ["x", 'a"): b: c', "\\", "]", "é" * 40, "z" * 200])
def test_a_bone_s_name_in_a_message_does_not_lead_astray(name: str) -> None:
    text = json.dumps({"format": "armwright.card", "version": 1, "rig": "K", "torso": [], "arms": [
        {"arm": "L", "upper_arm": "a", "forearm": "b", "hand": "c",
         "modes": [{"mode": "none", "settings": [{"bone": name, "value": None}]}]}]}, indent=1)  # fmt: skip
    line = 1 + [part.strip() for part in text.splitlines()].index('"value": null')
    with pytest.raises(CardError, match=f"^line {line}, arms"):
        card_json.from_text(text)


def test_without_a_text_a_message_has_no_line() -> None:
    assert Places().put("arms[0].hand: wrong") == "arms[0].hand: wrong"


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=200) | st.text(max_size=200) | _json.map(json.dumps))
def test_any_text_gives_a_card_or_a_sentence(text: str | bytes) -> None:
    _card_or_sentence(text)


def _edits(draw: Callable[[Any], Any]) -> str:
    data = json.loads(card_json.to_text(CARD))
    spots: list[tuple[Any, Any]] = []

    def walk(value: Any) -> None:
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            spots.append((value, key))
            if isinstance(inner, dict | list):
                walk(inner)

    walk(data)
    for _ in range(draw(st.integers(1, 4))):
        holder, key = draw(st.sampled_from(spots))
        holder[key] = draw(_json)
    return json.dumps(data, indent=draw(st.sampled_from([None, 1])))


@settings(deadline=None, max_examples=200)
@given(st.composite(_edits)())
def test_any_edit_of_a_card_gives_a_card_or_a_sentence(text: str) -> None:
    _card_or_sentence(text)


def _card_or_sentence(text: str | bytes) -> None:
    try:
        card = card_json.from_text(text)
    except CardError as problem:
        assert str(problem)
        return
    for problem in problems_of(card):
        assert problem.sentence()
