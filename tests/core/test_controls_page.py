"""The page that says what each control does: everything is told once, safely, and no number hides another."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from armwright.core.arm.build import plan_arms
from armwright.core.arm.dials import DIALS
from armwright.core.controls.model import Control, Dial, Limb, ModeWords, Sheet
from armwright.core.controls.page import page, rows_of
from armwright.core.controls.picture import GAP, RADIUS, View, drawing, place_callouts
from armwright.core.controls.words import GROUPS, ROLE_WORDS, arm_words, row_of, words_of
from armwright.core.hand_proportions import with_fingers
from armwright.core.options import ArmOptions
from armwright.core.plan.model import Plan
from armwright.core.stature import guide_from_stature

FACING = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
HOSTILE = "<script>alert(\"Wren & 'co'\")</script>\x07"


def plan() -> Plan:
    """Of a character with everything that a guide can have, fingers too."""
    guide = guide_from_stature(1.7, "Wren")
    return plan_arms(replace(guide, arms=tuple(with_fingers(arm) for arm in guide.arms)), ArmOptions())


def square(at: tuple[float, float, float], size: float = 0.05) -> tuple[np.ndarray, ...]:
    corners = np.array([(-1, 0, -1), (1, 0, -1), (1, 0, 1), (-1, 0, 1), (-1, 0, -1)], float)
    return (corners * size + np.array(at),)


def sheet(**other: object) -> Sheet:
    """Every control of a plan, drawn as a square on its bone."""
    made = plan()
    roles = {entry.bone: (entry.arm, entry.role) for entry in reversed(made.roles) if entry.role != "dials"}
    controls = tuple(
        Control(bone.name, *roles.get(bone.name, ("", "torso")), square(tuple(row[3] for row in bone.rest[:3])))
        for bone in made.bones
        if bone.display.shape
    )
    dials = tuple(
        Dial(p.bone, p.name, p.name, p.low, p.high, p.default, p.help, p.unit == "angle")
        for p in made.properties
        if p.dial
    )
    rests = {bone.name: np.array(bone.rest) for bone in made.bones}
    palms = tuple((entry.arm, rests[entry.bone]) for entry in made.roles if entry.role == "hand")
    modes = (ModeWords("Nothing", "Let go"), ModeWords("Hand", "Hold the hand"))
    limbs = (Limb(np.zeros(3), np.array([0.0, 0.0, 1.7]), 0.2),)
    fields = {
        "name": "Wren",
        "controls": controls,
        "dials": dials,
        "modes": modes,
        "limbs": limbs,
        "triangles": np.empty((0, 3, 3)),
        "facing": FACING,
        "palms": palms,
        **other,
    }
    return Sheet(**fields)  # type: ignore[arg-type]


class Reader(HTMLParser):
    """What a browser would see. It guards what it has met."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def seen(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    return reader


def test_every_part_of_a_plan_that_has_a_shape_has_its_words() -> None:
    made = plan()
    roles: dict[str, list[str]] = {}
    for entry in made.roles:
        roles.setdefault(entry.bone, []).append(entry.role)
    named = {"root": "root", "head": "head"}
    told = set()
    for bone in made.bones:
        if bone.display.shape:
            own = [role for role in roles.get(bone.name, [named.get(bone.name, "torso")]) if role != "dials"]
            assert any(words_of(role) for role in own), f"{bone.name}: put {own} into core/controls/words.py"
            told.update(own)
    assert told >= {"fk_clavicle", "hand_hold", "elbow_hold", "elbow_aim", "root", "torso", "head"}


def test_words_are_sentences_of_a_known_group() -> None:
    for role, words in ROLE_WORDS.items():
        assert words.group in GROUPS, role
        assert re.fullmatch(r"[A-Z].{20,140}\.", words.sentence), role
        assert words.title


def test_every_control_and_every_dial_is_told_once() -> None:
    given = sheet()
    read = seen(page(given))
    bones = [attrs["data-bone"] for tag, attrs in read.tags if "data-bone" in attrs]
    assert sorted(bones) == sorted(control.bone for control in given.controls)
    dials = [attrs["data-dial"] for tag, attrs in read.tags if "data-dial" in attrs]
    assert len(dials) == len({(dial.key, dial.help, dial.low, dial.high) for dial in given.dials})
    assert set(dials) == {dial.key for dial in given.dials} >= {key for key, *_ in DIALS}
    for _, _, _, _, help in DIALS:
        assert help in read.text
    assert "\N{MINUS SIGN}180° to 180°" in read.text


def test_a_dial_that_differs_between_the_arms_is_told_for_each() -> None:
    dials = tuple(
        Dial(f"fk.clavicle.{arm}", "stretch", "Stretch", 0.0, high, 0.0, "Longer") for arm, high in (("L", 1), ("R", 2))
    )
    read = seen(page(sheet(dials=dials)))
    assert [attrs["data-dial"] for _, attrs in read.tags if "data-dial" in attrs] == ["stretch", "stretch"]


def test_every_number_in_the_list_is_in_the_picture() -> None:
    given = sheet()
    text = page(given)
    drawn = {int(found) for found in re.findall(r'dy="\.36em">(\d+)</text>', text)}
    assert drawn == {row.number for row in rows_of(given)}


