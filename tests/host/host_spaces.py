"""What carries a hold: changing it moves nothing, it is carried exactly, and no circle is closed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import joints_along, lantern, offsets, pose_freely, subject_of, swing

SEED = 4711
ROUNDS = 15


def test_no_change_of_space_pops_whatever_the_pose(wren: Any) -> None:
    import bpy

    from armwright.addon import spaces
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, switch
    from armwright.core.match.target import Target

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    for arm in "LR":
        for hold in spaces.HOLDS:
            spaces.ensure_space(subject, arm, hold, prop)
            spaces.ensure_space(subject, arm, hold, wren, "torso.1")
    spaces.ensure_space(subject, "L", "hand", wren, subject.record.bone("R", "hand"))
    worst, worst_angle, count, seen = 0.0, 0.0, 0, set()
    for _ in range(ROUNDS):
        pose_freely(rng, wren)
        prop.location = rng.uniform(-1.0, 1.0, 3).tolist()
        prop.rotation_quaternion = rng.normal(size=4).tolist()
        bpy.context.view_layer.update()
        for arm in "LR":
            switch(subject, arm, Target(ik=float(rng.integers(2)), elbow=float(rng.integers(2))), keyed=False)
            for hold in spaces.HOLDS:
                keys = [space.key for space in spaces.spaces_of(subject, arm, hold) if space.constraint] + ["world"]
                for key in rng.permutation(keys).tolist():
                    space = spaces.space_named(subject, arm, hold, key)
                    outcome = spaces.set_space(subject, arm, hold, space, keyed=False)
                    assert spaces.active_space(subject, arm, hold).key == key
                    seen.add(key)
                    worst, worst_angle = max(worst, outcome.pop), max(worst_angle, outcome.pop_angle)
                    count += 1
    print(f"{count} changes among {sorted(seen)}: worst pop {worst:.1e} L, {worst_angle:.1e} degrees")
    assert count >= 300
    assert {"world", "torso", "head", "Lantern", "Wren:torso.1", "hand.R"} <= seen
    assert worst < POP_LIMIT
    assert worst_angle < POP_ANGLE


def test_a_space_carries_its_hold_wherever_it_goes(wren: Any) -> None:
    import bpy

    from armwright.addon import spaces

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject, prop = subject_of(wren), lantern()
    space = spaces.ensure_space(subject, "L", "hand", prop)
    spaces.set_space(subject, "L", "hand", space, keyed=False)
    hold = subject.record.bone("L", "hand_hold")
    place = np.linalg.inv(np.array(prop.matrix_world)) @ np.array(wren.pose.bones[hold].matrix)
    worst = 0.0
    for index in range(300):
        prop.location = rng.uniform(-0.5, 0.5, 3).tolist()
        # Every other time next to a quarter turn about the middle axis, where Euler angles lose their digits.
        near = (rng.uniform(-3.0, 3.0), np.pi / 2 + 10.0 ** rng.uniform(-7.0, -1.0), rng.uniform(-3.0, 3.0))
        prop.rotation_mode = "XYZ" if index % 2 else "QUATERNION"
        prop.rotation_euler, prop.rotation_quaternion = near, rng.normal(size=4).tolist()
        bpy.context.view_layer.update()
        now = np.linalg.inv(np.array(prop.matrix_world)) @ np.array(wren.pose.bones[hold].matrix)
        worst = max(worst, float(np.abs(now - place).max()))
    print(f"drift against the prop {worst:.1e}")
    assert worst < 1e-6


def test_a_prop_of_uneven_size_carries_a_hold_without_deforming_it(wren: Any) -> None:
    import bpy

    from armwright.addon import spaces
    from armwright.addon.switch import POP_LIMIT

    subject, prop = subject_of(wren), lantern()
    prop.scale = (2.0, 0.5, 1.0)
    bpy.context.view_layer.update()
    space = spaces.ensure_space(subject, "L", "hand", prop)
    prop.rotation_quaternion = (0.8, 0.6, 0.0, 0.0)
    bpy.context.view_layer.update()
    assert spaces.set_space(subject, "L", "hand", space, keyed=False).pop < POP_LIMIT
    prop.rotation_quaternion = (0.6, 0.0, 0.8, 0.0)
    bpy.context.view_layer.update()
    turn = np.array(wren.pose.bones["hold.hand.L"].matrix)[:3, :3]
    assert np.abs(turn.T @ turn - np.eye(3)).max() < 1e-5
    assert spaces.set_space(subject, "L", "hand", spaces.spaces_of(subject, "L", "hand")[0], keyed=False).kept


def test_a_keyed_change_leaves_the_frames_before_and_the_hold_travels_from_there_on(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, spaces

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    swing(prop)
    bpy.context.scene.frame_set(5)
    grab.grab(subject, "L", "hand", None, keyed=True)
    before = joints_along(wren, range(1, 20))
    bpy.context.scene.frame_set(20)
    space = spaces.ensure_space(subject, "L", "hand", prop)
    outcome = spaces.set_space(subject, "L", "hand", space, keyed=True)
    assert outcome.keyed and outcome.kept, outcome
    assert np.abs(joints_along(wren, range(1, 20)) - before).max() < 2e-6
    places = offsets(wren, prop, range(20, 41), "hold.hand.L")
    drift = float(np.abs(places - places[0]).max())
    print(f"drift against the moving prop {drift:.1e} m")
    assert drift < 1e-6
    assert np.abs(np.diff(joints_along(wren, range(20, 41))[:, 2, :3, 3], axis=0)).max() > 1e-3


def test_two_hands_hold_one_prop(wren: Any) -> None:
    import bpy

    from armwright.addon import grab

    subject, prop = subject_of(wren), lantern()
    for arm in "LR":
        wren.pose.bones[f"fk.forearm.{arm}"].rotation_euler = (1.0, 0.0, 0.0)
    bpy.context.view_layer.update()
    for arm in "LR":
        assert grab.grab(subject, arm, "hand", grab.Thing(prop), keyed=False).kept
    names = ("skin.hand.L", "skin.hand.R")
    start = [offsets(wren, prop, range(1, 2), name)[0] for name in names]
    prop.location.x += 0.02
    prop.rotation_quaternion = (0.9, 0.12, -0.28, 0.21)
    bpy.context.view_layer.update()
    for name, was in zip(names, start, strict=True):
        assert np.abs(offsets(wren, prop, range(1, 2), name)[0] - was)[:3, 3].max() < 2e-6


def test_a_hand_that_holds_the_other_is_not_held_by_it(wren: Any) -> None:
    from refusals import refused

    from armwright.addon import spaces

    subject = subject_of(wren)
    assert [space.key for space in spaces.spaces_of(subject, "L", "hand")] == ["world", "torso", "head", "hand.R"]
    space = spaces.space_named(subject, "L", "hand", "hand.R")
    assert spaces.set_space(subject, "L", "hand", space, keyed=False).kept
    for hold in spaces.HOLDS:
        refused(
            lambda hold=hold: spaces.space_named(subject, "R", hold, "hand.L"), "left hand can be held in the right"
        )
    hand = subject.record.bone("L", "hand")
    refused(lambda: spaces.ensure_space(subject, "L", "elbow", wren, hand), "carried by this elbow")


def test_a_space_is_taken_off_when_it_carries_nothing(wren: Any) -> None:
    from refusals import refused

    from armwright.addon import mend, spaces

    subject = subject_of(wren)
    space = spaces.space_named(subject, "L", "hand", "hand.R")
    spaces.set_space(subject, "L", "hand", space, keyed=False)
    world, torso = spaces.spaces_of(subject, "L", "hand")[:2]
    refused(lambda: mend.take_off(subject, "L", "hand", space), "carries the hold now")
    refused(lambda: mend.take_off(subject, "L", "hand", torso), "belongs to the rig")
    refused(lambda: mend.take_off(subject, "L", "hand", world), "belongs to the rig")
    spaces.set_space(subject, "L", "hand", world, keyed=False)
    refused(lambda: spaces.space_named(subject, "R", "hand", "hand.L"), "take that space off")
    assert mend.take_off(subject, "L", "hand", space) == "left hand: 'Right hand' is taken off"
    # Now the other way round closes no circle.
    back = spaces.space_named(subject, "R", "hand", "hand.L")
    assert spaces.set_space(subject, "R", "hand", back, keyed=True).kept
    refused(lambda: mend.take_off(subject, "R", "hand", back), "is keyed")


@pytest.mark.parametrize("how", ["parent", "constraint", "grandchild", "driver"])
def test_a_prop_that_this_hand_carries_does_not_carry_the_hand(wren: Any, how: str) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import spaces

    subject, prop = subject_of(wren), lantern()
    carrier = prop
    if how == "grandchild":
        carrier = lantern("Handle")
        prop.parent = carrier
    if how == "constraint":
        holder = carrier.constraints.new("COPY_LOCATION")
        holder.target, holder.subtarget = wren, "skin.hand.L"
    elif how == "driver":
        variable = carrier.driver_add("location", 0).driver.variables.new()
        variable.type = "TRANSFORMS"
        variable.targets[0].id, variable.targets[0].bone_target = wren, "skin.hand.L"
    else:
        carrier.parent, carrier.parent_type, carrier.parent_bone = wren, "BONE", "skin.hand.L"
    bpy.context.view_layer.update()
    refused(lambda: spaces.ensure_space(subject, "L", "hand", prop), "'Lantern' is carried by this hand")
    # The other hand may.
    assert spaces.ensure_space(subject, "R", "hand", prop).constraint == "Lantern"
    bpy.context.view_layer.update()


def test_bad_input_is_refused_with_a_sentence(wren: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import spaces

    subject, prop = subject_of(wren), lantern()
    refused(lambda: spaces.space_named(subject, "L", "hand", "moon"), "no space 'moon'; there are: world, torso")
    refused(lambda: spaces.spaces_of(subject, "L", "knee"), "no hold 'knee'")
    refused(lambda: spaces.spaces_of(subject, "Q", "hand"), "no arm 'Q'")
    refused(lambda: spaces.ensure_space(subject, "L", "hand", wren), "as a whole")
    refused(lambda: spaces.ensure_space(subject, "L", "hand", wren, "tail"), "no bone 'tail'")
    refused(lambda: spaces.ensure_space(subject, "L", "hand", prop, "tail"), "no bone 'tail'")
    bpy.context.scene.collection.objects.unlink(prop)
    refused(lambda: spaces.ensure_space(subject, "L", "hand", prop), "not in this scene")
    torso = spaces.space_named(subject, "L", "hand", "torso")
    bpy.context.scene.frame_set(5, subframe=0.5)
    refused(lambda: spaces.set_space(subject, "L", "hand", torso, keyed=True), "whole frame")
    bpy.context.scene.frame_set(5)
    wren.pose.bones["hold.hand.L"].rotation_mode = "AXIS_ANGLE"
    refused(lambda: spaces.set_space(subject, "L", "hand", torso, keyed=False), "axis and angle")


def test_a_locked_influence_is_named(wren: Any) -> None:
    from refusals import refused

    from armwright.addon import spaces
    from armwright.addon.curves import curves_of

    subject = subject_of(wren)
    torso = spaces.space_named(subject, "L", "hand", "torso")
    spaces.set_space(subject, "L", "hand", torso, keyed=True)
    for curve in curves_of(wren.animation_data.action):
        curve.lock = "influence" in curve.data_path
    world = spaces.space_named(subject, "L", "hand", "world")
    refused(lambda: spaces.set_space(subject, "L", "hand", world, keyed=True), "influence is locked")


def test_a_name_with_quotes_makes_a_space_like_any_other(wren: Any) -> None:
    from armwright.addon import spaces

    subject, prop = subject_of(wren), lantern('The "old" lamp \\ one')
    space = spaces.ensure_space(subject, "L", "hand", prop)
    assert spaces.set_space(subject, "L", "hand", space, keyed=True).kept
    assert spaces.ensure_space(subject, "L", "hand", prop).key == space.key
    again = spaces.ensure_space(subject, "L", "hand", lantern("torso"))
    assert again.key not in ("torso", space.key)


@pytest.mark.parametrize("keyed", [False, True])
@pytest.mark.parametrize("through_interface", [False, True])
def test_a_deleted_prop_leaves_the_hold_where_it_was_grabbed(wren: Any, keyed: bool, through_interface: bool) -> None:
    import bpy

    from armwright.addon import grab, mend, spaces

    subject, prop = subject_of(wren), lantern()
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    swing(prop)
    bpy.context.scene.frame_set(12)
    grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=keyed)
    was = np.array(wren.pose.bones["skin.hand.L"].matrix)
    bpy.context.scene.frame_set(30)
    assert np.abs(np.array(wren.pose.bones["hold.hand.L"].matrix) - was).max() > 1e-2
    if through_interface:
        with bpy.context.temp_override(selected_objects=[prop]):
            bpy.ops.object.delete()
    else:
        bpy.data.objects.remove(prop)
    bpy.context.view_layer.update()
    said = mend.mend_spaces(subject)
    print(said)
    assert said == ("left hand: 'Lantern' was deleted, so the hold is in the world now, where it was grabbed",)
    for frame in (12, 20, 30, 40) if keyed else (30,):
        bpy.context.scene.frame_set(frame)
        assert np.abs(np.array(wren.pose.bones["skin.hand.L"].matrix) - was).max() < 4e-6
    assert [space.key for space in spaces.spaces_of(subject, "L", "hand")] == ["world", "torso", "head", "hand.R"]
    assert spaces.active_space(subject, "L", "hand").key == "world"
    assert mend.mend_spaces(subject) == ()


def test_a_space_that_was_deleted_can_not_be_chosen(wren: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import spaces

    subject, prop = subject_of(wren), lantern()
    space = spaces.ensure_space(subject, "L", "hand", prop)
    bpy.data.objects.remove(prop)
    refused(lambda: spaces.set_space(subject, "L", "hand", space, keyed=False), "has been deleted")


def test_a_proof_measures_in_the_world_and_leaves_the_space_as_it_was(wren: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon import prove_runs
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subject_of(wren)
    runs = [run for run in planned_runs(standard_motions(1, None)) if run.case.mode == "both"][:1]
    assert runs

    def proved() -> Any:
        from armwright.addon import sample

        with sample.borrowed(wren) as stage:
            return [run.samples.hand for run in prove_runs.run(subject, runs[0], stage)]

    in_world = proved()
    names = [subject.record.bone(arm, f"{hold}_space") for arm in "LR" for hold in ("hand", "elbow")]
    for name in names:
        wren.pose.bones[name].constraints["torso"].influence = 1.0
    bpy.context.view_layer.update()
    before = deep_snapshot()
    in_torso = proved()
    assert all(np.array_equal(first, second) for first, second in zip(in_world, in_torso, strict=True))
    assert differences(before, deep_snapshot()) == []
    assert [wren.pose.bones[name].constraints["torso"].influence for name in names] == [1.0] * 4
