"""The plan of whole arms: valid, free of cycles, mirrored exactly, within the host's limits for arms of every size."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as sizes
from hypothesis import strategies as st

from armwright.core.arm.build import Attachment, plan_arms
from armwright.core.errors import GuideError
from armwright.core.guide import ArmGuide, Guide, mirrored
from armwright.core.guide_json import from_text as guide_from_text
from armwright.core.options import ArmOptions
from armwright.core.plan import expressions
from armwright.core.plan import json as plan_json
from armwright.core.plan.cycles import check_cycles
from armwright.core.plan.model import External, Plan
from armwright.core.plan.validate import validate
from armwright.core.stature import guide_from_stature

LAYERS = ("fk", "ik", "hold", "aim", "skin", "aux")
NAME = re.compile(rf"({'|'.join(LAYERS)})\.[a-z][a-z_]*(\.[0-9]+)?\.(L|R)")
MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])
# The host keeps 255 characters of an expression (measured in 4.5.15 and 5.2.3).
HOST_KEEPS = 255
IDENTITY = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
# Every part that the sidebar, the switcher and the proof look for (design, section 3).
ROLES = {
    *("dials", "fk_clavicle", "fk_upper_arm", "fk_forearm", "fk_hand", "hand_hold", "elbow_hold", "elbow_aim"),
    *("clavicle", "upper_arm", "elbow", "forearm", "wrist", "hand", "skin_upper_arm", "skin_forearm"),
    *("hand_space", "elbow_space", "fingers", "pivot_heel", "pivot_palm", "pivot_knuckles", "pivot_fingertips"),
    *("pivot_thumb_edge", "pivot_outer_edge"),
    *(f"skin_{segment}_{index}" for segment in ("upper_arm", "forearm") for index in (1, 2)),
}
DIALS = {
    *("ik", "elbow_hold", "isolate", "lift", "stretch", "soft", "volume"),
    *("upper_length", "forearm_length", "upper_roll"),
    *("hand_roll", "hand_side", "hand_spin", "finger_bend"),
}
# Turns about Y and Z, whose sign a mirror changes: of equal dials of both hands.
MIRRORED = ("aux.palm", "aux.outer_edge", "aux.thumb_edge")


def plan_of(height: float = 1.7, angle: float = math.radians(45.0)) -> Plan:
    return plan_arms(guide_from_stature(height, "Wren", angle), ArmOptions())


def one_arm(**changed: object) -> Guide:
    guide = guide_from_stature(1.7, "Wren")
    return replace(guide, arms=(replace(guide.arms[0], **changed),))  # type: ignore[arg-type]


def straight(arm: ArmGuide) -> ArmGuide:
    """The arm with its wrist on the line through shoulder and elbow."""
    shoulder, elbow = np.array(arm.shoulder), np.array(arm.elbow)
    wrist, end = elbow + 0.8 * (elbow - shoulder), elbow + 1.3 * (elbow - shoulder)
    return replace(arm, wrist=tuple(wrist.tolist()), hand_end=tuple(end.tolist()))


def side_of(text: str, side: str) -> str:
    """A bone's name with its side replaced by a blank that both sides share."""
    return re.sub(rf"\.{side}$", ".*", text)


def arm_part(plan: Plan, side: str) -> dict[str, list[object]]:
    """All that the plan holds for one arm, without its rest matrices, free of the side's letter."""
    mine = {bone.name for bone in plan.bones if bone.name.endswith(f".{side}")}

    def blank(item: object) -> str:
        return json.dumps(plan_json.codec.encode(item), sort_keys=True).replace(f'.{side}"', '.*"')

    return {
        "bones": [blank(replace(bone, rest=IDENTITY)) for bone in plan.bones if bone.name in mine],
        "constraints": [blank(item) for item in plan.constraints if item.bone in mine],
        "drivers": [blank(item) for item in plan.drivers if item.bone in mine],
        "properties": [blank(item) for item in plan.properties if item.bone in mine],
        "roles": [(item.role, side_of(item.bone, side)) for item in plan.roles if item.arm == side],
    }


def assert_within_the_hosts_limits(plan: Plan) -> None:
    validate(plan)
    assert plan.drivers
    for driver in plan.drivers:
        expressions.check(driver.expression, [variable.name for variable in driver.variables])
        assert len(driver.expression) <= HOST_KEEPS


def test_the_plan_of_two_arms_is_valid_and_has_no_cycle() -> None:
    plan = plan_of()
    validate(plan)
    check_cycles(plan)
    assert {role.arm for role in plan.roles} == {"L", "R"}


