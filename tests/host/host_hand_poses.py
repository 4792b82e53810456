"""Hand poses as the host's own pose assets: they give the pose, and nothing that somebody made is lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hands import build_hand
from props import subject_of

NAMES = ["Wren fist", "Wren flat hand", "Wren relaxed hand"]


def make(armature: Any) -> dict[str, Any]:
    from armwright.addon.hand_poses import make_hand_poses

    return {action.name: action for action in make_hand_poses(armature)}


def shown(armature: Any, name: str) -> np.ndarray:
    import bpy

    bpy.context.view_layer.update()
    return np.array([list(row) for row in armature.pose.bones[name].matrix])


def actions() -> list[str]:
    import bpy

    return sorted(bpy.data.actions.keys())


def bend(armature: Any, first: str, second: str) -> float:
    """Degrees from one bone's line to another's, about the first one's hinge: positive closes."""
    one, other = shown(armature, first), shown(armature, second)
    return float(np.degrees(np.arctan2(other[:3, 1] @ one[:3, 2], other[:3, 1] @ one[:3, 1])))


def select(armature: Any, *names: str) -> None:
    from armwright.addon import host

    for bone in armature.pose.bones:
        host.select(bone, bone.name in names)


@pytest.mark.parametrize("kind", ["five", "unlike", "claw", "six_of_four"])
def test_applying_the_fist_closes_every_finger_by_its_range_and_flat_opens_it(empty_file: Any, kind: str) -> None:
    from armwright.addon import sample_fingers
    from armwright.core.solve.fingers import bend_limits

    armature = build_hand(kind)
    record = subject_of(armature).record
    made = make(armature)
    assert sorted(made) == NAMES
    select(armature)
    for name in ("Wren flat hand", "Wren fist", "Wren flat hand"):
        for bone in armature.pose.bones:
            if bone.name.startswith("fk.") and bone.rotation_mode == "XYZ" and "upper" not in bone.name:
                bone.rotation_euler = (0.3, 0.1, 0.2) if ".fingers" not in bone.name else (0.0, 0.0, 0.0)
        armature.pose.apply_pose_from_action(made[name], evaluation_time=1.0)
        for arm in record.arms:
            geometry = sample_fingers.finger_geometry(armature, record, arm)
            assert geometry is not None
            for finger in geometry.fingers:
                bones = sample_fingers.skin_bones(record, arm, finger.name, len(finger.frames))
                for place in range(1, len(bones)):
                    angle = bend(armature, bones[place - 1], bones[place])
                    flat = np.degrees(bend_limits(finger)[place])
                    if name == "Wren flat hand":
                        assert abs(angle) < (1e-3 if kind != "claw" else 3.0), (finger.name, place)
                    else:
                        # The claw's joints are off the hinges' planes, which no turn about them takes out.
                        off = (angle - flat + 180.0) % 360.0 - 180.0
                        assert abs(off) < (1e-3 if kind != "claw" else 3.0), (finger.name, place)


def test_a_relaxed_hand_closes_more_from_the_index_to_the_little_finger(empty_file: Any) -> None:
    armature = build_hand("five")
    armature.pose.apply_pose_from_action(make(armature)["Wren relaxed hand"], evaluation_time=1.0)
    for arm in "LR":
        angles = [
            bend(armature, f"skin.hand.{arm}", f"skin.{name}.1.{arm}") for name in ("index", "middle", "ring", "little")
        ]
        assert angles == sorted(angles) and 5.0 < angles[0] < angles[-1] < 40.0


def test_with_the_controls_of_one_hand_selected_the_other_keeps_its_pose(empty_file: Any) -> None:
    armature = build_hand("five")
    made = make(armature)
    select(armature, "fk.fingers.L")
    armature.pose.apply_pose_from_action(made["Wren fist"], evaluation_time=1.0)
    assert [armature.pose.bones[f"fk.fingers.{arm}"]["curl"] for arm in "LR"] == [1.0, 0.0]


def test_they_are_assets_of_one_frame_and_the_rigs_own_action_stays(empty_file: Any) -> None:
    import bpy

    from armwright.addon.curves import new_action

    armature = build_hand("five")
    own, _ = new_action(armature, "Watch")
    for action in make(armature).values():
        assert action.asset_data is not None and action.asset_data.description
        assert tuple(action.frame_range) == (1.0, 1.0)
        assert action.use_fake_user
    assert armature.animation_data.action == own
    assert bpy.data.actions["Wren fist"].users == 1


