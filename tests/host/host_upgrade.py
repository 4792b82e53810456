"""A rig of plan version 1, with a user's work on it, is brought to this version in place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from characters_at_work import lost, poses, work_of

from armwright.core.plan import json as plan_json

DATA = Path(__file__).parent.parent / "data" / "keeper_plan1.blend"
FRAMES = (1, 8, 15, 16, 17, 24, 33, 40)
JOINTS = ("aux.upper_arm", "aux.forearm", "skin.hand", "fk.hand", "hold.hand", "hold.elbow", "skin.clavicle")


@pytest.fixture
def keeper_1() -> Any:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(DATA), load_ui=False)
    return bpy.data.objects["Keeper"]


def arm_length(armature: Any) -> float:
    return float(sum(armature.data.bones[f"fk.{part}.L"].length for part in ("upper_arm", "forearm")))


def joint_names() -> list[str]:
    return [f"{part}.{side}" for part in JOINTS for side in "LR"] + ["lamp"]


def upgrade(armature: Any, change: Any = None) -> Any:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again

    plan = plan_again(armature)
    return rebuild(armature, plan if change is None else change(plan))


RENAMED = {"skin.upper_arm": "skin.sleeve", "skin.forearm": "skin.cuff"}


@pytest.fixture
def renaming(monkeypatch: pytest.MonkeyPatch) -> None:
    """A version that calls two bones otherwise: version 2 itself renames none."""
    from armwright.core.plan import upgrade as table

    monkeypatch.setattr(table, "RENAMES", {1: RENAMED})


def under_other_names(plan: Any) -> Any:
    """The plan with the bones of RENAMED under their new names, wherever they are named."""
    text = plan_json.to_text(plan)
    for old, new in RENAMED.items():
        for side in "LR":
            text = text.replace(f'"{old}.{side}"', f'"{new}.{side}"')
    return plan_json.from_text(text)


def test_an_upgrade_keeps_poses_and_all_that_the_user_did(keeper_1: Any) -> None:
    from armwright.addon import rig
    from armwright.core.plan.model import VERSION

    record = rig.read_record(keeper_1)
    assert (record.plan_version, record.made) == (1, "")
    before, work = poses(keeper_1, joint_names(), FRAMES), work_of(keeper_1)
    done = upgrade(keeper_1)
    assert done.changed
    assert rig.read_record(keeper_1).plan_version == VERSION
    length = arm_length(keeper_1)
    # Places and axes.
    assert np.abs(poses(keeper_1, joint_names(), FRAMES) - before).max() < 2e-6 * length
    now = work_of(keeper_1)
    # What draws a control is not the user's.
    work["groups"] = {name: groups for name, groups in work["groups"].items() if groups}
    for key in ("actions", "bones", "channels", "constraints", "groups"):
        assert [line for line in lost(work[key], now[key]) if "skin.upper_arm" not in line] == []
    pose = keeper_1.pose.bones
    assert pose["fk.clavicle.R"]["soft"] == pytest.approx(0.35)
    assert pose["fk.clavicle.L"]["mood"] == "steady"
    assert pose["fk.upper_arm.L"].color.palette == "THEME03"
    assert tuple(pose["fk.hand.L"].custom_shape_scale_xyz) == pytest.approx((0.11, 0.12, 0.13))
    assert {entry.name for entry in keeper_1.data.bones["fk.hand.L"].collections} == {"Arms FK", "Lamp hand"}
    assert [item.name for item in pose["fk.hand.R"].constraints] == ["place", "My limit"]
    assert [item.name for item in pose["aux.hand_space.L"].constraints] == ["torso", "head", "Lantern"]
    assert not upgrade(keeper_1).changed


def test_looks_that_version_1_gave_follow_the_plan(keeper_1: Any) -> None:
    from armwright.addon.rebuild_looks import look_of, planned_look
    from armwright.addon.rebuild_plan import plan_again
    from armwright.addon.rebuild_work import same

    upgrade(keeper_1)
    edited = {("fk.hand.L", "custom_shape_scale_xyz"), ("fk.upper_arm.L", "colour")}
    for bone in plan_again(keeper_1).bones:
        wanted, found = planned_look(bone.display), look_of(keeper_1.pose.bones[bone.name])
        for key, value in wanted.items():
            if key != "colour":
                assert same(found[key], value) == ((bone.name, key) not in edited), (bone.name, key)


def test_weights_keys_drivers_and_constraints_go_to_the_bone_that_takes_over(keeper_1: Any, renaming: None) -> None:
    import bpy

    from armwright.addon.curves import curves_of

    joints, before = joint_names(), poses(keeper_1, joint_names(), FRAMES)
    sleeve = bpy.data.objects["Sleeve"]
    counts = [
        len([v for v in sleeve.data.vertices if v.groups[0].group == group.index]) for group in sleeve.vertex_groups
    ]
    assert counts == [18, 18, 18]
    done = upgrade(keeper_1, under_other_names)
    assert done.changed
    bones = keeper_1.data.bones
    assert "skin.upper_arm.L" not in bones
    assert {"skin.sleeve.L", "skin.upper_arm.1.L", "skin.cuff.R", "skin.forearm.2.R"} <= set(bones.keys())
    assert [group.name for group in sleeve.vertex_groups] == ["skin.sleeve.L", "skin.cuff.L", "skin.hand.L"]
    assert [
        len([v for v in sleeve.data.vertices if v.groups[0].group == group.index]) for group in sleeve.vertex_groups
    ] == counts
    assert keeper_1.pose.bones["lamp"].constraints[0].subtarget == "skin.cuff.R"
    driver = keeper_1.animation_data.drivers.find('pose.bones["lamp"].scale', index=0).driver
    assert driver.variables[0].targets[0].bone_target == "skin.sleeve.L"
    # Also in an action that lies on the shelf.
    paths = {curve.data_path for curve in curves_of(bpy.data.actions["Storm"])}
    assert 'pose.bones["skin.sleeve.L"].scale' in paths
    assert not [path for path in paths if "skin.upper_arm.L" in path]
    assert np.abs(poses(keeper_1, joints, FRAMES) - before).max() < 2e-6 * arm_length(keeper_1)


def test_groups_that_would_run_together_are_refused(keeper_1: Any, renaming: None) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.core.errors import HostError

    bpy.data.objects["Sleeve"].vertex_groups.new(name="skin.sleeve.L")
    before = deep_snapshot()
    with pytest.raises(HostError, match=r"'Sleeve' has a vertex group 'skin\.upper_arm\.L' and .*merge"):
        upgrade(keeper_1, under_other_names)
    assert differences(before, deep_snapshot()) == []


def test_an_upgraded_rig_is_proved(keeper_1: Any) -> None:
    from host_proof import _checks

    upgrade(keeper_1)
    keeper_1.animation_data.action = None
    # The limit is the user's: it would hold the right hand back.
    keeper_1.pose.bones["fk.hand.R"].constraints["My limit"].mute = True
    checks = _checks(keeper_1, "torso-wiggle", "hand")
    assert {check.arm for check in checks} == {"L", "R"}
    assert [check for check in checks if check.verdict == "fail"] == []