def test_the_right_arms_rest_is_the_exact_mirror_image_of_the_lefts() -> None:
    rests = {bone.name: np.array(bone.rest) for bone in plan_of().bones}
    lefts = [name for name in rests if name.endswith(".L")]
    assert len(lefts) > 20
    for name in lefts:
        assert np.array_equal(rests[name[:-1] + "R"], MIRROR @ rests[name] @ MIRROR), name


def test_everything_but_the_rest_matrices_is_the_same_on_both_sides() -> None:
    plan = plan_of()
    left, right = arm_part(plan, "L"), arm_part(plan, "R")
    pairs = list(zip(left.pop("drivers"), right.pop("drivers"), strict=True))
    turned = [pair for pair in pairs if pair[0] != pair[1]]
    assert len(turned) == len(MIRRORED)
    for pair in turned:
        assert any(f'"{bone}.*"' in pair[0] for bone in MIRRORED)
        unsigned = {text.replace('"expression": "-', '"expression": "') for text in pair}
        assert len(unsigned) == 1
    assert left == right
    assert len(pairs) > len(turned)


@pytest.mark.parametrize("height", [0.2, 0.5, 1.0, 1.7, 3.0, 7.77, 20.0])
@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0, 89.0])
def test_expressions_are_allowed_and_short_enough_at_every_size(height: float, angle: float) -> None:
    assert_within_the_hosts_limits(plan_of(height, math.radians(angle)))


@sizes(max_examples=60, deadline=None)
@given(
    height=st.floats(0.2, 20.0),
    upper=st.floats(0.1, 8.0),
    fore=st.floats(0.1, 8.0),
    hand=st.floats(0.1, 4.0),
    clavicle=st.floats(0.3, 3.0),
    bend=st.tuples(st.floats(-0.4, 0.4), st.floats(-0.9, -0.05), st.floats(-0.4, 0.4)),
)
def test_odd_proportions_make_a_valid_plan(
    height: float, upper: float, fore: float, hand: float, clavicle: float, bend: tuple[float, float, float]
) -> None:
    base = guide_from_stature(height, "Wren")
    arm = base.arms[0]
    shoulder, elbow, wrist, end = (np.array(p) for p in (arm.shoulder, arm.elbow, arm.wrist, arm.hand_end))
    inner = shoulder + clavicle * (np.array(arm.clavicle) - shoulder)
    elbow_at = shoulder + upper * (elbow - shoulder)
    turned = (wrist - elbow) / np.linalg.norm(wrist - elbow) + np.array(bend)
    wrist_at = elbow_at + fore * np.linalg.norm(wrist - elbow) * turned / np.linalg.norm(turned)
    odd = replace(
        arm,
        clavicle=tuple(inner.tolist()),
        elbow=tuple(elbow_at.tolist()),
        wrist=tuple(wrist_at.tolist()),
        hand_end=tuple((wrist_at + hand * (end - wrist)).tolist()),
    )
    assert_within_the_hosts_limits(plan_arms(replace(base, arms=(odd, mirrored(odd))), ArmOptions()))


def test_every_driver_reads_what_the_plan_declares() -> None:
    plan = plan_of()
    bones = {bone.name for bone in plan.bones}
    declared = {(item.bone, item.name) for item in plan.properties}
    read = [variable for driver in plan.drivers for variable in driver.variables]
    assert {"property", "distance", "swing"} <= {variable.kind for variable in read}
    for variable in read:
        if variable.kind == "property":
            assert (variable.bone, variable.channel) in declared
        elif variable.kind != "object_scale":
            assert variable.bone in bones
        if variable.kind == "distance":
            assert variable.other in bones


def test_every_property_is_a_dial_or_driven() -> None:
    plan = plan_of()
    driven = {(driver.bone, driver.key) for driver in plan.drivers if driver.channel == "property"}
    for item in plan.properties:
        assert item.dial != ((item.bone, item.name) in driven), (item.bone, item.name)
        assert item.help


@pytest.mark.parametrize("side", ["L", "R"])
def test_every_arm_has_its_dials_on_one_bone(side: str) -> None:
    plan = plan_of()
    holder = next(role.bone for role in plan.roles if role.arm == side and role.role == "dials")
    assert {item.name for item in plan.properties if item.bone == holder and item.dial} == DIALS