def test_a_rig_without_an_action_gets_no_animation_of_its_own(empty_file: Any) -> None:
    armature = build_hand("five")
    make(armature)
    assert armature.animation_data.action is None


def test_making_them_again_changes_nothing(empty_file: Any) -> None:
    armature = build_hand("unlike")
    first = make(armature)
    assert make(armature) == first
    assert actions() == NAMES


def test_an_action_of_the_same_name_stays_and_the_new_one_gets_a_number(empty_file: Any) -> None:
    import bpy

    armature = build_hand("five")
    mine = bpy.data.actions.new("Wren fist")
    mine.use_fake_user = True
    assert "Wren fist.001" in make(armature)
    assert bpy.data.actions["Wren fist"] == mine and mine.asset_data is None


def _changed(action: Any) -> None:
    from armwright.addon.curves import curves_of

    next(iter(curves_of(action))).keyframe_points[0].co.y = 0.4


def _renamed(action: Any) -> None:
    action.name = "Grip"


def _filed(action: Any) -> None:
    action.asset_data.tags.new("lantern")


def _used(action: Any) -> None:
    import bpy

    holder = bpy.data.objects.new("Lamp", None)
    holder.animation_data_create().action = action


def _unmarked(action: Any) -> None:
    action.asset_clear()
    action.use_fake_user = True


@pytest.mark.parametrize("touch", [_changed, _renamed, _filed, _used, _unmarked])
def test_what_somebody_changed_or_uses_is_kept_by_remaking_and_by_removal(empty_file: Any, touch: Any) -> None:
    from armwright.addon.remove import remove_arms

    armature = build_hand("five")
    fist = make(armature)["Wren fist"]
    touch(fist)
    name = fist.name
    again = make(armature)
    assert name in actions() and fist not in again.values() and len(actions()) == 4
    remove_arms(armature)
    assert actions() == [name]


def test_removal_of_one_characters_arms_leaves_the_poses_of_another(empty_file: Any) -> None:
    from armwright.addon.remove import remove_arms

    one, other = build_hand("five"), build_hand("five")
    kept = sorted(make(other))
    make(one)
    assert len(actions()) == 6
    remove_arms(one)
    assert actions() == kept


def test_poses_of_a_rebuilt_hand_replace_those_that_nobody_touched(empty_file: Any) -> None:
    from armwright.addon.build import build
    from armwright.addon.remove import remove_arms

    armature = build_hand("five")
    make(armature)
    marks = [action["armwright_hand_pose"] for action in make(armature).values()]
    from hands import hand_guide

    from armwright.addon import hand_poses
    from armwright.addon.build import attachment_to
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions

    kept = hand_poses.remove_hand_poses
    hand_poses.remove_hand_poses = lambda _: None
    try:
        remove_arms(armature)
    finally:
        hand_poses.remove_hand_poses = kept
    build(armature, plan_arms(hand_guide("two"), ArmOptions(), attachment_to(armature, "torso.3", "root", "head")))
    again = make(armature)
    assert len(actions()) == 3
    assert not set(marks) & {action["armwright_hand_pose"] for action in again.values()}


def test_a_rig_without_fingers_is_refused_and_nothing_is_made(wren: Any) -> None:
    from armwright.core.errors import HostError

    with pytest.raises(HostError, match="no fingers"):
        make(wren)
    assert actions() == []


def test_a_failure_half_way_leaves_no_action(empty_file: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from armwright.addon import hand_poses
    from armwright.core.errors import HostError

    armature = build_hand("five")
    written = hand_poses.write_curve

    def broken(curves: Any, path: str, *rest: Any) -> None:
        if len(actions()) == 2 and "little" in path:
            raise HostError("broken on purpose")
        written(curves, path, *rest)

    monkeypatch.setattr(hand_poses, "write_curve", broken)
    with pytest.raises(HostError, match="on purpose"):
        make(armature)
    assert actions() == []


def test_the_button_makes_them(empty_file: Any) -> None:
    import bpy
    from keepers import activate

    import armwright

    armwright.register()
    try:
        activate(build_hand("five"), "POSE")
        assert bpy.ops.armwright.make_hand_poses() == {"FINISHED"}
        assert actions() == NAMES
    finally:
        armwright.unregister()
