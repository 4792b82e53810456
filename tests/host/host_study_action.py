"""An action read as motion to study: the arms of any armature, in world metres, the file as it was afterwards."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from refusals import refused
from shots import LAST, arm_length, set_in_motion

SIDES = ("L", "R")
# Metres: what the host's single precision leaves of a place on a character.
NEAR = 2e-6


def read(armature: Any, **other: Any) -> Any:
    from armwright.addon.study_action import motion_of_action

    return motion_of_action(armature, **other)


def joints_in_world(armature: Any, names: tuple[str, ...], frames: range) -> np.ndarray:
    """Heads of bones over frames, (N, K, 3), by the host's own matrices."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        matrix = armature.evaluated_get(bpy.context.evaluated_depsgraph_get()).matrix_world
        out.append([tuple(matrix @ armature.pose.bones[name].head) for name in names])
    return np.array(out)


def foreign_in_motion(kind: str = "bare_fk", **other: Any) -> Any:
    """An armature of other making whose left arm swings and whose chest leans."""
    from foreign_arms import EVERY

    armature = EVERY[kind][0](**other)
    for frame, angle in ((1, 0.0), (12, 0.5), (24, -0.2)):
        for name in ("swing_humerus.L" if kind == "blended_chains" else "humerus.L", "chest"):
            bone = armature.pose.bones[name]
            bone.rotation_mode = "XYZ"
            bone.rotation_euler = (angle, 0.3 * angle, 0.0)
            bone.keyframe_insert("rotation_euler", frame=frame)
    return armature


