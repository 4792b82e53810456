"""Building again: a user's work survives, the same inputs change nothing, others give what a new build would."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from characters_at_work import at_work, lost, poses, work_of
from keepers import activate, keeper, plan_for

ADDRESS = 8  # bytes


def guide_of(height: float = 1.7, sides: str = "LR") -> Any:
    from armwright.core.stature import guide_from_stature

    guide = guide_from_stature(height, "Wren")
    return replace(guide, arms=tuple(arm for arm in guide.arms if arm.side in sides))


def again(armature: Any, guide: Any = None, options: Any = None) -> Any:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    return rebuild(armature, plan_again(armature, guide, options))


def saved(path: Path) -> bytes:
    import bpy

    bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
    return path.read_bytes()


def different(one: bytes, other: bytes) -> set[int]:
    """Where two files differ; what only one of them has is different."""
    both = min(len(one), len(other))
    found = np.flatnonzero(np.frombuffer(one, np.uint8, both) != np.frombuffer(other, np.uint8, both))
    return {*found.tolist(), *range(both, max(len(one), len(other)))}


@pytest.mark.parametrize("mode", ["OBJECT", "POSE", "EDIT"])
def test_the_same_inputs_change_nothing(empty_file: Any, mode: str) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon import rig

    armature = at_work()
    activate(armature, mode)
    record, before = armature[rig.KEY], deep_snapshot()
    done = again(armature)
    assert (done.changed, done.notes) == (False, ())
    assert armature[rig.KEY] == record
    assert differences(before, deep_snapshot()) == []


def test_the_same_inputs_leave_the_saved_bytes_as_they_were(empty_file: Any, tmp_path: Path) -> None:
    armature = at_work()
    saved(tmp_path / "settled.blend")
    before, *controls = (saved(tmp_path / f"control{number}.blend") for number in range(4))
    # The host's save is the same bytes as long as nothing changes; otherwise this would say nothing. Host 4.2 writes
    # where its list of messages is in memory, and a save is a message: two addresses.
    own = sorted({place for control in controls for place in different(before, control)})
    assert len(own) <= 2 * ADDRESS
    near = {place + step for place in own for step in range(1 - ADDRESS, ADDRESS)}
    assert not again(armature).changed
    assert different(before, saved(tmp_path / "after.blend")) - near == set()
    armature.pose.bones["fk.hand.L"].location.x += 1e-3
    assert different(before, saved(tmp_path / "changed.blend")) - near


def test_a_users_work_survives_other_joints_and_options(empty_file: Any) -> None:
    from armwright.core.options import ArmOptions

    armature = at_work()
    before = work_of(armature)
    done = again(armature, guide_of(1.9), ArmOptions(longest=1.8, lift_share=0.6))
    assert done.changed
    assert done.notes == ()
    assert lost(before, work_of(armature)) == []
    shoulder = armature.data.bones["skin.upper_arm.L"].head_local.z
    # Winter, fig. 4.1: shoulder height 0.818 of the stature.
    assert shoulder == pytest.approx(0.818 * 1.9, abs=1e-5)


def test_a_rig_built_again_is_the_rig_that_would_have_been_built(empty_file: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.build import build

    def settled() -> Any:
        # A result that the host never had to change is kept in double precision, others in single.
        for bone in armature.pose.bones:
            for key in [key for key, value in bone.items() if isinstance(value, float)]:
                bone[key] = float(np.float32(bone[key]))
        return deep_snapshot()

    armature = keeper()
    build(armature, plan_for(armature, guide=guide_of(1.9)))
    wanted = settled()
    bpy.ops.wm.read_factory_settings(use_empty=True)
    armature = keeper()
    build(armature, plan_for(armature, guide=guide_of(1.6)))
    assert settled() != wanted
    again(armature, guide_of(1.9))
    assert differences(wanted, settled()) == []


def test_poses_come_back_with_the_joints(empty_file: Any) -> None:
    # Keyed turns are channels of their own: the same joints give the same poses, whatever was in between.
    armature = at_work()
    names = [bone.name for bone in armature.pose.bones]
    before = poses(armature, names)
    again(armature, guide_of(2.1))
    assert np.abs(poses(armature, names) - before).max() > 0.05
    again(armature, guide_of(1.7))
    length = sum(armature.data.bones[f"fk.{part}.L"].length for part in ("upper_arm", "forearm"))
    assert np.abs(poses(armature, names) - before).max() < 2e-6 * length


def test_joints_move_and_channels_do_not(empty_file: Any) -> None:
    armature = at_work()
    turn = np.array(armature.pose.bones["fk.upper_arm.R"].matrix_basis)
    hold = np.array(armature.pose.bones["hold.hand.R"].matrix_basis)
    again(armature, guide_of(1.9))
    assert (np.array(armature.pose.bones["fk.upper_arm.R"].matrix_basis) == turn).all()
    assert (np.array(armature.pose.bones["hold.hand.R"].matrix_basis) == hold).all()


def test_a_users_constraint_stays_where_it_stood_among_ours(empty_file: Any) -> None:
    armature = at_work()
    names = [item.name for item in armature.pose.bones["aux.forearm.R"].constraints]
    assert names == ["ik", "Between", "size", "place"]
    again(armature, guide_of(1.9))
    assert [item.name for item in armature.pose.bones["aux.forearm.R"].constraints] == names
    assert [item.name for item in armature.pose.bones["fk.hand.R"].constraints] == ["place", "Mine"]


def test_what_was_broken_is_made_again_and_named(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon import host

    armature = at_work()
    before = deep_snapshot()
    pose, drivers = armature.pose.bones, armature.animation_data.drivers
    pose["skin.hand.L"].constraints.remove(pose["skin.hand.L"].constraints["place"])
    pose["ik.span.R"].constraints["aim"].subtarget = "chest"
    pose["aux.upper_arm.L"].constraints.move(0, 2)
    drivers.remove(drivers.find('pose.bones["aux.elbow.L"].location', index=1))
    drivers.find('pose.bones["aux.wrist.R"].location', index=1).driver.expression = "0.1 * f + 0 * ik + 0 * need"
    del pose["fk.clavicle.L"]["stretch"]
    with host.mode(armature, "EDIT"):
        armature.data.edit_bones.remove(armature.data.edit_bones["aux.reach.R"])
        armature.data.edit_bones["ik.forearm.L"].head.x += 0.02
    done = again(armature)
    assert done.changed
    for words in (
        "'skin.hand.L': the constraint 'place' was gone",
        "'ik.span.R': the constraint 'aim' was changed",
        "'aux.upper_arm.L': its constraints were in another order",
        "aux.elbow.L",
        "0.1 * f",
        "'stretch' of 'fk.clavicle.L' was gone",
        "'aux.reach.R' was gone",
        "'ik.forearm.L' was moved by hand: put back",
    ):
        assert any(words in note for note in done.notes), (words, done.notes)
    again_done = again(armature)
    assert (again_done.changed, again_done.notes) == (False, ())
    left = [line for line in differences(before, deep_snapshot()) if "pose.ik." not in line]
    # The child of a bone that was deleted lost its parent's name and has it back.
    assert [line for line in left if "custom.armwright" not in line] == [], left


def test_a_mute_is_the_users(empty_file: Any) -> None:
    armature = at_work()
    armature.pose.bones["skin.hand.L"].constraints["ik"].mute = True
    assert not again(armature).changed
    again(armature, guide_of(1.8))
    assert armature.pose.bones["skin.hand.L"].constraints["ik"].mute


def test_an_arm_goes_and_comes_back(empty_file: Any) -> None:
    from armwright.addon.rig import read_record

    armature = keeper()
    from armwright.addon.build import build

    build(armature, plan_for(armature))
    armature.pose.bones["fk.upper_arm.R"].rotation_euler = (0.3, 0.1, 0.2)
    armature.pose.bones["fk.upper_arm.R"].keyframe_insert("rotation_euler", frame=1)
    done = again(armature, guide_of(sides="L"))
    assert done.changed
    assert read_record(armature).arms == ("L",)
    assert not [bone.name for bone in armature.data.bones if bone.name.endswith(".R")]
    assert not [curve for curve in armature.animation_data.drivers if ".R" in curve.data_path]
    again(armature, guide_of(1.8))
    assert read_record(armature).arms == ("L", "R")
    import bpy

    bpy.context.scene.frame_set(1)
    # Its keys waited in the action.
    assert tuple(armature.pose.bones["fk.upper_arm.R"].rotation_euler) == pytest.approx((0.3, 0.1, 0.2))


def test_a_bone_that_something_of_the_users_hangs_on_is_left_to_them(empty_file: Any) -> None:
    from armwright.addon.rig import read_record

    armature = at_work()
    before = work_of(armature)
    done = again(armature, guide_of(sides="R"))
    text = " ".join(done.notes)
    for words in ("'skin.hand.L'", "'ring'", "'Lantern'", "a driver of 'Keeper'", "'note'", "'Sleeve'", "weights stay"):
        assert words in text, (words, done.notes)
    record = read_record(armature)
    assert record.arms == ("R",)
    assert {"skin.hand.L", "aux.hand_space.L", "skin.upper_arm.L", "fk.hand.L"} <= set(record.left)
    assert armature.data.bones["fk.hand.L"].parent.name == "chest"
    assert armature.data.bones["ring"].parent.name == "skin.hand.L"
    assert [item.name for item in armature.pose.bones["skin.hand.L"].constraints] == []
    now = work_of(armature)
    for key in ("actions", "drivers", "groups"):
        assert now[key] == before[key]
    assert (settled := again(armature, guide_of(sides="R"))).changed is False, settled
    # Both arms: what was left is taken into the arms again, the user's things with it.
    back = again(armature, guide_of())
    assert read_record(armature).left == ()
    assert armature.data.bones["skin.hand.L"].parent.name == "fk.hand.L"
    assert [item.name for item in armature.pose.bones["aux.hand_space.L"].constraints] == ["torso", "Lantern"], back
    assert armature.pose.bones["fk.hand.L"].custom_shape_scale_xyz[0] == pytest.approx(0.11)


def test_a_torso_that_came_with_the_arms_moves_with_the_joints_unless_the_user_has_shaped_it(wren: Any) -> None:
    from armwright.addon import host

    again(wren, guide_of(1.9))
    height = guide_of(1.9).torso.chain[0][2]
    assert wren.data.bones["torso.1"].head_local.z == pytest.approx(height, abs=1e-5)
    with host.mode(wren, "EDIT"):
        wren.data.edit_bones["torso.1"].head.z -= 0.05
    done = again(wren, guide_of(1.7))
    assert [note for note in done.notes if "torso.1" in note and "stays" in note]
    assert wren.data.bones["torso.1"].head_local.z == pytest.approx(height - 0.05, abs=1e-5)
    assert not again(wren).changed


def test_a_dial_out_of_its_new_range_is_brought_in_and_said(wren: Any) -> None:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    wren.pose.bones["fk.clavicle.L"]["upper_length"] = 3.0
    plan = plan_again(wren)
    narrow = tuple(replace(item, high=2.0) if item.name == "upper_length" else item for item in plan.properties)
    done = rebuild(wren, replace(plan, properties=narrow))
    assert [note for note in done.notes if "upper_length" in note and "was 3" in note and "it is 2" in note]
    assert wren.pose.bones["fk.clavicle.L"]["upper_length"] == 2.0
    shown = wren.pose.bones["fk.clavicle.L"].id_properties_ui("upper_length").as_dict()
    assert (shown["max"], shown["soft_max"]) == (2.0, 2.0)


def test_a_range_that_the_user_gave_a_dial_stays(wren: Any) -> None:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    wren.pose.bones["fk.clavicle.L"].id_properties_ui("lift").update(soft_max=0.7, description="mine")
    plan = plan_again(wren)
    other = tuple(replace(item, help="other words") if item.name == "lift" else item for item in plan.properties)
    rebuild(wren, replace(plan, properties=other))
    shown = [wren.pose.bones[f"fk.clavicle.{side}"].id_properties_ui("lift").as_dict() for side in "LR"]
    assert [entry["description"] for entry in shown] == ["mine", "other words"]
    assert [entry["soft_max"] for entry in shown] == [0.7, 1.0]


def test_looks_follow_the_plan_where_the_user_has_not_changed_them(empty_file: Any) -> None:
    armature = at_work()
    pose = armature.pose.bones
    sizes = {name: tuple(pose[name].custom_shape_scale_xyz) for name in ("fk.hand.L", "fk.hand.R")}
    again(armature, guide_of(1.9))
    grown = 1.9 / 1.7
    assert tuple(pose["fk.hand.R"].custom_shape_scale_xyz) == pytest.approx(
        np.array(sizes["fk.hand.R"]) * grown, rel=1e-5
    )
    assert tuple(pose["fk.hand.L"].custom_shape_scale_xyz) == pytest.approx(sizes["fk.hand.L"])


def test_a_collection_that_the_user_has_renamed_is_where_new_bones_go(wren: Any) -> None:
    again(wren, guide_of(sides="L"))
    wren.data.collections["Arms FK"].name = "Swing"
    again(wren, guide_of())
    assert "Arms FK" not in wren.data.collections
    assert "fk.hand.R" in wren.data.collections["Swing"].bones


def test_a_users_constraint_in_the_way_of_a_new_one_gets_another_name_and_keeps_its_keys(wren: Any) -> None:
    from armwright.addon.curves import curves_of
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again
    from armwright.core.plan.model import Constraint

    mine = wren.pose.bones["fk.hand.L"].constraints.new("LIMIT_SCALE")
    mine.name = "size"
    mine.keyframe_insert("influence", frame=3)
    plan = plan_again(wren)
    size = Constraint("fk.hand.L", "size", "copy_scale", "fk.clavicle.L")
    done = rebuild(wren, replace(plan, constraints=(*plan.constraints, size)))
    assert [item.name for item in wren.pose.bones["fk.hand.L"].constraints] == ["place", "size", "size (own)"]
    assert [note for note in done.notes if "'size' was yours" in note]
    paths = [curve.data_path for curve in curves_of(wren.animation_data.action)]
    assert paths == ['pose.bones["fk.hand.L"].constraints["size (own)"].influence']


def test_mirrored_editing_does_not_mirror_arms_that_differ(empty_file: Any) -> None:
    from armwright.addon.build import build
    from armwright.addon.host import rest_matrix

    guide = guide_of()
    left, right = guide.arms
    shorter = replace(right, wrist=tuple(0.5 * np.array(right.elbow) + 0.5 * np.array(right.wrist)))
    armature = keeper()
    build(armature, plan_for(armature))
    armature.data.use_mirror_x = True
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    plan = plan_again(armature, replace(guide, arms=(left, shorter)))
    rebuild(armature, plan)
    assert armature.data.use_mirror_x
    for bone in plan.bones:
        assert np.abs(rest_matrix(armature.data.bones[bone.name]) - np.array(bone.rest)).max() < 2e-6, bone.name
