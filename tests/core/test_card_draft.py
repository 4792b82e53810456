"""A drafted card names the right bones, whatever their names, pose, size, side bones and number."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace

import pytest
from card_sketches import (
    BENT,
    HANGING,
    PARTS,
    STRAIGHT,
    TORSO,
    Point,
    arm,
    crowd,
    keeper,
    legs,
    mirrored,
    moved,
    nonsense,
    renamed,
    split,
    torso,
)

from armwright.core.card.check import problems_of
from armwright.core.card.draft import draft
from armwright.core.card.fit_check import misfits
from armwright.core.card.model import JOINTS, Dial, Mode, RigCard, Setting
from armwright.core.card.name_pairs import side_in, side_pair
from armwright.core.card.sketch import (
    RigSketch,
    SketchBone,
    SketchConstraint,
    SketchDriver,
    SketchProperty,
    SketchSource,
)
from armwright.core.errors import CardError

POSES = {"bent": BENT, "straight": STRAIGHT, "hanging": HANGING}


def joints(card: RigCard) -> dict[str, tuple[str, ...]]:
    return {item.arm: tuple(getattr(item, role) for role in JOINTS) for item in card.arms}


RIGHT = {side: tuple(f"{part}.{side}" for part in PARTS) for side in "LR"}


def drafted(sketch: RigSketch) -> RigCard:
    """The draft, which has to pass the checks that a person's card has to pass."""
    card = draft(sketch)
    assert (problems_of(card), misfits(card, sketch)) == ((), ())
    return card


@pytest.mark.parametrize("with_fingers", [False, True])
@pytest.mark.parametrize("with_legs", [False, True])
@pytest.mark.parametrize("pose", POSES)
def test_arms_are_found_in_any_pose_with_legs_and_fingers(pose: str, with_legs: bool, with_fingers: bool) -> None:
    card = drafted(keeper(POSES[pose], with_legs, with_fingers))
    assert joints(card) == RIGHT
    assert (card.torso, card.root) == (TORSO, "ground")
    assert all(guess.why for guess in card.guesses)


@pytest.mark.parametrize("with_fingers", [False, True])
@pytest.mark.parametrize("pose", POSES)
def test_names_are_not_needed(pose: str, with_fingers: bool) -> None:
    sketch = keeper(POSES[pose], True, with_fingers)
    names = nonsense(sketch)
    card = drafted(renamed(sketch, names))
    assert joints(card) == {side: tuple(names[name] for name in bones) for side, bones in RIGHT.items()}
    assert card.torso == tuple(names[name] for name in TORSO)


def test_the_draft_is_less_sure_where_names_say_nothing() -> None:
    sketch = keeper()
    said, unsaid = (
        {(item.arm, item.role): item.confidence for item in drafted(case).guesses}
        for case in (sketch, renamed(sketch, nonsense(sketch)))
    )
    assert all(unsaid[key] <= said[key] for key in said)
    assert unsaid["L", "upper_arm"] < said["L", "upper_arm"]


@pytest.mark.parametrize("inline", [False, True], ids=["beside", "inline"])
@pytest.mark.parametrize("parts", [("humerus",), ("ulna",), ("humerus", "ulna")], ids="+".join)
@pytest.mark.parametrize("pose", POSES)
def test_twist_bones_are_no_joints(pose: str, parts: Sequence[str], inline: bool) -> None:
    sketch = split(keeper(POSES[pose]), parts, inline)
    assert joints(drafted(sketch)) == RIGHT
    names = nonsense(sketch)
    assert joints(drafted(renamed(sketch, names))) == {
        side: tuple(names[name] for name in bones) for side, bones in RIGHT.items()
    }


@pytest.mark.parametrize("unit", [0.01, 0.001, 0.0254])
def test_an_armature_in_another_unit_is_drafted_in_it(unit: float) -> None:
    small = moved(keeper(), lambda p: (p[0] / unit, p[1] / unit, p[2] / unit))
    card = drafted(replace(small, unit_m=unit))
    assert (joints(card), card.unit_m) == (RIGHT, unit)