def test_names_of_a_character_and_its_bones_can_not_become_code() -> None:
    given = sheet()
    controls = tuple(
        Control(f"{HOSTILE}{place}", control.arm, control.role, control.lines)
        for place, control in enumerate(given.controls)
    )
    dials = (Dial(HOSTILE, HOSTILE, HOSTILE, 0.0, 1.0, 0.0, HOSTILE),)
    text = page(sheet(name=HOSTILE, controls=controls, dials=dials, modes=(ModeWords(HOSTILE, HOSTILE),)))
    read = seen(text)
    assert "\x07" not in text
    assert not [tag for tag, _ in read.tags if tag in ("script", "img", "iframe", "link", "object")]
    assert not [attrs for _, attrs in read.tags if any(name.startswith("on") for name in attrs)]
    assert "alert(\"Wren & 'co'\")" in read.text


def test_an_arm_of_any_name_can_not_become_code() -> None:
    controls = (Control("a", '"><script>', "hand_hold", square((0.5, 0.0, 1.0))),)
    palm = np.eye(4)
    fingers = (Control("f", '"><script>', "fk_index_1", square((0.6, 0.0, 1.0))),)
    text = page(sheet(controls=controls + fingers, palms=(('"><script>', palm),)))
    assert "<script" not in text


def test_the_page_asks_nothing_of_a_network() -> None:
    text = page(sheet())
    assert "http" not in text and "url(" not in text and "@import" not in text


def test_renamed_bones_are_told_by_their_roles() -> None:
    given = sheet()
    controls = tuple(Control(f"Wrens bone {place}", c.arm, c.role, c.lines) for place, c in enumerate(given.controls))
    before, after = rows_of(given), rows_of(sheet(controls=controls))
    assert [row.words for row in after] == [row.words for row in before]


@pytest.mark.parametrize(
    ("role", "title"),
    [
        ("fk_index_1", "Index finger"),
        ("fk_thumb_2", "Thumb"),
        ("fk_little_finger_3", "Little finger"),
        ("fk_claw_of_brass_1", "Claw of brass finger"),
    ],
)
def test_a_finger_of_any_name_is_told(role: str, title: str) -> None:
    words = words_of(role)
    assert words is not None and words.title == title
    assert row_of(role) == row_of(role[:-1] + "9")


def test_a_part_that_nobody_has_put_into_words_is_found_missing() -> None:
    assert words_of("fk_tail") is None
    assert words_of("") is None


@pytest.mark.parametrize(
    ("arm", "words"), [("L", "left"), ("R", "right"), ("lower.L", "lower left"), ("crane", "crane"), ("", "")]
)
def test_arms_are_named_for_people(arm: str, words: str) -> None:
    assert arm_words(arm) == words


@pytest.mark.parametrize("seed", range(6))
def test_no_number_lies_over_another_or_off_the_paper(seed: int) -> None:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    size = np.array([620.0, 560.0])
    drawn = {f"b{place}": [rng.uniform(60.0, 500.0, (6, 2))] for place in range(12)}
    # A crowd as in an arm: many in one place.
    drawn |= {f"c{place}": [300.0 + rng.uniform(-12.0, 12.0, (8, 2))] for place in range(10)}
    numbers = {bone: place for place, bone in enumerate(drawn, start=1)}
    placed = place_callouts(drawn, numbers, dict.fromkeys(drawn, "#000"), size)
    assert sorted(callout.number for callout in placed) == sorted(numbers.values())
    places = np.array([callout.place for callout in placed])
    apart = np.linalg.norm(places[:, None] - places[None], axis=-1) + 1e9 * np.eye(len(places))
    assert apart.min() >= 2.0 * RADIUS + GAP - 1e-6
    assert (places >= RADIUS).all() and (places <= size - RADIUS).all()


def test_a_mesh_is_drawn_as_what_it_covers() -> None:
    triangles = np.array([[[-0.2, 0.0, 0.0], [0.2, 0.0, 0.0], [0.0, 0.0, 1.6]]])
    text = page(sheet(triangles=triangles))
    assert 'class="body"' in text and 'class="limb"' not in text
    assert 'class="limb"' in page(sheet())


def test_from_near_what_is_behind_the_hand_is_not_drawn() -> None:
    view = View("near", np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), 300.0, 300.0, close=True)
    controls = tuple(Control(f"fk.index.{n}.L", "L", f"fk_index_{n}", square((0.1 * n, 0.0, 0.0))) for n in (1, 2))
    glove = np.array([[[0.1, 0.01, -0.02], [0.2, 0.01, -0.02], [0.15, 0.01, 0.03]]])
    coat = glove * 20.0 + [-3.0, 0.4, 0.0]
    alone = drawing(view, controls, {}, (), glove)
    assert 'class="body" d="M' in alone
    assert drawing(view, controls, {}, (), np.concatenate([glove, coat])) == alone


def test_the_same_character_gives_the_same_page() -> None:
    assert page(sheet()) == page(sheet())


def test_a_character_without_drawn_controls_still_has_its_list() -> None:
    controls = tuple(Control(c.bone, c.arm, c.role, ()) for c in sheet().controls)
    text = page(sheet(controls=controls))
    assert "<svg" not in text and text.count("data-bone") == len(controls)
