"""What a plan must fulfil: a small legal plan passes, and each single change that breaks it is refused by name."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armwright.core.errors import PlanError
from armwright.core.plan import validate as rules
from armwright.core.plan.json import from_text, to_text
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
from armwright.core.plan.validate import CONSTRAINT_SETTINGS, validate

REST = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))

UPPER = Bone("fk.upper_arm.L", "torso", REST, 0.3, "Arm L", "XYZ", display=Display("ring", "body", at="fk.forearm.L"))
FOREARM = Bone("fk.forearm.L", "fk.upper_arm.L", REST, 0.25, "Arm L", "YZX")
HAND = Bone("hold.hand.L", "", REST, 0.2, "Arm L")
SKIN = Bone("skin.forearm.L", "fk.forearm.L", REST, 0.25, "Skin L", deform=True)
IK = Property("hold.hand.L", "ik", 0.0, 0.0, 1.0, "from FK to IK")
NEED = Property("fk.forearm.L", "need", 1.0, -10.0, 10.0, "length factor", dial=False)
AIM = Constraint("fk.upper_arm.L", "aim", "locked_track", "hold.hand.L", settings=(("axis", "-Z"), ("lock", "Y")))
POINT = Constraint("fk.upper_arm.L", "point", "damped_track", "hold.hand.L", 0.5, (("axis", "Y"), ("head_tail", 1.0)))
REACH = Constraint(
    "skin.forearm.L",
    "reach",
    "stretch_to",
    "hold.hand.L",
    settings=(("bulge", 1.0), ("keep_axis", "SWING_Y"), ("rest_length", 0.25), ("volume", "XZ")),
)
PLACE = Constraint("skin.forearm.L", "place", "copy_location", "fk.forearm.L", settings=(("head_tail", 1),))
CARRY = Constraint("skin.forearm.L", "carry", "armature", "torso", 0.0)
COPY = Constraint("skin.forearm.L", "copy", "copy_transforms", "torso")
SIZE = Constraint("skin.forearm.L", "size", "copy_scale", "torso")
TURN = Constraint("skin.forearm.L", "turn", "copy_rotation", "torso")
ROLL = Constraint(
    "skin.forearm.L", "roll", "share_roll", "hold.hand.L", settings=(("share", 0.5),), space="fk.forearm.L"
)
DIAL = Variable("ik", "property", "hold.hand.L", channel="ik")
BLEND = Driver("fk.upper_arm.L", "influence", "ik", (DIAL,), constraint="point")
BULGE = Driver("skin.forearm.L", "bulge", "1-ik", (DIAL,), constraint="reach")
LENGTH = Driver(
    "fk.forearm.L",
    "property",
    "clamp(d/s, 0.5, 2)*(1+0*w)",
    (
        Variable("d", "distance", "fk.upper_arm.L", "hold.hand.L"),
        Variable("s", "object_scale"),
        Variable("w", "swing", "fk.upper_arm.L"),
    ),
    key="need",
)
GROW = Driver("fk.forearm.L", "scale", "n", (Variable("n", "property", "fk.forearm.L", channel="need"),), index=1)
LIFT = Driver(
    "hold.hand.L", "location", "t", (Variable("t", "channel", "fk.forearm.L", channel="rotation_euler", index=2),)
)

PLAN = Plan(
    name="Wren",
    bones=(UPPER, FOREARM, HAND, SKIN),
    constraints=(AIM, POINT, REACH, PLACE, CARRY, COPY, SIZE, TURN, ROLL),
    drivers=(BLEND, BULGE, LENGTH, GROW, LIFT),
    properties=(IK, NEED),
    roles=(Role("L", "hand_hold", "hold.hand.L"), Role("L", "torso", "torso")),
    external=(External("torso", REST, 0.5),),
    torso="torso",
)


def _with(path: str, **changes: Any) -> Plan:
    """The plan with fields of the item at a path such as "bones 0" (or of the plan, path "") changed."""
    if not path:
        return replace(PLAN, **changes)
    field, index = path.split()
    items = list(getattr(PLAN, field))
    items[int(index)] = replace(items[int(index)], **changes)
    return replace(PLAN, **{field: tuple(items)})


def _plus(field: str, item: Any) -> Plan:
    return replace(PLAN, **{field: (*getattr(PLAN, field), item)})


def _rest(row: int, column: int, value: float) -> tuple[tuple[float, ...], ...]:
    rows = [list(items) for items in REST]
    rows[row][column] = value
    return tuple(tuple(items) for items in rows)


LEFT_HANDED = _rest(0, 0, -1.0)

REFUSED: list[tuple[Plan, str]] = [
    (_with("", format="armwright.guide"), "not a plan"),
    (_with("", version=7), r"written by a newer Armwright \(version 7; this one reads up to 2\): update the extension"),
    (_with("", version=0), "version 0"),
    (_with("", name=""), "plan's name is empty"),
    (_with("", torso="spine"), 'torso bone "spine" does not exist'),
    (_with("", root="floor"), 'root bone "floor" does not exist'),
    # bones
    (_with("bones 1", name="fk.upper_arm.L"), 'bone "fk.upper_arm.L" is there twice'),
    (_with("bones 1", name="torso"), 'bone "torso" is there twice'),
    (_with("bones 0", name=""), "bone is empty"),
    (_with("bones 0", name="é" * 32), "64 bytes"),
    (_with("bones 0", name="a\nb"), "control character"),
    (_with("bones 0", name="a\x00"), "control character"),
    (_with("bones 0", name="\ud800"), "half of a character"),
    (_with("bones 0", parent="spine"), '"spine" of bone "fk.upper_arm.L" does not exist'),
    (_with("bones 0", parent="fk.upper_arm.L"), "comes after it: put parents first"),
    (_with("bones 0", parent="hold.hand.L"), 'parent "hold.hand.L" of bone "fk.upper_arm.L" comes after it'),
    (_with("bones 0", length=0.0), 'length of bone "fk.upper_arm.L" is 0'),
    (_with("bones 0", length=-0.1), "length of bone"),
    (_with("bones 0", length=1e-7), "length of bone"),
    (_with("bones 0", length=1e300), "length of bone"),
    (_with("bones 0", length=math.nan), '"fk.upper_arm.L".*length: expected a finite number'),
    (_with("bones 0", rest=_rest(0, 3, math.inf)), r'"fk.upper_arm.L".*rest\[0\]\[3\]: expected a finite number'),
    (_with("bones 0", rest=_rest(0, 3, 1e300)), 'rest matrix of bone "fk.upper_arm.L" is too large'),
    (_with("bones 0", rest=_rest(3, 0, 1e-9)), 'bone "fk.upper_arm.L" has the last row'),
    (_with("bones 0", rest=_rest(3, 3, 2.0)), 'bone "fk.upper_arm.L" has the last row'),
    (_with("bones 0", rest=_rest(0, 0, 1.00001)), 'axes of bone "fk.upper_arm.L" are not units at right angles'),
    (_with("bones 0", rest=_rest(0, 1, 1e-5)), "not units at right angles"),
    (_with("bones 0", rest=_rest(0, 0, 0.0)), "not units at right angles"),
    (_with("bones 0", rest=LEFT_HANDED), 'axes of bone "fk.upper_arm.L" are left-handed'),
    (_with("bones 0", rest=REST[:3]), "expected 4 items, found 3"),
    (_with("bones 0", collection=""), 'collection of bone "fk.upper_arm.L" is empty'),
    (_with("bones 0", rotation_order="XXY"), "rotation order of bone \"fk.upper_arm.L\" is 'XXY'"),
    (_with("bones 0", deform=1), "deform: expected true or false"),
    (_with("bones 0", display=Display(hue="red")), "hue of bone.*body, held, shoulder"),
    (_with("bones 0", display=Display(shape="\t")), "shape of bone"),
    (_with("bones 0", display=Display(at="nowhere")), 'drawn at the bone "nowhere"'),
    (_with("bones 0", display=Display(size=(1e30, 1.0, 1.0))), "too large"),
    (_with("external 0", name="fk.upper_arm.L"), "there twice"),
    (_with("external 0", rest=LEFT_HANDED), 'bone "torso" are left-handed'),
    (_with("external 0", length=0.0), 'length of bone "torso"'),
    # properties
    (_with("properties 0", bone="torso"), 'property "ik" of bone "torso": this bone is not in the plan'),
    (_with("properties 0", name="a\\b"), "backslash"),
    (_with("properties 0", name='a"]'), "quote"),
    (_with("properties 0", name=""), "is empty"),
    (_with("properties 0", low=1.0, high=0.0), 'property "ik".*range 1 to 0'),
    (_with("properties 0", high=0.0), "range 0 to 0"),
    (_with("properties 0", default=2.0), 'property "ik".*default 2, outside'),
    (_with("properties 0", high=1e30), "too large a range"),
    (_with("properties 0", unit="degrees"), "unit of the property \"ik\".*is 'degrees'.*angle"),
    (_with("properties 0", help="a\nb"), "one line"),
    (_with("properties 0", help="a" * 1025), "at most 1024"),
    (_plus("properties", IK), 'property "ik" of bone "hold.hand.L" is there twice'),
    # constraints
    (_with("constraints 0", bone="torso"), 'constraint "aim" of bone "torso": this bone is not in the plan'),
    (_with("constraints 0", name="point"), "there twice"),
    (_with("constraints 0", name=""), "is empty"),
    (_with("constraints 0", kind="child_of"), 'constraint "aim" of bone "fk.upper_arm.L": its kind is \'child_of\''),
    (_with("constraints 0", target="wheel"), 'target "wheel", which does not exist'),
    (_with("constraints 0", target="fk.upper_arm.L"), "its own bone as target"),
    (_with("constraints 0", target="fk.forearm.L"), "fk.upper_arm.L → fk.forearm.L → fk.upper_arm.L"),
    (_with("constraints 0", influence=1.5), "influence 1.5"),
    (_with("constraints 0", influence=-0.1), "influence -0.1"),
    (_with("constraints 0", settings=(("axis", "Z"),)), '"lock" is missing'),
    (_with("constraints 0", settings=(("lock", "Y"), ("axis", "Z"))), "sorted"),
    (_with("constraints 0", settings=(("axis", "Z"), ("axis", "Z"), ("lock", "Y"))), "each once"),
    (_with("constraints 0", settings=(("axis", "-Y"), ("lock", "Y"))), "locks the axis that it is to turn"),
    (_with("constraints 0", settings=(("axis", "W"), ("lock", "Y"))), "setting axis is 'W'"),
    (_with("constraints 0", settings=(("axis", 1), ("lock", "Y"))), "setting axis is 1"),
    (_with("constraints 0", settings=(("axis", "Z"), ("lock", "-Y"))), "setting lock is '-Y'"),
    (_with("constraints 1", settings=(("axis", "Y"), ("head_tail", 1.5))), "head_tail is 1.5"),
    (_with("constraints 1", settings=(("axis", "Y"), ("head_tail", True))), "head_tail is True"),
    (_with("constraints 1", settings=(("axis", "Y"), ("head_tail", "1"))), "head_tail is '1'"),
    (_with("constraints 1", settings=(("axis", "Y"), ("script", "x"))), "the setting is 'script'"),
    (_with("constraints 2", settings=(("volume", "XZ"),)), '"rest_length" is missing'),
    (_with("constraints 2", settings=(("rest_length", 0.0),)), "rest_length is 0"),
    (_with("constraints 2", settings=(("rest_length", math.nan),)), "finite"),
    (_with("constraints 2", settings=(("rest_length", 1.0), ("volume", "Y"))), "volume is 'Y'"),
    (_with("constraints 4", settings=(("mix", "ADD"),)), "there is none here"),
    # drivers
    (_with("drivers 0", bone="torso"), 'driver of influence of bone "torso": this bone is not in the plan'),
    (_with("drivers 0", constraint="none"), 'no constraint "none"'),
    (_with("drivers 1", constraint="turn"), "has no bulge"),
    (_with("drivers 2", key="none"), 'no property "none"'),
    (_with("drivers 3", channel="hide"), "channel is 'hide'"),
    (_with("drivers 3", index=3), "scale has no component 3"),
    (_with("drivers 3", index=-1), "scale has no component -1"),
    (_with("drivers 3", key="need"), "neither a constraint nor a key"),
    (_with("drivers 4", channel="rotation_euler"), "rotates by QUATERNION, so its rotation_euler has no effect"),
    (_with("drivers 0", expression="ik+"), 'driver of influence of bone "fk.upper_arm.L": the expression'),
    (_with("drivers 0", expression="ik+x"), '"x" is not defined'),
    (_with("drivers 0", expression="1"), '"ik" is not used'),
    (_with("drivers 0", expression="__import__('os')+ik"), "not allowed"),
    (_with("drivers 0", variables=(DIAL, DIAL)), "two variables of the same name"),
    (_with("drivers 0", variables=(replace(DIAL, name="min"),), expression="min"), "means something else|arguments"),
    (_with("drivers 0", variables=(replace(DIAL, kind="bone"),)), "its kind is 'bone'"),
    (_with("drivers 0", variables=(replace(DIAL, channel="no"),)), 'property "no" of bone "hold.hand.L"'),
    (_with("drivers 0", variables=(replace(DIAL, bone="no"),)), 'variable "ik" reads the bone "no"'),
    (_with("drivers 0", variables=(Variable("ik", "distance", "torso", "no"),)), 'reads the bone "no"'),
    (_with("drivers 0", variables=(Variable("ik", "distance", "torso", "torso"),)), "to itself"),
    (_with("drivers 0", variables=(Variable("ik", "swing", "no"),)), 'reads the bone "no"'),
    (_with("drivers 0", variables=(Variable("ik", "swing", "fk.forearm.L"),)), "in a circle"),
    (_with("drivers 0", variables=(Variable("ik", "channel", "torso", channel="matrix"),)), "channel is 'matrix'"),
    (_with("drivers 0", variables=(Variable("ik", "channel", "torso", channel="scale", index=9),)), "no component 9"),
    (
        _with(
            "drivers 0",
            variables=tuple(replace(DIAL, name=f"v{i}") for i in range(65)),
            expression="+".join(f"v{i}" for i in range(65)),
        ),
        "has 65 variables: the most is 64",
    ),
    (_plus("drivers", BLEND), "driven twice"),
    (_plus("drivers", replace(GROW, expression="n*2")), "driven twice"),
    (_plus("drivers", replace(BLEND, index=1, key="x")), "driven twice"),
    # roles
    (_with("roles 0", bone="no"), '"hand_hold" of arm "L" names "no"'),
    (_with("roles 0", role=""), "is empty"),
    (_with("constraints 8", space="spine"), 'sees its target from "spine": name a third bone that exists'),
    (_with("constraints 8", space=""), 'sees its target from "": name a third bone that exists'),
    (_with("constraints 8", space="hold.hand.L"), "name a third bone"),
    (_with("constraints 8", space="skin.forearm.L"), "name a third bone"),
    (_with("constraints 8", settings=(("share", 1.5),)), "share is 1.5: it has to be a number from 0 to 1"),
    (_with("constraints 8", settings=()), 'the setting "share" is missing'),
    (_with("constraints 0", space="torso"), "which its kind can not: leave it empty"),
    (_with("roles 0", role="torso"), '"torso" of arm "L" is there twice'),
]


def test_a_legal_plan_passes() -> None:
    validate(PLAN)


def test_the_legal_plan_has_every_kind_of_constraint_and_setting() -> None:
    for kind, allowed in CONSTRAINT_SETTINGS.items():
        used = {name for item in PLAN.constraints if item.kind == kind for name, _ in item.settings}
        assert any(item.kind == kind for item in PLAN.constraints)
        assert used == set(allowed)


@pytest.mark.parametrize(("plan", "words"), REFUSED, ids=range(len(REFUSED)))
def test_a_single_broken_value_is_refused_by_name(plan: Plan, words: str) -> None:
    with pytest.raises(PlanError, match=words) as caught:
        validate(plan)
    assert len(str(caught.value)) < 600


@pytest.mark.parametrize("field", ["bones", "external", "constraints", "drivers", "properties", "roles"])
def test_too_many_items_are_refused(field: str) -> None:
    most = rules.MOST_BONES if field in ("bones", "external") else rules.MOST_ITEMS
    many = getattr(PLAN, field)[:1] * (most + 1)
    with pytest.raises(PlanError, match=f"too many {field}: {most + 1}"):
        validate(replace(PLAN, **{field: many}))


@pytest.mark.parametrize("field", ["guide", "options"])
def test_a_text_without_end_is_refused(field: str) -> None:
    with pytest.raises(PlanError, match=f"{field} text is too long"):
        validate(replace(PLAN, **{field: "a" * (rules.MOST_TEXT + 1)}))


def test_a_name_of_exactly_the_host_s_limit_passes_and_a_byte_more_does_not() -> None:
    rules.check_name("a" * 63, "the bone")
    rules.check_name("é" * 31 + "a", "the bone")
    with pytest.raises(PlanError, match="64 bytes"):
        rules.check_name("é" * 32, "the bone")


def test_single_precision_axes_of_an_existing_bone_pass() -> None:
    turn = math.radians(33.3)
    near = tuple(round(value, 5) for value in (math.cos(turn), math.sin(turn)))
    rest = ((near[0], -near[1], 0.0, 0.0), (near[1], near[0], 0.0, 0.0), REST[2], REST[3])
    validate(_with("external 0", rest=rest))
    with pytest.raises(PlanError, match="right angles"):
        validate(_with("bones 0", rest=rest))


_fields = [
    (kind, index, field.name)
    for kind in ("bones", "constraints", "drivers", "properties", "roles", "external")
    for index, item in enumerate(getattr(PLAN, kind))
    for field in dataclasses.fields(item)
]
_values = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=70),
    st.lists(st.integers(), max_size=3).map(tuple),
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(_fields), _values)
def test_any_value_in_any_field_passes_or_is_refused_with_a_plan_error(place: tuple[str, int, str], value: Any) -> None:
    kind, index, field = place
    plan = _with(f"{kind} {index}", **{field: value})
    try:
        validate(plan)
    except PlanError as problem:
        assert str(problem)
    else:
        # What passed can be written and read back: nothing in it is of a wrong type.
        assert from_text(to_text(plan)) == plan


@given(st.sampled_from(_fields))
def test_a_null_in_any_field_is_refused(place: tuple[str, int, str]) -> None:
    kind, index, field = place
    with pytest.raises(PlanError, match=rf"{kind}\[{index}\].*{field}: expected"):
        validate(_with(f"{kind} {index}", **{field: None}))


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(Plan)])
def test_a_null_in_any_field_of_the_plan_is_refused(field: str) -> None:
    with pytest.raises(PlanError, match=rf"{field}"):
        validate(_with("", **{field: None}))
