"""The skin bones in the plan: how many there are, where they lie, and that a plan with them has no circle."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from armwright.core.arm.build import plan_arms
from armwright.core.arm.names import ArmNames
from armwright.core.errors import PlanError
from armwright.core.frames import arm_frames
from armwright.core.options import ArmOptions
from armwright.core.plan.cycles import find_cycle
from armwright.core.plan.model import Plan
from armwright.core.plan.validate import validate
from armwright.core.stature import guide_from_stature

WREN = guide_from_stature(1.7, "Wren")


def plan_of(count: int) -> Plan:
    return plan_arms(WREN, ArmOptions(twist_bones=count))


@pytest.mark.parametrize("count", range(1, 9))
@pytest.mark.parametrize("side", ["L", "R"])
def test_skin_bones_divide_each_segment_evenly_from_joint_to_joint(count: int, side: str) -> None:
    plan = plan_of(count)
    validate(plan)
    bones = {bone.name: bone for bone in plan.bones}
    frames = arm_frames(next(arm for arm in WREN.arms if arm.id == side), WREN.up)
    names = ArmNames(side)
    for segment, frame, length in (
        (names.skin_upper_arms(count), frames.upper_arm, frames.upper_length),
        (names.skin_forearms(count), frames.forearm, frames.forearm_length),
    ):
        assert len(segment) == count
        for index, name in enumerate(segment):
            rest = np.array(bones[name].rest)
            assert bones[name].deform
            assert bones[name].length == pytest.approx(length / count, rel=1e-12)
            np.testing.assert_allclose(rest[:3, :3], frame[:3, :3], atol=1e-12)
            np.testing.assert_allclose(rest[:3, 3], frame[:3, 3] + frame[:3, 1] * length * index / count, atol=1e-12)
    played = {role.role: role.bone for role in plan.roles if role.arm == side and role.role.startswith("skin_")}
    assert len(played) == 2 * count
    assert played["skin_forearm"] == names.skin_forearms(count)[0]


@pytest.mark.parametrize("count", [0, -1, 9, True, 2.5])
def test_a_number_of_skin_bones_that_can_not_be_had_is_refused_in_a_sentence(count: Any) -> None:
    with pytest.raises(PlanError, match=r"twist_bones is .*: an upper arm and a forearm have from 1 to 8 skin bones"):
        plan_arms(WREN, ArmOptions(twist_bones=count))


def test_reading_the_roll_from_a_bone_that_comes_after_is_a_circle() -> None:
    plan = plan_of(3)
    item = next(item for item in plan.constraints if item.kind == "share_roll" and item.bone.endswith(".L"))
    circle = replace(item, bone="fk.clavicle.L", target="root", space="skin.hand.L")
    assert find_cycle(replace(plan, constraints=(*plan.constraints, circle)))