def test_a_unit_that_the_scene_does_not_say_is_told_by_the_arm_s_size_and_doubted() -> None:
    card = drafted(moved(keeper(), lambda p: (100.0 * p[0], 100.0 * p[1], 100.0 * p[2])))
    guess = next(item for item in card.guesses if item.role == "unit_m")
    assert card.unit_m == 0.01 and guess.confidence < 0.5 and "no character's" in guess.why


def test_the_object_s_scale_counts_and_an_uneven_one_is_doubted() -> None:
    small = moved(keeper(), lambda p: (100.0 * p[0], 100.0 * p[1], 100.0 * p[2]))
    even, uneven = (draft(replace(small, scale=scale)) for scale in ((0.01,) * 3, (0.01, 0.01, 0.02)))
    assert even.unit_m == 0.01
    sure = [next(item.confidence for item in card.guesses if item.role == "unit_m") for card in (even, uneven)]
    assert sure[1] < 0.5 < sure[0]


def test_a_character_with_y_up_is_seen_as_such() -> None:
    card = drafted(moved(keeper(), lambda p: (p[0], p[2], -p[1])))
    assert (card.up, card.front, joints(card)) == ((0.0, 1.0, 0.0), (0.0, 0.0, 1.0), RIGHT)


def test_a_character_that_looks_back_is_told_by_its_names_and_without_them_by_its_elbows() -> None:
    turned = moved(keeper(), lambda p: (-p[0], -p[1], p[2]))
    assert (drafted(turned).front, joints(drafted(turned))) == ((0.0, 1.0, 0.0), RIGHT)
    names = nonsense(turned)
    card = drafted(renamed(turned, names))
    assert card.front == (0.0, 1.0, 0.0)
    assert joints(card)["L"] == tuple(names[name] for name in RIGHT["L"])


@pytest.mark.parametrize("side", ["L", "R"])
def test_one_arm_is_enough(side: str) -> None:
    assert joints(drafted(RigSketch("Keeper", (*torso(), *arm(side), *legs())))) == {side: RIGHT[side]}


def test_an_arm_without_a_clavicle_hangs_from_the_torso() -> None:
    bones = torso()
    for side in "LR":
        above = "chest"
        points = [mirrored(point, side) for point in BENT[1:]]
        for part, head, tail in zip(PARTS[1:], points, points[1:], strict=False):
            bones.append(SketchBone(f"{part}.{side}", above, head, tail))
            above = f"{part}.{side}"
    assert joints(drafted(RigSketch("Keeper", tuple(bones)))) == {side: ("", *RIGHT[side][1:]) for side in "LR"}


def test_four_arms_are_two_pairs_by_height() -> None:
    lower: list[Point] = [(x, y, z - 0.25) for x, y, z in BENT]
    bones = torso() + [bone for side in "LR" for bone in (*arm(side), *arm(side, lower, "waist", "low_"))] + legs()
    card = drafted(RigSketch("Keeper", tuple(bones)))
    assert {item.arm: item.hand for item in card.arms} == {
        "upper.L": "palm.L", "upper.R": "palm.R", "lower.L": "low_palm.L", "lower.R": "low_palm.R",
    }  # fmt: skip
    assert card.torso == TORSO


def test_forty_arms_are_forty() -> None:
    card = drafted(crowd(20))
    assert len(card.arms) == 40
    assert all(
        item.hand == f"{number}_palm.{side}"
        for (number, side), item in zip(itertools.product(range(20), "LR"), card.arms, strict=True)
    )


def test_the_order_of_the_bones_does_not_matter() -> None:
    seed = 7
    print("seed", seed)
    sketch = split(keeper(BENT, with_fingers=True), ("humerus", "ulna"), True)
    shuffled = list(sketch.bones)
    random.Random(seed).shuffle(shuffled)
    assert replace(draft(replace(sketch, bones=tuple(shuffled))), guesses=()) == replace(draft(sketch), guesses=())


