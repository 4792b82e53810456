"""What a later build needs to know of an earlier one: the record, what was made, who took over, the order of stacks."""

from __future__ import annotations

import base64
import json
import random
import zlib
from dataclasses import replace
from typing import Any

import pytest

from armwright.core import rig_record
from armwright.core.arm.build import plan_arms
from armwright.core.errors import PlanError
from armwright.core.options import ArmOptions
from armwright.core.plan import json as plan_json
from armwright.core.plan import upgrade
from armwright.core.plan.made import bone_path, driven_path, made_by, made_by_version_1, renamed, unpacked
from armwright.core.plan.model import VERSION
from armwright.core.plan.stack import merged
from armwright.core.plan.upgrade import split, successors
from armwright.core.stature import guide_from_stature

SEED = 31


@pytest.fixture(scope="module")
def plan() -> Any:
    return plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions())


def test_a_record_remembers_the_whole_plan(plan: Any) -> None:
    record = rig_record.from_text(rig_record.to_text(rig_record.record_of(plan, ("Arms FK",))))
    assert unpacked(record.made) == plan
    assert record.plan_version == VERSION
    assert plan_json.digest(unpacked(record.made)) == record.plan_digest


def test_a_record_of_version_1_is_read(plan: Any) -> None:
    data = json.loads(rig_record.to_text(rig_record.record_of(plan, ())))
    for later in ("made", "left", "plan_version"):
        del data[later]
    record = rig_record.from_text(json.dumps({**data, "version": 1}))
    assert (record.plan_version, record.made, record.left) == (1, "", ())
    with pytest.raises(PlanError, match="is missing"):
        rig_record.from_text(json.dumps(data))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "no text of ours",
        "\udcff",
        base64.b85encode(b"no archive").decode(),
        base64.b85encode(zlib.compress(b"{}")[:-3]).decode(),
        base64.b85encode(zlib.compress(bytes(80 * 1024 * 1024))).decode(),
    ],
    ids=["empty", "words", "half a character", "no archive", "cut short", "far too large"],
)
def test_a_damaged_memory_of_the_plan_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match=r"damaged: remove the arms and build them again"):
        unpacked(text)


def test_a_plan_of_before_lacks_fields_that_came_later(plan: Any) -> None:
    data = json.loads(plan_json.to_text(plan))
    for bone in data["bones"]:
        del bone["lock_scale"]
    text = base64.b85encode(zlib.compress(json.dumps({**data, "version": 1}).encode())).decode()
    assert replace(unpacked(text), version=VERSION) == plan


def test_every_driven_value_has_a_path_of_its_own(plan: Any) -> None:
    assert len(made_by(plan).drivers) == len(plan.drivers)
    assert ('pose.bones["ik.span.L"]["slack"]', 0) in made_by(plan).drivers
    assert ('pose.bones["aux.upper_arm.R"].constraints["hold"].influence', 0) in made_by(plan).drivers
    assert ('pose.bones["aux.wrist.L"].location', 1) in made_by(plan).drivers


def test_what_is_made_follows_its_bones_names(plan: Any) -> None:
    made = made_by(plan)
    names = {"skin.hand.L": "skin.palm.L"}
    moved = renamed(made, names)
    assert "skin.palm.L" in moved.bones
    assert ("skin.palm.L", "ik") in moved.constraints
    assert ('pose.bones["skin.palm.L"].constraints["ik"].influence', 0) in moved.drivers
    assert ("skin.hand.L", "ik") not in moved.constraints
    assert renamed(moved, {"skin.palm.L": "skin.hand.L"}) == made


def test_a_bone_that_a_later_version_renames_takes_over_from_the_old_one(
    plan: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upgrade, "RENAMES", {1: {"skin.wrist": "skin.hand"}})
    bones = [bone.name for bone in plan.bones if not bone.name.startswith("skin.hand.")]
    found = successors(1, [*bones, "skin.wrist.L", "skin.wrist.R"], ("L", "R"), plan)
    assert found == {"skin.wrist.L": "skin.hand.L", "skin.wrist.R": "skin.hand.R"}


