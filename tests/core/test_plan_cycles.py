"""Circles among a plan's values: found, named, and not seen where there are none."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from armwright.core.errors import PlanError
from armwright.core.plan.cycles import check_cycles, describe, find_cycle
from armwright.core.plan.model import Bone, Constraint, Driver, Plan, Variable

REST = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def _bones(**parents: str) -> tuple[Bone, ...]:
    return tuple(Bone(name, parent, REST, 0.1, "Arm") for name, parent in parents.items())


def _driver(bone: str, channel: str, *variables: Variable, **rest: str) -> Driver:
    return Driver(bone, channel, "v", variables, **rest)  # type: ignore[arg-type]


def _swing(bone: str) -> Variable:
    return Variable("v", "swing", bone)


def _channel(bone: str) -> Variable:
    return Variable("v", "channel", bone, channel="location")


def _property(bone: str, name: str) -> Variable:
    return Variable("v", "property", bone, channel=name)


CIRCLES: list[tuple[str, Plan, str]] = [
    (
        "a constraint to a child",
        Plan("Wren", _bones(a="", b="a"), (Constraint("a", "c", "copy_rotation", "b"),)),
        "a → b → a",
    ),
    (
        "two bones that track each other",
        Plan(
            "Wren",
            _bones(a="", b=""),
            (Constraint("a", "c", "damped_track", "b"), Constraint("b", "c", "damped_track", "a")),
        ),
        "a → b → a",
    ),
    (
        "a parent's channel driven by a child's swing",
        Plan("Wren", _bones(a="", b="a"), drivers=(_driver("a", "location", _swing("b")),)),
        "a → a.location[0] → b → a",
    ),
    (
        "an influence driven by the distance of the owner",
        Plan(
            "Wren",
            _bones(a="", b=""),
            (Constraint("a", "c", "copy_rotation", "b"),),
            (_driver("a", "influence", Variable("v", "distance", "b", "a"), constraint="c"),),
        ),
        "a → a",
    ),
    (
        "properties that drive each other",
        Plan(
            "Wren",
            _bones(a=""),
            drivers=(
                _driver("a", "property", _property("a", "q"), key="p"),
                _driver("a", "property", _property("a", "p"), key="q"),
            ),
        ),
        'a["p"] → a["q"] → a["p"]',
    ),
    (
        "through a property",
        Plan(
            "Wren",
            _bones(a="", b="a"),
            drivers=(
                _driver("a", "location", _property("b", "p")),
                _driver("b", "property", _swing("b"), key="p"),
            ),
        ),
        'a → a.location[0] → b["p"] → b → a',
    ),
    (
        "a channel that drives itself",
        Plan("Wren", _bones(a=""), drivers=(_driver("a", "location", _channel("a")),)),
        "a.location[0] → a.location[0]",
    ),
]


@pytest.mark.parametrize(("plan", "path"), [(plan, path) for _, plan, path in CIRCLES], ids=[row[0] for row in CIRCLES])
def test_a_circle_is_refused_with_its_path(plan: Plan, path: str) -> None:
    assert describe(find_cycle(plan)) == path
    with pytest.raises(PlanError, match="in a circle") as caught:
        check_cycles(plan)
    assert path in str(caught.value)


OPEN: list[tuple[str, Plan]] = [
    (
        "a child's channel drives its parent",
        Plan("Wren", _bones(a="", b="a"), drivers=(_driver("a", "location", _channel("b")),)),
    ),
    (
        "a child's property drives its parent",
        Plan("Wren", _bones(a="", b="a"), drivers=(_driver("a", "location", _property("b", "p")),)),
    ),
    (
        "a bone's channel drives its own property",
        Plan("Wren", _bones(a=""), drivers=(_driver("a", "property", _channel("a"), key="p"),)),
    ),
    (
        "the object's scale drives anything",
        Plan("Wren", _bones(a=""), drivers=(_driver("a", "location", Variable("v", "object_scale")),)),
    ),
    (
        "two ways to the same bone",
        Plan("Wren", _bones(a="", b="a", c="b"), (Constraint("c", "c", "copy_rotation", "a"),)),
    ),
    ("a bone outside the plan", Plan("Wren", _bones(a="torso"), (Constraint("a", "c", "copy_rotation", "torso"),))),
]


@pytest.mark.parametrize("plan", [plan for _, plan in OPEN], ids=[row[0] for row in OPEN])
def test_values_that_do_not_need_each_other_are_no_circle(plan: Plan) -> None:
    assert find_cycle(plan) == ()
    check_cycles(plan)


@pytest.mark.parametrize("order", [list, lambda items: list(reversed(items))], ids=["parents first", "children first"])
def test_a_chain_of_a_hundred_thousand_bones_is_walked_without_recursion(
    order: Callable[[list[Bone]], list[Bone]],
) -> None:
    count = 100_000
    bones = [Bone(f"b{i}", f"b{i - 1}" if i else "", REST, 0.1, "Arm") for i in range(count)]
    chain = Plan("Wren", tuple(order(bones)))
    assert find_cycle(chain) == ()
    closed = Plan("Wren", chain.bones, (Constraint("b0", "c", "copy_rotation", f"b{count - 1}"),))
    assert len(find_cycle(closed)) == count + 1
    assert f"({count + 1 - 12} more)" in describe(find_cycle(closed))
