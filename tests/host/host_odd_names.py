"""Bones with quotes and backslashes in their names: a data path of ours leads the host to that bone."""

from __future__ import annotations

from typing import Any

import pytest
from characters import torso_armature
from keepers import plan_for

ODD = ('chest "old"', "chest\\", 'a"]["b', '\\"', "chest]", "chest.'x'", "brust.é")


@pytest.mark.parametrize("name", ODD)
def test_a_path_of_ours_leads_to_the_bone_of_any_name(empty_file: Any, name: str) -> None:
    import bpy

    from armwright.core.plan.made import bone_path, in_quotes

    armature = torso_armature("Keeper")
    armature.data.bones["chest"].name = name
    bone = armature.pose.bones[name]
    bone["dial"] = 0.5
    assert in_quotes(name) == bpy.utils.escape_identifier(name)
    assert armature.path_resolve(bone_path(name)) == bone
    assert armature.path_resolve(f'{bone_path(name)}["dial"]') == 0.5


@pytest.mark.parametrize("name", ODD)
def test_arms_on_a_torso_of_any_name_read_it_and_go_again(empty_file: Any, name: str) -> None:
    import bpy

    from armwright.addon import build, remove, subjects

    armature = torso_armature("Keeper")
    armature.data.bones["chest"].name = name
    bones = sorted(bone.name for bone in armature.data.bones)
    build.build(armature, plan_for(armature, name))
    bpy.context.view_layer.update()
    assert armature.animation_data.drivers
    for curve in armature.animation_data.drivers:
        assert curve.driver.is_valid and curve.is_valid, curve.data_path
    subject = subjects.subject_of(armature)
    assert subject.record.torso == name
    remove.remove_arms(armature)
    assert sorted(bone.name for bone in armature.data.bones) == bones
    assert not armature.animation_data or not armature.animation_data.drivers