def test_bones_are_named_layer_part_side() -> None:
    plan = plan_of()
    torso = {"root", "torso.1", "torso.2", "torso.3", "head"}
    names = {bone.name for bone in plan.bones}
    assert torso <= names
    assert [name for name in sorted(names - torso) if not NAME.fullmatch(name)] == []


@pytest.mark.parametrize("side", ["L", "R"])
def test_every_role_is_played_by_a_bone_of_its_own_side(side: str) -> None:
    plan = plan_of()
    played = {role.role: role.bone for role in plan.roles if role.arm == side}
    assert set(played) == ROLES
    assert all(bone.endswith(f".{side}") for bone in played.values())
    assert set(played.values()) <= {bone.name for bone in plan.bones}


def test_only_skin_bones_and_the_torso_carry_skin() -> None:
    for bone in plan_of().bones:
        assert bone.deform == (bone.name.startswith(("skin.", "torso.")) or bone.name == "head"), bone.name


@pytest.mark.parametrize("height", [0.2, 1.7, 20.0])
def test_the_plan_reads_back_from_its_text_exactly(height: float) -> None:
    plan = plan_of(height)
    text = plan_json.to_text(plan)
    again = plan_json.from_text(text)
    assert again == plan
    assert plan_json.to_text(again) == text


def test_the_plan_carries_what_it_was_made_from() -> None:
    plan = plan_of()
    guide = guide_from_text(plan.guide)
    assert guide == guide_from_stature(1.7, "Wren")
    assert plan_arms(guide, ArmOptions()) == plan


def test_the_same_inputs_give_the_same_bytes_and_digest() -> None:
    assert plan_json.to_text(plan_of()) == plan_json.to_text(plan_of())
    assert plan_json.digest(plan_of()) == plan_json.digest(plan_of())
    assert plan_json.digest(plan_of(1.7)) != plan_json.digest(plan_of(1.71))


def test_options_change_the_digest() -> None:
    guide = guide_from_stature(1.7, "Wren")
    other = plan_arms(guide, ArmOptions(lift_share=0.4))
    assert plan_json.digest(other) != plan_json.digest(plan_arms(guide, ArmOptions()))


def test_one_arm_makes_a_plan_of_one_arm() -> None:
    plan = plan_arms(one_arm(), ArmOptions())
    validate(plan)
    assert {role.arm for role in plan.roles} == {"L"}
    assert not [bone.name for bone in plan.bones if bone.name.endswith(".R")]
    whole = plan_of()
    assert arm_part(plan, "L") == arm_part(whole, "L")


def test_a_straight_arm_bends_to_the_side_that_the_guide_names() -> None:
    guide = one_arm()
    arm = replace(straight(guide.arms[0]), bend=(0.0, 1.0, 0.0))
    plan = plan_arms(replace(guide, arms=(arm,)), ArmOptions())
    validate(plan)
    rest = {bone.name: np.array(bone.rest) for bone in plan.bones}
    upper, fore = rest["fk.upper_arm.L"], rest["fk.forearm.L"]
    assert np.abs(upper[:3, :3] - fore[:3, :3]).max() < 1e-12
    # A positive turn about X bends the elbow: the forearm leaves towards X x Y, away from where the elbow points.
    closing = np.cross(upper[:3, 0], upper[:3, 1])
    assert closing @ np.array(arm.bend) < -0.5


def test_a_straight_arm_without_a_side_is_refused() -> None:
    guide = one_arm()
    with pytest.raises(GuideError, match=r"straight.*bend"):
        plan_arms(replace(guide, arms=(straight(guide.arms[0]),)), ArmOptions())


def test_arms_without_a_torso_are_refused_with_both_ways_out() -> None:
    guide = replace(guide_from_stature(1.7, "Wren"), torso=None)
    with pytest.raises(GuideError, match="choose the bone"):
        plan_arms(guide, ArmOptions())


@pytest.mark.parametrize("root", [None, External("ground", IDENTITY, 0.5)], ids=["armature", "root bone"])
def test_an_attached_plan_adds_no_torso_and_needs_the_bones_it_hangs_on(root: External | None) -> None:
    chest = External("chest", IDENTITY, 0.3)
    plan = plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(), Attachment(chest, root))
    validate(plan)
    check_cycles(plan)
    assert plan.torso == "chest"
    assert plan.root == ("" if root is None else "ground")
    assert {item.name for item in plan.external} == ({"chest"} if root is None else {"chest", "ground"})
    assert all(NAME.fullmatch(bone.name) for bone in plan.bones)
