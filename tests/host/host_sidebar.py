"""The sidebar's operators: which arms they mean, and what they say where they can not be used."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import joints_along, lantern, pose_freely, subject_of

SEED = 3301


@pytest.fixture
def registered(wren: Any) -> Iterator[Any]:
    import armwright

    armwright.register()
    activate(wren, "POSE")
    select(wren)
    yield wren
    armwright.unregister()


def select(armature: Any, *bones: str, active: str = "") -> None:
    """Select exactly these bones; the last one is active, or `active`."""
    from armwright.addon import host

    for bone in armature.pose.bones:
        host.select(bone, bone.name in bones)
    name = active or (bones[-1] if bones else "")
    armature.data.bones.active = armature.data.bones[name] if name else None


def modes(armature: Any) -> dict[str, Any]:
    from armwright.addon.holds import mode_of

    record = subject_of(armature).record
    return {arm: mode_of(armature, record, arm) for arm in record.arms}


def refusal(call: Any, **options: Any) -> str:
    """What an operator says when it is refused."""
    with pytest.raises(RuntimeError) as caught:
        call(**options)
    return str(caught.value)


@pytest.mark.parametrize("layer", ["fk.hand", "fk.clavicle", "hold.elbow", "hold.hand", "aim.elbow"])
@pytest.mark.parametrize("arm", ["L", "R"])
def test_any_control_of_an_arm_means_that_arm(registered: Any, layer: str, arm: str) -> None:
    import bpy

    other = {"L": "R", "R": "L"}[arm]
    select(registered, f"{layer}.{arm}")
    assert bpy.ops.armwright.hold(mode="hand") == {"FINISHED"}
    assert modes(registered) == {arm: "hand", other: "none"}


def test_every_bone_with_a_role_means_its_arm(registered: Any) -> None:
    from armwright.addon import selection

    record = subject_of(registered).record
    for role in record.roles:
        bone = registered.data.bones[role.bone]
        for collection in bone.collections:
            collection.is_visible = True
        bone.hide = False
        select(registered, role.bone)
        assert selection.selected_arms(registered, record) == (role.arm,), role
    assert {role.bone.split(".")[0] for role in record.roles} >= {"fk", "hold", "aim"}


def test_controls_of_both_arms_mean_both_and_the_pose_is_kept(registered: Any) -> None:
    import bpy

    print("seed", SEED)
    pose_freely(np.random.default_rng(SEED), registered)
    bpy.context.view_layer.update()
    frame = bpy.context.scene.frame_current
    before = [joints_along(registered, [frame], arm) for arm in "LR"]
    select(registered, "fk.hand.L", "hold.hand.R")
    for mode in ("both", "elbow", "hand"):
        assert bpy.ops.armwright.hold(mode=mode) == {"FINISHED"}
        assert modes(registered) == {"L": mode, "R": mode}
    for dial in ("isolate", "lift", "stretch"):
        was = [registered.pose.bones[f"fk.clavicle.{arm}"][dial] for arm in "LR"]
        assert was[0] == was[1]
        assert bpy.ops.armwright.flip_dial(dial=dial) == {"FINISHED"}
        assert [registered.pose.bones[f"fk.clavicle.{arm}"][dial] for arm in "LR"] == [1.0 - was[0]] * 2
    assert bpy.ops.armwright.release() == {"FINISHED"}
    assert modes(registered) == {"L": "none", "R": "none"}
    after = [joints_along(registered, [frame], arm) for arm in "LR"]
    assert np.abs(np.array(after) - np.array(before)).max() < 1e-5


def test_without_a_selected_control_the_sentence_says_what_to_select(registered: Any) -> None:
    import bpy

    for bones in ((), ("torso.2",)):
        select(registered, *bones)
        for call, options in (
            (bpy.ops.armwright.hold, {"mode": "hand"}),
            (bpy.ops.armwright.flip_dial, {"dial": "lift"}),
            (bpy.ops.armwright.grab, {"parts": "hand"}),
            (bpy.ops.armwright.hold_range, {"first": 1, "last": 9}),
            (bpy.ops.armwright.convert_range, {"first": 1, "last": 9}),
        ):
            assert "no control of an arm is selected" in refusal(call, **options)
    assert modes(registered) == {"L": "none", "R": "none"}


def test_a_selected_control_says_who_grabs_and_the_active_bone_what(registered: Any) -> None:
    import bpy

    from armwright.addon import spaces

    select(registered, "hold.hand.R", "head", active="head")
    assert bpy.ops.armwright.grab(parts="hand") == {"FINISHED"}
    subject = subject_of(registered)
    assert spaces.active_space(subject, "R", "hand").key == "head"
    assert modes(registered) == {"L": "none", "R": "hand"}


def test_the_character_s_mesh_or_a_prop_may_be_active(registered: Any) -> None:
    import bpy

    from armwright.addon import spaces

    bpy.ops.object.mode_set(mode="OBJECT")
    mesh = bpy.data.objects.new("Coat", bpy.data.meshes.new("Coat"))
    bpy.context.scene.collection.objects.link(mesh)
    mesh.modifiers.new("Skin", "ARMATURE").object = registered
    activate(mesh)
    assert bpy.ops.armwright.hold(arm="L", mode="hand") == {"FINISHED"}
    # The character's own coat is nothing to hold on to.
    assert bpy.ops.armwright.grab(arm="L", parts="hand") == {"FINISHED"}
    assert spaces.active_space(subject_of(registered), "L", "hand").key == "world"
    prop = lantern()
    activate(prop)
    registered.select_set(True)
    assert bpy.ops.armwright.grab(arm="R", parts="hand") == {"FINISHED"}
    assert spaces.active_space(subject_of(registered), "R", "hand").key == "Lantern"
    registered.select_set(False)
    assert not bpy.ops.armwright.grab.poll()
    assert "select an armature that has arms" in refusal(bpy.ops.armwright.grab, arm="R").lower()


CALLS = ("hold", "flip_dial", "set_space", "take_off_space", "grab", "hold_range", "convert_range", "ask_range")


def test_each_button_says_why_it_is_grey(registered: Any) -> None:
    import bpy

    def all_say(words: str) -> None:
        for name in CALLS:
            call = getattr(bpy.ops.armwright, name)
            assert not call.poll(), name
            assert words in refusal(call), name

    assert all(getattr(bpy.ops.armwright, name).poll() for name in CALLS)
    bpy.ops.object.mode_set(mode="EDIT")
    all_say("Go to pose mode or object mode")
    bpy.ops.object.mode_set(mode="POSE")
    bpy.context.window_manager.armwright_proof.running = True
    all_say("A proof is running")
    bpy.context.window_manager.armwright_proof.running = False
    bpy.ops.object.mode_set(mode="OBJECT")
    activate(lantern())
    all_say("Select an armature that has arms")


def test_two_selected_characters_are_named(registered: Any) -> None:
    import bpy

    bpy.ops.object.mode_set(mode="OBJECT")
    other = registered.copy()
    other.name = "Second keeper"
    bpy.context.scene.collection.objects.link(other)
    activate(lantern())
    for item in (registered, other):
        item.select_set(True)
    said = refusal(bpy.ops.armwright.hold, arm="L", mode="hand")
    assert "Second keeper" in said and "Wren" in said and "make one of them active" in said


def test_a_linked_character_says_how_it_is_made_ready(wren: Any, tmp_path: Any) -> None:
    import bpy

    import armwright

    library = str(tmp_path / "keeper.blend")
    bpy.ops.wm.save_as_mainfile(filepath=library)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(library, link=True) as (_, wanted):
        wanted.objects = ["Wren"]
    bpy.context.scene.collection.objects.link(wanted.objects[0])
    armwright.register()
    try:
        activate(wanted.objects[0])
        assert not bpy.ops.armwright.hold.poll()
        assert "make a library override first" in refusal(bpy.ops.armwright.hold, arm="L", mode="hand")
    finally:
        armwright.unregister()


def test_letting_go_and_mending_are_grey_where_there_is_nothing_to_do(registered: Any) -> None:
    import bpy

    assert not bpy.ops.armwright.release.poll()
    assert "nothing to let go of" in refusal(bpy.ops.armwright.release, arm="L")
    assert not bpy.ops.armwright.mend_spaces.poll()
    assert "Nothing is lost" in refusal(bpy.ops.armwright.mend_spaces)
    assert bpy.ops.armwright.hold(arm="R", mode="elbow") == {"FINISHED"}
    assert bpy.ops.armwright.release.poll()
    assert "the left arm holds nothing" in refusal(bpy.ops.armwright.release, arm="L")
    prop = lantern()
    prop.select_set(True)
    assert bpy.ops.armwright.grab(arm="L", parts="hand") == {"FINISHED"}
    assert not bpy.ops.armwright.mend_spaces.poll()
    bpy.data.objects.remove(prop)
    assert bpy.ops.armwright.mend_spaces.poll()
    assert bpy.ops.armwright.mend_spaces() == {"FINISHED"}


def test_half_a_hold_can_be_let_go_of(registered: Any) -> None:
    import bpy

    registered.pose.bones["fk.clavicle.L"]["elbow_hold"] = 0.35
    registered.update_tag()
    bpy.context.view_layer.update()
    assert bpy.ops.armwright.release.poll()


@pytest.mark.parametrize("kind", ["hold", "flip_dial", "grab", "set_space"])
def test_on_both_arms_it_is_all_or_nothing(registered: Any, kind: str) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    pose_freely(np.random.default_rng(SEED), registered)
    options = {
        "hold": {"mode": "both"},
        "flip_dial": {"dial": "isolate"},
        "grab": {"parts": "both"},
        "set_space": {"hold": "hand", "space": "torso"},
    }[kind]
    # The right arm, which comes second, can not be changed.
    if kind == "set_space":
        registered.pose.bones["hold.hand.R"].rotation_mode = "AXIS_ANGLE"
    else:
        path = {"hold": '["ik"]', "flip_dial": '["isolate"]', "grab": '["elbow_hold"]'}[kind]
        registered.pose.bones["fk.clavicle.R"].driver_add(path)
    bpy.context.view_layer.update()
    before = deep_snapshot()
    said = refusal(getattr(bpy.ops.armwright, kind), arm="BOTH", **options)
    assert "driven" in said or "axis and angle" in said
    assert differences(before, deep_snapshot()) == []


def test_between_frames_both_arms_stay_as_they_are_if_only_the_second_is_keyed(registered: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    registered.pose.bones["fk.clavicle.R"].keyframe_insert('["ik"]', frame=1)
    bpy.context.scene.frame_set(5, subframe=0.5)
    for kind, options in (("hold", {"mode": "hand"}), ("grab", {"parts": "hand"})):
        before = deep_snapshot()
        assert "whole frame" in refusal(getattr(bpy.ops.armwright, kind), arm="BOTH", **options)
        assert differences(before, deep_snapshot()) == []


def test_an_arm_that_is_not_there_is_named(empty_file: Any) -> None:
    from dataclasses import replace

    import bpy

    import armwright
    from armwright.addon import selection
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.errors import HostError
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    guide = guide_from_stature(1.7, "Wren")
    one = replace(guide, arms=tuple(arm for arm in guide.arms if arm.side == "L"))
    armature = build_new(plan_arms(one, ArmOptions()), "Wren")
    armwright.register()
    try:
        activate(armature, "POSE")
        with pytest.raises(TypeError, match=r'"R" not found in .*L.*BOTH'):
            bpy.ops.armwright.hold(arm="R", mode="hand")
        with pytest.raises(HostError, match=r"no right arm; its arms: left$"):
            selection.arms_of(armature, subject_of(armature).record, "R")
        assert bpy.ops.armwright.hold(arm="BOTH", mode="hand") == {"FINISHED"}
    finally:
        armwright.unregister()


def test_a_range_is_held_by_the_arms_that_are_meant(registered: Any) -> None:
    import bpy

    select(registered, "hold.hand.R")
    assert bpy.ops.armwright.hold_range(first=2, last=9) == {"FINISHED"}
    bpy.context.scene.frame_set(5)
    assert modes(registered) == {"L": "none", "R": "hand"}
    assert bpy.ops.armwright.hold_range(arm="BOTH", first=12, last=19) == {"FINISHED"}
    for frame, held in ((11, "none"), (12, "hand"), (18, "hand"), (19, "none")):
        bpy.context.scene.frame_set(frame)
        assert modes(registered) == {"L": held, "R": held}, frame


def test_a_range_that_one_arm_can_not_hold_is_held_by_none(registered: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.curves import curves_of

    registered.pose.bones["fk.clavicle.R"].keyframe_insert('["ik"]', frame=1)
    for curve in curves_of(registered.animation_data.action):
        curve.lock = True
    bpy.context.view_layer.update()
    before = deep_snapshot()
    assert "locked" in refusal(bpy.ops.armwright.hold_range, arm="BOTH", first=2, last=9)
    assert differences(before, deep_snapshot()) == []


def test_tooltips_are_about_their_own_arm_and_thing(registered: Any) -> None:
    import bpy

    from armwright.addon.operators import flip_dial, grab, hold, space

    lantern().select_set(True)

    class Given:
        def __init__(self, **values: Any) -> None:
            self.__dict__.update(values)

    def said(operator: Any, **values: Any) -> str:
        return str(operator.description(bpy.context, Given(**values)))

    assert "Left arm" in said(hold.ARMWRIGHT_OT_hold, arm="L", mode="hand")
    assert "Selected arm" in said(hold.ARMWRIGHT_OT_hold, arm="SELECTED", mode="both")
    assert "Lantern" in said(grab.ARMWRIGHT_OT_grab, arm="R", parts="hand", into="SELECTION")
    assert "the world" in said(grab.ARMWRIGHT_OT_grab, arm="R", parts="hand", into="WORLD")
    assert "nothing to let go of" in said(grab.ARMWRIGHT_OT_release, arm="L")
    assert "Right arm" in said(flip_dial.ARMWRIGHT_OT_flip_dial, arm="R", dial="lift")
    assert "the elbow" in said(space.ARMWRIGHT_OT_set_space, arm="R", hold="elbow")
