"""What a transfer refuses, with a sentence; and that nothing is lost, wherever it stops."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from recordings import recording
from swings import animated


def everything() -> dict[str, Any]:
    """The file: objects down to each channel, constraints with what they hold on to, every key of every action."""
    import bpy

    from armwright.addon.convert_splice import read_keys
    from armwright.addon.host import bags_of, slot_of

    bpy.context.view_layer.update()
    found = deep_snapshot()
    for action in bpy.data.actions:
        bags = list(bags_of(action))
        found[f"action {action.name}"] = (
            action.use_fake_user,
            [[group.name for group in bag.groups] for bag in bags],
            [
                (curve.data_path, curve.array_index, curve.extrapolation, read_keys(curve).tobytes())
                for bag in bags
                for curve in bag.fcurves
            ],
        )
    for item in bpy.data.objects:
        if item.pose is not None:
            found[f"constraints of {item.name}"] = [
                (bone.name, entry.name, [target.subtarget for target in getattr(entry, "targets", [])])
                for bone in item.pose.bones
                for entry in bone.constraints
            ]
            slot = slot_of(item.animation_data) if item.animation_data is not None else None
            found[f"slot of {item.name}"] = slot.handle if slot is not None else None
    return found


def put_on(armature: Any, study: Any, **options: Any) -> Any:
    from armwright.addon import transfer

    return transfer.transfer_whole(armature, study, transfer.Options(**options))


def reason(armature: Any, study: Any, **options: Any) -> str:
    """What a refusal says; the file is as before it."""
    from armwright.core.errors import ArmwrightError

    before = everything()
    with pytest.raises(ArmwrightError) as refusal:
        put_on(armature, study, **options)
    assert differences(before, everything()) == []
    print(refusal.value)
    return str(refusal.value)


def with_arms(study: Any, change: Callable[[Any], Any]) -> Any:
    return replace(study, motion=replace(study.motion, arms=tuple(change(arm) for arm in study.motion.arms)))


def lost(arm: Any) -> Any:
    wrist = arm.wrist.copy()
    wrist[17] = np.nan
    return replace(arm, wrist=wrist)


def cut(arm: Any, count: int) -> Any:
    return replace(arm, shoulder=arm.shoulder[:count], elbow=arm.elbow[:count], wrist=arm.wrist[:count])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda study: with_arms(study, lambda arm: replace(arm, arm=f"tail.{arm.arm}")), "none is in both"),
        (lambda study: with_arms(study, lost), "no number at frame 17"),
        (
            lambda study: replace(
                study,
                motion=replace(
                    study.motion, arms=tuple(cut(arm, 1) for arm in study.motion.arms), torso=study.motion.torso[:1]
                ),
            ),
            "needs 2 or more",
        ),
        (lambda study: replace(study, motion=replace(study.motion, rate=0.0)), "no rate of a recording"),
        (lambda study: replace(study, motion=replace(study.motion, rate=float("nan"))), "no rate of a recording"),
        (
            lambda study: replace(
                study, motion=replace(study.motion, torso=np.where(np.eye(4) > 0, np.nan, study.motion.torso))
            ),
            "torso has no number",
        ),
    ],
)
def test_a_recording_that_can_not_be_put_on_is_refused_with_a_sentence(wren: Any, change: Any, said: str) -> None:
    animated(wren)
    assert said in reason(wren, change(recording(wren, "plant")))


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"keys": "most"}, "every or fewest"),
        ({"into": "old"}, "new or same"),
        ({"tolerance": -0.1}, "0 or more"),
        ({"tolerance": float("nan"), "keys": "fewest"}, "0 or more"),
        ({"blend": float("inf")}, "0 or more"),
        ({"scale": 0.0}, "above 0"),
        ({"scale": float("nan")}, "above 0"),
        ({"start": 1_048_570}, "frame"),
        ({"into": "same"}, "replaced"),
    ],
)
def test_options_that_make_no_sense_are_refused(wren: Any, options: dict[str, Any], said: str) -> None:
    animated(wren)
    assert said in reason(wren, recording(wren, "plant"), **options)


def driven(armature: Any) -> str:
    armature.pose.bones["fk.upper_arm.L"].driver_add("rotation_euler", 1)
    return "is driven"


def locked(armature: Any) -> str:
    from armwright.addon.curves import own_bag

    curves = own_bag(armature).fcurves
    next(curve for curve in curves if curve.data_path == 'pose.bones["fk.hand.R"].rotation_euler').lock = True
    return "unlock"


def turned_by_axis(armature: Any) -> str:
    armature.pose.bones["torso.1"].rotation_mode = "AXIS_ANGLE"
    return "rotation mode to Quaternion"


def other_order(armature: Any) -> str:
    bone = armature.pose.bones["fk.hand.L"]
    bone.rotation_mode = "XYZ" if bone.rotation_mode != "XYZ" else "ZYX"
    return "rotation"


def pulled(armature: Any) -> str:
    made = armature.pose.bones["fk.forearm.L"].constraints.new("LIMIT_ROTATION")
    made.use_limit_x, made.max_x = True, 0.1
    made.owner_space = "LOCAL"
    return "take it off first"


def travelling(armature: Any) -> str:
    armature.keyframe_insert("location", frame=1)
    armature.location.y = 2.0
    armature.keyframe_insert("location", frame=60)
    return "itself moves"


def on_a_boat(armature: Any) -> str:
    import bpy

    boat = bpy.data.objects.new("Boat", None)
    bpy.context.scene.collection.objects.link(boat)
    armature.parent = boat
    boat.rotation_euler.z = 0.0
    boat.keyframe_insert("rotation_euler", frame=1)
    boat.rotation_euler.z = 0.4
    boat.keyframe_insert("rotation_euler", frame=90)
    return "itself moves"


def shared(armature: Any) -> str:
    import bpy

    from armwright.addon.host import give_slot, slot_of

    other = bpy.data.objects.new("Other", armature.data)
    bpy.context.scene.collection.objects.link(other)
    other.animation_data_create().action = armature.animation_data.action
    give_slot(other.animation_data, slot_of(armature.animation_data))
    return "single-user"


def in_a_strip(armature: Any) -> str:
    animation = armature.animation_data
    track = animation.nla_tracks.new()
    track.strips.new("Walk", 1, animation.action.copy())
    return "mute that track"


@pytest.mark.parametrize("into", ["new", "same"])
@pytest.mark.parametrize(
    "state",
    [driven, locked, turned_by_axis, other_order, pulled, travelling, on_a_boat, in_a_strip, shared],
)
def test_a_rig_that_would_not_follow_its_keys_is_refused(wren: Any, state: Any, into: str) -> None:
    import bpy

    animated(wren)
    said = state(wren)
    bpy.context.scene.frame_set(9)
    assert said in reason(wren, recording(wren, "carry"), into=into, replace=True)


def test_what_holds_no_rig_and_what_is_linked_are_refused(wren: Any, tmp_path: Path) -> None:
    import bpy
    from shots import link_character, override_character, save_character

    from armwright.core.errors import HostError

    study = recording(wren, "plant")
    bare = bpy.data.objects.new("Bare", bpy.data.armatures.new("Bare"))
    bpy.context.scene.collection.objects.link(bare)
    assert "Bare" in reason(bare, study)
    save_character(wren, tmp_path / "keeper.blend")
    link_character(tmp_path / "keeper.blend")
    linked = next(item for item in bpy.data.objects if item.type == "ARMATURE")
    with pytest.raises(HostError):
        put_on(linked, study)
    # An override can be keyed.
    shot = override_character(tmp_path / "keeper.blend")
    out = put_on(shot, study)
    assert out.slide <= 2e-6 and shot.animation_data.action.library is None


STEPS = ["mapped", "_around", "solved_arms", "_tracks", "_read", "torso_differences", "measured_holds", "measured_pops"]


@pytest.mark.parametrize("into", ["new", "same"])
@pytest.mark.parametrize("keyed", [False, True])
@pytest.mark.parametrize("step", [*STEPS, "arm_tracks of the second arm", "half of the curves", "closed"])
def test_wherever_it_stops_the_file_is_as_it_was(
    wren: Any, monkeypatch: pytest.MonkeyPatch, step: str, keyed: bool, into: str
) -> None:
    import bpy

    from armwright.addon import convert_write, transfer

    if keyed:
        animated(wren)
    # Posed over the keys, and not keyed.
    bpy.context.scene.frame_set(7, subframe=0.25)
    wren.pose.bones["fk.hand.R"].rotation_euler.x = 0.6
    wren.pose.bones["fk.clavicle.L"]["lift"] = 0.7
    bpy.context.view_layer.update()
    study = recording(wren, "carry")
    options = transfer.Options(into=into, replace=True)
    before = everything()
    calls = 0

    def fails_late(real: Any, after: int) -> Any:
        def wrapped(*arguments: Any, **named: Any) -> Any:
            nonlocal calls
            calls += 1
            if calls == after + 1:
                raise ZeroDivisionError("injected")
            return real(*arguments, **named)

        return wrapped

    if step == "closed":
        count = sum(1 for _ in transfer.transferring(wren, study, transfer.Options(start=200)))
        wren_after = everything()
        assert differences(before, wren_after) != []
        bpy.ops.wm.read_factory_settings(use_empty=True)
        from characters import wren_on_own_armature

        wren = wren_on_own_armature()
        if keyed:
            animated(wren)
        bpy.context.scene.frame_set(7)
        before = everything()
        for stop in (1, count // 4, count // 2, count - 2):
            steps = transfer.transferring(wren, study, options)
            for _ in range(stop):
                next(steps)
            steps.close()
            assert differences(before, everything()) == []
        return
    if step == "arm_tracks of the second arm":
        monkeypatch.setattr(transfer, "arm_tracks", fails_late(transfer.arm_tracks, 1))
    elif step == "half of the curves":
        monkeypatch.setattr(convert_write, "write_keys", fails_late(convert_write.write_keys, 40))
    else:
        monkeypatch.setattr(transfer, step, fails_late(getattr(transfer, step), 0))
    with pytest.raises(ZeroDivisionError):
        transfer.transfer_whole(wren, study, options)
    monkeypatch.undo()
    assert differences(before, everything()) == []


def test_it_is_one_step_of_the_host_s_undo(wren: Any) -> None:
    import bpy

    animated(wren)
    # As the keys have it: an undo brings back no pose that nothing has keyed.
    bpy.context.scene.frame_set(5)
    bpy.ops.ed.undo_push(message="before")
    before = everything()
    put_on(bpy.data.objects["Wren"], recording(wren, "carry"))
    bpy.ops.ed.undo_push(message="transfer")
    after = everything()
    assert differences(before, after) != []
    bpy.ops.ed.undo()
    assert differences(before, everything()) == []
    bpy.ops.ed.redo()
    assert differences(after, everything()) == []