@pytest.mark.parametrize(
    "bones", [(), tuple(torso()), tuple(torso() + legs()), (SketchBone("pole", "", (1.0, 0.0, 0.0), (2.0, 0.0, 0.0)),)],
    ids=["nothing", "torso", "legs", "pole"],
)  # fmt: skip
def test_an_armature_without_arms_is_refused_in_a_sentence(bones: tuple[SketchBone, ...]) -> None:
    with pytest.raises(CardError, match=r"^(no arms were found in|the armature) .*'Lamp'"):
        draft(RigSketch("Lamp", bones))


def _switched(expression: str, low: float, high: float) -> RigSketch:
    """Both arms' hands held by an IK constraint, whose influence is driven by `expression` of grip's "reach"."""
    bones = []
    for bone in keeper().bones:
        if bone.name.startswith("ulna"):
            grip = f"grip.{bone.name[-1]}"
            driver = SketchDriver((SketchSource(grip, "reach", "share"),), expression)
            solver = SketchConstraint("solve", "IK", grip, chain_length=2, driver=driver)
            bone = replace(bone, constraints=(solver,))
        bones.append(bone)
    for side in "LR":
        head, tail = (mirrored(point, side) for point in BENT[3:])
        bones.append(SketchBone(f"grip.{side}", "", head, tail, properties=(SketchProperty("reach", low, low, high),)))
    return RigSketch("Keeper", tuple(bones))


@pytest.mark.parametrize(
    ("expression", "low", "high", "off", "on"),
    [
        ("share", 0.0, 1.0, 0.0, 1.0),
        ("", 0.0, 1.0, 0.0, 1.0),
        ("1 - share", 0.0, 1.0, 1.0, 0.0),
        ("share / 10", 0.0, 10.0, 0.0, 10.0),
        ("share == 2", 0.0, 3.0, 0.0, 2.0),
        ("0.5 - share / 2", -1.0, 1.0, 1.0, -1.0),
    ],
)
def test_a_mode_s_settings_are_the_values_that_make_the_driver_turn_it_on_and_off(
    expression: str, low: float, high: float, off: float, on: float
) -> None:
    left = drafted(_switched(expression, low, high)).arms[0]
    assert left.modes == (
        Mode("none", (Setting("grip.L", off, "reach"),)),
        Mode("hand", (Setting("grip.L", on, "reach"),)),
    )
    assert left.blend == Dial("grip.L", "reach", "", off, on)


@pytest.mark.parametrize("expression", ["__import__('os').abort()", "open(share)", "share.real", "share +"])
def test_an_expression_that_is_not_simple_is_not_run_and_its_mode_is_doubted(expression: str) -> None:
    card = drafted(_switched(expression, 0.0, 1.0))
    sure = {item.role: item.confidence for item in card.guesses if item.arm == "L"}
    assert sure["mode hand"] < 0.5
    assert card.arms[0].modes[1] == Mode("hand", (Setting("grip.L", 1.0, "reach"),))


@pytest.mark.parametrize(
    ("one", "other", "pair"),
    [
        ("palm.L", "palm.R", ("l", "r")),
        ("Left_Palm", "Right_Palm", ("left", "right")),
        ("LeftForeArm", "RightForeArm", ("left", "right")),
        ("l_ulna2", "r_ulna2", ("l", "r")),
        ("main gauche", "main droite", ("gauche", "droite")),
        ("手.左", "手.右", ("左", "右")),
        ("vasen käsi", "oikea käsi", ("vasen", "oikea")),
        ("palm", "palm", None),
        ("palm.L", "ulna.R", None),
        ("palm.L", "palm.L.1", None),
    ],
)
def test_two_names_that_differ_in_one_word_are_a_pair(one: str, other: str, pair: tuple[str, str] | None) -> None:
    assert side_pair(one, other) == pair


@pytest.mark.parametrize(
    ("name", "side"), [("palm.R", "R"), ("left palm", "L"), ("lrl", ""), ("l r", ""), ("main droite", "R"), ("", "")]
)
def test_a_side_is_read_from_a_whole_word_only(name: str, side: str) -> None:
    assert side_in(name) == side
