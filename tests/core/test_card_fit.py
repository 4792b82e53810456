"""A card is held against the armature: what does not fit is named, with what was likely meant."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from card_sketches import BENT, arm_length, keeper, mirrored

from armwright.core.card import card_json
from armwright.core.card.card_json import CardFile
from armwright.core.card.draft import draft
from armwright.core.card.fit_check import check_fit, misfits
from armwright.core.card.model import CardArm, Dial, Mode, RigCard, Setting
from armwright.core.card.sketch import RigSketch, SketchBone, SketchConstraint, SketchDriver, SketchProperty
from armwright.core.card.units import unit_for
from armwright.core.errors import CardError


def _sketch() -> RigSketch:
    """A keeper whose hands are held, with a property and constraints to set."""
    grips = [
        SketchBone(f"grip.{side}", "", mirrored(BENT[3], side), mirrored(BENT[4], side),
                   properties=(SketchProperty("reach", 0.0, 0.0, 1.0),),
                   constraints=(SketchConstraint("stay", "CHILD_OF", "chest"),
                                SketchConstraint("led", "CHILD_OF", "waist", driver=SketchDriver())))
        for side in "LR"
    ]  # fmt: skip
    beneath = SketchBone("ring.L", "palm.L", mirrored(BENT[4], "L"), (0.8, 0.0, 1.0))
    return replace(keeper(), bones=(*keeper().bones, *grips, beneath), properties=(SketchProperty("lamp", 0.0),))


CARD = replace(draft(keeper()), guesses=())


def _with(**changes: Any) -> RigCard:
    left = replace(CARD.arms[0], hand_hold="grip.L", **changes)
    return replace(CARD, arms=(left, *CARD.arms[1:]))


def _set(**setting: Any) -> RigCard:
    return _with(modes=(Mode("none", (Setting(**{"bone": "grip.L", "value": 1.0, **setting}),)),))


def test_a_card_that_fits_is_taken() -> None:
    for card in (CARD, _set(property="reach"), _set(constraint="stay"), _set(bone="", property="lamp", value=-9.0)):
        assert misfits(card, _sketch()) == ()


WRONG: list[tuple[Callable[[], RigCard], str, str]] = [
    (lambda: _with(forearm="ulan.L"), "arms[0].forearm", 'no bone "ulan.L" in the armature; the nearest name is "ul'),
    (lambda: replace(CARD, torso=("pelvis", "wast", "chest")), "torso[1]", 'the nearest name is "waist"'),
    (lambda: replace(CARD, root="zzzz"), "root", "there is "),
    (lambda: _with(upper_arm="ulna.L", forearm="humerus.L"), "arms[0].forearm", "upside down"),
    (lambda: _with(fk_upper_arm="palm.L", fk_hand="humerus.L"), "arms[0].fk_hand", "upside down"),
    (lambda: replace(CARD, torso=("chest", "waist")), "torso[1]", "the other way round"),
    (lambda: replace(CARD, torso=("femur.L", "chest")), "torso[1]", "not carried by"),
    (lambda: replace(CARD, torso=("pelvis", "ring.L")), "torso[1]", "cyclic"),
    (lambda: replace(CARD, torso=("chest",), root="skull"), "root", "carried by"),
    (lambda: replace(_with(), arms=(replace(CARD.arms[0], hand_hold="ring.L"),)), "arms[0].hand_hold", "cyclic"),
    (lambda: _set(property="raech"), "arms[0].modes[0].settings[0].property", 'the nearest name is "reach"'),
    (lambda: _set(bone="", property="lmap"), "arms[0].modes[0].settings[0].property", "the armature object has no"),
    (lambda: _set(bone="gripp.L", property="reach"), "arms[0].modes[0].settings[0].bone", '"grip.L"'),
    (lambda: _set(property="reach", value=1.5), "arms[0].modes[0].settings[0].value", "outside the limits"),
    (lambda: _set(constraint="stya"), "arms[0].modes[0].settings[0].constraint", 'the nearest name is "stay"'),
    (lambda: _set(constraint="led"), "arms[0].modes[0].settings[0].constraint", "is driven"),
    (lambda: _with(blend=Dial("grip.L", "reach", off=0.0, on=7.0)), "arms[0].blend.on", "outside the limits"),
    (lambda: replace(CARD, unit_m=0.01), "unit_m", "1 (metres) would make it"),
    (lambda: replace(CARD, unit_m=100.0), "unit_m", "0.2 to 3 m long"),
]  # fmt: skip


@pytest.mark.parametrize(("make", "where", "what"), WRONG, ids=[f"{where} {what}" for _, where, what in WRONG])
def test_each_misfit_is_named_with_its_field_and_what_is_meant(
    make: Callable[[], RigCard], where: str, what: str
) -> None:
    found = [problem.sentence() for problem in misfits(make(), _sketch())]
    assert any(line.startswith(f"{where}: ") and what in line for line in found), found


def test_joints_that_are_at_one_point_are_no_arm() -> None:
    sketch = _sketch()
    flat = [replace(bone, head=(0.18, 0.0, 1.43)) if bone.name == "ulna.L" else bone for bone in sketch.bones]
    found = [problem.sentence() for problem in misfits(CARD, replace(sketch, bones=tuple(flat)))]
    assert any(line.startswith("arms[0].forearm: ") and "no length" in line for line in found), found


@pytest.mark.parametrize("unit", [1.0, 0.01, 0.001])
def test_the_unit_that_fits_an_arm_of_usual_size_is_the_one_it_was_made_in(unit: float) -> None:
    found = unit_for(arm_length(BENT) / unit)
    assert found is not None and found[0] == unit


def test_all_misfits_are_said_together_with_the_file_s_lines(tmp_path: Path) -> None:
    file = tmp_path / "card.json"
    file.write_text(card_json.to_text(replace(_with(forearm="ulan.L"), root="grund", rig="")))
    with pytest.raises(CardError) as caught:
        check_fit(card_json.read_file(file), _sketch())
    lines = str(caught.value).splitlines()
    text = file.read_text().splitlines()
    assert len(lines) == 3
    for line, word in zip(lines, ("ulan.L", '"rig"', "grund"), strict=True):
        name, number, _ = line.split(", ", 2)
        assert name == "card.json" and word in text[int(number.removeprefix("line ")) - 1], line


def test_a_card_from_no_file_is_refused_without_lines() -> None:
    card = RigCard("K", (CardArm("L", "a", "b", "c"),), ("t",))
    with pytest.raises(CardError, match=r"^arms\[0\]\.upper_arm: there is no bone"):
        check_fit(CardFile(card), _sketch())