def test_our_own_rig_is_read_by_its_roles(wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    wren.location, wren.rotation_euler = (3.0, -2.0, 0.5), (0.0, 0.0, 0.7)
    bpy.context.scene.render.fps, bpy.context.scene.render.fps_base = 30, 1.001
    motion = read(wren)
    assert [arm.arm for arm in motion.arms] == list(SIDES)
    assert motion.frames == LAST
    assert motion.rate == pytest.approx(30.0 / 1.001)
    assert motion.name == wren.animation_data.action.name
    for arm in motion.arms:
        bones = tuple(f"skin.{part}.{arm.arm}" for part in ("upper_arm", "forearm", "hand"))
        shown = joints_in_world(wren, bones, range(1, LAST + 1))
        for place, name in enumerate(("shoulder", "elbow", "wrist")):
            assert np.abs(getattr(arm, name) - shown[:, place]).max() < NEAR, name
        assert arm.length == pytest.approx(arm_length(wren), rel=1e-5)
        assert np.linalg.norm(arm.tip - arm.wrist, axis=1) == pytest.approx(
            np.full(LAST, wren.data.bones[bones[2]].length), rel=1e-4
        )
        assert np.abs(np.swapaxes(arm.hand, 1, 2) @ arm.hand - np.eye(3)).max() < 1e-9


def test_the_torso_faces_where_the_character_does(wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    for bone in wren.pose.bones:
        bone.rotation_euler = bone.location = (0.0, 0.0, 0.0)
    for curve in [item for item in _curves(wren) if "torso" in item.data_path]:
        for point in curve.keyframe_points:
            point.co.y = 0.0
        curve.update()
    wren.rotation_euler = (0.0, 0.0, math.pi / 2)
    bpy.context.view_layer.update()
    torso = read(wren).torso
    # Wren faces -Y at rest; turned by a quarter, +X, with the left hand to +Y.
    assert np.abs(torso[:, :3, 0] - [0.0, 1.0, 0.0]).max() < 1e-5
    assert np.abs(torso[:, :3, 1] - [-1.0, 0.0, 0.0]).max() < 1e-5
    assert np.abs(torso[:, :3, 2] - [0.0, 0.0, 1.0]).max() < 1e-5


@pytest.mark.parametrize("scale", [1.0, 0.01])
@pytest.mark.parametrize("unit", [1.0, 0.01])
def test_lengths_are_metres_whatever_the_unit_and_the_scale(wren: Any, scale: float, unit: float) -> None:
    import bpy

    set_in_motion(wren)
    length = arm_length(wren)
    wren.scale = (scale / unit,) * 3
    bpy.context.scene.unit_settings.scale_length = unit
    bpy.context.view_layer.update()
    if scale == 1.0:
        assert read(wren).arms[0].length == pytest.approx(length, rel=1e-5)
    else:
        from armwright.core.errors import MotionError

        with pytest.raises(MotionError, match="no arm's"):
            read(wren)


@pytest.mark.parametrize("kind", ["bare_fk", "native_ik", "blended_chains", "elbow_child_of"])
def test_any_armature_is_read_by_a_card_and_by_its_shape(empty_file: Any, kind: str) -> None:
    from foreign_arms import EVERY

    armature = foreign_in_motion(kind)
    by_shape, by_card = read(armature), read(armature, card=EVERY[kind][1](armature))
    assert {arm.arm for arm in by_shape.arms} == {arm.arm for arm in by_card.arms} == set(SIDES)
    assert "arms found by their shape" in by_shape.notes[0]
    for arm in by_card.arms:
        same = next(item for item in by_shape.arms if item.arm == arm.arm)
        bones = tuple(f"{part}.{arm.arm}" for part in ("humerus", "ulna", "palm"))
        shown = joints_in_world(armature, bones, range(1, 25))
        for place, name in enumerate(("shoulder", "elbow", "wrist")):
            assert np.abs(getattr(arm, name) - shown[:, place]).max() < NEAR
            assert np.abs(getattr(same, name) - getattr(arm, name)).max() < NEAR
    assert np.abs(by_card.torso - by_shape.torso).max() < 1e-6
    assert np.linalg.norm(np.ptp(by_card.arms[0].shoulder, axis=0)) > 0.01


def test_an_armature_in_centimetres_gives_metres(empty_file: Any) -> None:
    import bpy

    small = read(foreign_in_motion("bare_fk"))
    armature = foreign_in_motion("bare_fk", name="Large", units=100.0)
    armature.scale = (0.01,) * 3
    bpy.context.view_layer.update()
    large = read(armature)
    assert large.arms[0].length == pytest.approx(small.arms[0].length, rel=1e-5)
    assert np.abs(large.arms[0].wrist - small.arms[0].wrist).max() < 1e-4


def test_the_hands_end_is_its_longest_finger_and_not_what_it_holds(empty_file: Any) -> None:
    from foreign_arms import bare_fk_card

    from armwright.addon import host

    armature = foreign_in_motion()
    with host.mode(armature, "EDIT"):
        edit = armature.data.edit_bones
        palm = edit["palm.L"]
        end, way = palm.tail.copy(), (palm.tail - palm.head).normalized()
        expected = (palm.tail - palm.head).length + 0.07
        for name, length in (("finger.L", 0.07), ("lantern.L", 1.0)):
            bone = edit.new(name)
            bone.head, bone.tail, bone.parent = end, end + length * way, edit["palm.L"]
    motion = read(armature, card=bare_fk_card(armature))
    left = next(arm for arm in motion.arms if arm.arm == "L")
    assert np.linalg.norm(left.tip - left.wrist, axis=1) == pytest.approx(np.full(motion.frames, expected), rel=1e-4)


def test_an_arm_of_a_rig_that_stretches_far_is_an_arm_all_the_same(wren: Any) -> None:
    from armwright.addon.rig import read_record

    set_in_motion(wren)
    dials = wren.pose.bones[read_record(wren).bone("L", "dials")]
    for frame, value in ((1, 1.0), (LAST // 2, 1.0), (LAST, 4.0)):
        dials["upper_length"] = value
        dials.keyframe_insert('["upper_length"]', frame=frame)
    arm = read(wren).arms[0]
    assert np.ptp(np.linalg.norm(arm.elbow - arm.shoulder, axis=1)) > arm.length


def test_things_are_read_where_they_are_shown(wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    lantern = bpy.data.objects.new("lantern", None)
    bpy.context.scene.collection.objects.link(lantern)
    for frame, place in ((1, (0.0, 0.0, 1.0)), (LAST, (1.0, 2.0, 3.0))):
        lantern.location = place
        lantern.keyframe_insert("location", frame=frame)
    bpy.context.view_layer.update()
    motion = read(wren, things=[lantern])
    (name, places) = motion.things[0]
    assert name == "lantern"
    assert np.abs(places[[0, -1]] - [[0.0, 0.0, 1.0], [1.0, 2.0, 3.0]]).max() < 1e-6


def test_reading_leaves_the_file_as_it_was(wren: Any) -> None:
    import bpy
    from keepers import activate

    from armwright.addon.rig import read_record

    set_in_motion(wren)
    other = foreign_in_motion()
    activate(wren, "POSE")
    bpy.context.scene.frame_set(7, subframe=0.25)
    # Over their keys, and not keyed: nothing may take that back.
    wren.pose.bones["fk.hand.L"].rotation_euler = (0.9, 0.1, 0.2)
    other.pose.bones["humerus.L"].rotation_euler = (0.3, 0.3, 0.3)
    wren.pose.bones[read_record(wren).bone("L", "dials")]["ik"] = 0.25
    bpy.context.view_layer.update()
    before = deep_snapshot()
    read(wren)
    assert differences(before, deep_snapshot()) == []
    assert bpy.context.scene.frame_subframe == pytest.approx(0.25)


def test_reading_that_is_stopped_leaves_the_file_as_it_was(wren: Any) -> None:
    import bpy

    from armwright.addon.study_action import actor_of, motion_steps

    set_in_motion(wren)
    bpy.context.scene.frame_set(5)
    wren.pose.bones["fk.hand.L"].rotation_euler = (0.9, 0.1, 0.2)
    before = deep_snapshot()
    steps = motion_steps(actor_of(wren))
    seen = [next(steps) for _ in range(10)]
    assert [step.done for step in seen] == list(range(1, 11))
    assert {step.total for step in seen} == {LAST}
    steps.close()
    assert differences(before, deep_snapshot()) == []


def test_another_action_is_played_alone_and_what_played_plays_again(wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    first = wren.animation_data.action
    wren.animation_data.action = None
    set_in_motion(wren, seed=4)
    second = wren.animation_data.action
    expected = read(wren)
    wren.animation_data.action = first
    bpy.context.scene.frame_set(3)
    before = deep_snapshot()
    motion = read(wren, action=second)
    assert differences(before, deep_snapshot()) == []
    assert motion.name == second.name
    assert np.abs(motion.arms[0].wrist - expected.arms[0].wrist).max() < NEAR


def test_an_armature_without_animation_plays_an_action_that_is_named(empty_file: Any) -> None:
    armature = foreign_in_motion()
    action, expected = armature.animation_data.action, read(armature)
    armature.animation_data_clear()
    assert np.abs(read(armature, action=action).arms[0].wrist - expected.arms[0].wrist).max() < NEAR
    assert armature.animation_data is None


def test_a_range_that_was_set_by_hand_is_the_actions(wren: Any) -> None:
    set_in_motion(wren)
    action = wren.animation_data.action
    action.use_frame_range, action.frame_start, action.frame_end = True, 5, 14
    motion = read(wren)
    assert motion.frames == 10
    assert "is the scene's frame 5" in motion.notes[-1]


def test_a_file_is_read_by_names(wren: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon.cli.motion_file import motion_of_blend
    from armwright.core.errors import HostError

    set_in_motion(wren)
    bpy.data.objects.new("rope", None)
    bpy.context.scene.collection.objects.link(bpy.data.objects["rope"])
    expected, name = read(wren), wren.name
    action = wren.animation_data.action.name
    path = tmp_path / "keeper.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    for motion in (motion_of_blend(path), motion_of_blend(path, name, action, things=["rope"])):
        assert np.abs(motion.arms[1].wrist - expected.arms[1].wrist).max() < NEAR
    assert motion.things[0][0] == "rope"
    with pytest.raises(HostError, match="no action 'Climb'; there is"):
        motion_of_blend(path, name, "Climb")
    with pytest.raises(HostError, match="no object 'oar'"):
        motion_of_blend(path, things=["oar"])


def test_what_is_no_motion_of_arms_is_refused_in_a_sentence(wren: Any) -> None:
    import bpy
    from characters import torso_armature

    refused(lambda: read(None), "nothing is active")
    lamp = bpy.data.objects.new("lamp", None)
    bpy.context.scene.collection.objects.link(lamp)
    refused(lambda: read(lamp), "without an armature")
    refused(lambda: read(wren), "plays no action: choose one in the action editor; there is: none")
    empty = bpy.data.actions.new("Empty")
    refused(lambda: read(wren, action=empty), "has no keys for")
    wren.pose.bones["fk.hand.L"].keyframe_insert("rotation_euler", frame=4)
    refused(lambda: read(wren), "has one frame, 4")
    wren.pose.bones["fk.hand.L"].keyframe_insert("rotation_euler", frame=8)
    refused(lambda: read(wren, things=[wren]), "whose hands are studied")
    lamp.name = "L"
    refused(lambda: read(wren, things=[lamp]), "can not be told from what an arm is")
    wren.data.pose_position = "REST"
    refused(lambda: read(wren), "rest position")
    wren.data.pose_position = "POSE"
    wren.scale = (-1.0, 1.0, 1.0)
    bpy.context.view_layer.update()
    refused(lambda: read(wren), "mirrored by a negative scale")
    legs = torso_armature("Legs")
    refused(lambda: read(legs), "no arms were found")


def _curves(armature: Any) -> Any:
    from armwright.addon.convert_write import curve_bag

    return curve_bag(armature).fcurves