def test_the_bones_that_version_1_gave_its_skin_to_are_still_there(plan: Any) -> None:
    bones = {bone.name for bone in plan.bones if bone.deform}
    assert {f"skin.{part}.{arm}" for part in ("clavicle", "upper_arm", "forearm", "hand") for arm in "LR"} <= bones


def test_nobody_takes_over_where_the_plan_has_no_successor_or_the_version_is_the_same(plan: Any) -> None:
    bones = ["skin.upper_arm.L", "skin.forearm.L", "coat.1", "fk.hand.L"]
    kept = replace(plan, bones=tuple(bone for bone in plan.bones if bone.name == "fk.hand.L"))
    assert successors(1, bones, ("L", "R"), kept) == {}
    assert successors(VERSION, bones, ("L", "R"), plan) == {}


@pytest.mark.parametrize(
    ("bone", "expected"),
    [
        ("skin.upper_arm.L", ("skin.upper_arm", "L")),
        ("skin.upper_arm.lower.L", ("skin.upper_arm", "lower.L")),
        ("torso.1", ("torso.1", "")),
    ],
)
def test_a_bones_arm_is_the_longest_id_at_its_end(bone: str, expected: tuple[str, str]) -> None:
    assert split(bone, ("L", "R", "lower.L")) == expected


def test_what_version_1_made_is_known_by_name(plan: Any) -> None:
    bones = ["fk.hand.L", "ik.span.L", "ik.forearm.L", "skin.upper_arm.L", "chest"]
    made = made_by_version_1(bones, ("L",), plan)
    assert set(made.constraints) == {
        ("fk.hand.L", "place"),
        ("ik.span.L", "hand"),
        ("ik.span.L", "aim"),
        ("ik.forearm.L", "hand"),
        ("ik.forearm.L", "exact"),
        ("skin.upper_arm.L", "joint"),
    }
    assert (bone_path("ik.span.L") + '["held_length"]', 0) in made.drivers
    assert (bone_path("ik.forearm.L") + ".location", 1) in made.drivers
    assert ("ik.forearm.L", "need") in made.properties
    assert not {path for path, _ in made.drivers if "fk.hand" in path}


def test_the_path_of_a_driver_is_the_hosts(plan: Any) -> None:
    assert all(path.startswith('pose.bones["') for path, _ in map(driven_path, plan.drivers))


@pytest.mark.parametrize(
    ("current", "ours", "planned", "expected"),
    [
        ("", "", "AB", "AB"),
        ("AB", "AB", "AB", "AB"),
        ("ABu", "AB", "AB", "ABu"),
        ("uAB", "AB", "AB", "uAB"),
        ("AuBv", "AB", "AB", "AuBv"),
        ("AuBv", "AB", "ACB", "AuCBv"),
        ("AuBv", "AB", "ABC", "AuBCv"),
        ("uvw", "", "AB", "ABuvw"),
        # What u stood behind is gone: behind the one of ours before that.
        ("ABuC", "ABC", "AC", "AuC"),
        ("BuC", "BC", "C", "uC"),
        ("BAu", "AB", "AB", "ABu"),
        ("AuB", "AB", "", "u"),
    ],
)
def test_a_users_constraints_stay_where_they_stood(current: str, ours: str, planned: str, expected: str) -> None:
    assert "".join(merged(current, ours, planned)) == expected


def test_a_stack_in_the_plans_order_is_not_touched() -> None:
    print("seed", SEED)
    drawn = random.Random(SEED)
    for _ in range(300):
        planned = "ABCDE"[: drawn.randint(0, 5)]
        stack = list(planned)
        for theirs in "uvwxyz"[: drawn.randint(0, 6)]:
            stack.insert(drawn.randint(0, len(stack)), theirs)
        assert merged(stack, planned, planned) == stack
        # Whatever ours become, theirs are all there and in their order.
        other = "".join(drawn.sample("ABCDEFG", drawn.randint(0, 7)))
        found = merged(stack, planned, other)
        assert [name for name in found if name.islower()] == [name for name in stack if name.islower()]
        assert [name for name in found if name.isupper()] == list(other)
