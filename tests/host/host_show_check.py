"""A check can be shown on the rig, and everything is as it was afterwards; a proof's results stay with the file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest


@pytest.fixture
def registered(empty_file: Any) -> Any:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture
def broken(registered: Any) -> Any:
    """Wren with a hand that also copies the chest's rotation, posed by hand at a frame of an action."""
    import bpy
    from characters import wren_on_own_armature

    armature = wren_on_own_armature()
    from armwright.addon.subjects import subject_of

    record = subject_of(armature).record
    hand = armature.pose.bones[record.bone("L", "hand")]
    turn = hand.constraints.new("COPY_ROTATION")
    turn.target, turn.subtarget, turn.influence = armature, record.torso, 0.5
    torso = armature.pose.bones[record.torso]
    torso.rotation_mode = "XYZ"
    for frame, angle in ((1, 0.0), (20, 0.4)):
        torso.rotation_euler = (angle, 0.0, 0.1)
        torso.keyframe_insert("rotation_euler", frame=frame)
    bpy.context.scene.frame_set(7)
    torso.rotation_euler = (0.3, 0.2, 0.1)
    bpy.context.view_layer.update()
    return armature


def _state(armature: Any) -> Any:
    import bpy

    animation = armature.animation_data
    return (
        [
            (tuple(bone.location), tuple(bone.rotation_quaternion), tuple(bone.rotation_euler), bone.rotation_mode)
            for bone in armature.pose.bones
        ],
        [dict(bone.items()) for bone in armature.pose.bones],
        animation.action.name if animation and animation.action else None,
        bpy.context.scene.frame_current,
        sorted(bpy.data.scenes.keys()),
        sorted(bpy.data.actions.keys()),
        tuple(armature.location),
    )


def _drift(subject: Any) -> Any:
    """The worst failing check of the hand that turns, measured by itself."""
    from armwright.addon import sample
    from armwright.addon.prove_runs import run
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    spec = next(
        spec for spec in planned_runs(standard_motions(1)) if spec.motion == "torso-wiggle" and spec.case.mode == "hand"
    )
    with sample.borrowed(subject.armature) as stage:
        played = next(arm for arm in run(subject, spec, stage) if arm.arm == "L")
    found = next(
        check
        for check in verdicts.checks(spec, played)[0]
        if (check.requirement, check.measure) == ("hold-hand", "hand-drift")
    )
    assert found.verdict == "fail"
    return found, played


def test_a_shown_check_poses_the_rig_and_is_put_back_whole(broken: Any) -> None:
    import bpy

    from armwright.addon import host, shown_check
    from armwright.addon.subjects import subject_of

    subject = subject_of(broken)
    check, played = _drift(subject)
    before = _state(broken)
    showing = shown_check.begin(subject, check, 1)
    assert showing.again.check == check
    wrist = host.PoseReader(broken, bpy.context.view_layer, [subject.record.bone("L", "wrist")]).read()[0, :3, 3]
    assert np.abs(wrist - played.samples.wrist[check.worst_frame, :3, 3]).max() < 1e-5
    assert np.abs(wrist - showing.again.trace.chain[3]).max() < 1e-5
    assert _state(broken) != before
    assert shown_check.put_back()
    assert _state(broken) == before
    assert not shown_check.put_back()


def test_saving_while_a_check_is_shown_saves_the_pose_of_the_user(broken: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of

    plain, shown = tmp_path / "plain.blend", tmp_path / "shown.blend"
    name = broken.name
    bpy.ops.wm.save_as_mainfile(filepath=str(plain), copy=True)
    subject = subject_of(broken)
    check, _ = _drift(subject)
    before = _state(broken)
    shown_check.begin(subject, check, 1)
    assert _state(broken) != before
    bpy.ops.wm.save_as_mainfile(filepath=str(shown), copy=True)
    assert shown_check.showing() is None
    assert _state(broken) == before
    states = []
    for path in (plain, shown):
        bpy.ops.wm.open_mainfile(filepath=str(path))
        states.append(_state(bpy.data.objects[name]))
    assert states[0] == states[1]


def test_a_check_that_is_no_frame_of_a_motion_is_refused_and_changes_nothing(broken: Any) -> None:
    from dataclasses import replace

    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of
    from armwright.core.errors import ProofError

    subject = subject_of(broken)
    check = replace(_drift(subject)[0], requirement="switch", motion="rest+to-hand")
    before = _state(broken)
    with pytest.raises(ProofError, match="the moment of a change"):
        shown_check.begin(subject, check, 1)
    assert _state(broken) == before
    assert shown_check.showing() is None


def _results(armature: Any, digest: str) -> Any:
    from armwright.addon.subjects import subject_of
    from armwright.core.proof.results import Results

    check, _ = _drift(subject_of(armature))
    return Results("4.5.15", armature.name, digest, 1, (("L", 0.58), ("R", 0.58)), (check,))


def test_results_stay_with_the_file_and_are_listed_again(broken: Any, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import kept_results
    from armwright.addon.rig import read_record

    results = _results(broken, read_record(broken).plan_digest)
    assert kept_results.keep(broken, results)
    path, name = tmp_path / "kept.blend", broken.name
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.open_mainfile(filepath=str(path))
    armature = bpy.data.objects[name]
    assert kept_results.kept_with(armature) == results
    bpy.context.view_layer.objects.active = armature
    assert bpy.ops.armwright.recall_proof() == {"FINISHED"}
    state = bpy.context.window_manager.armwright_proof
    assert [line.check for line in state.checks] == [results.checks[0].id]
    assert not state.older


def test_results_of_an_older_build_are_said_to_be(broken: Any) -> None:
    import bpy

    from armwright.addon import kept_results

    kept_results.keep(broken, _results(broken, "0" * 64))
    bpy.context.view_layer.objects.active = broken
    assert bpy.ops.armwright.recall_proof() == {"FINISHED"}
    assert bpy.context.window_manager.armwright_proof.older


@pytest.mark.parametrize("text", ["", "{}", "nonsense", '{"format": "armwright.kept", "version": 9, "pieces": 1}\nx'])
def test_kept_results_that_are_damaged_or_newer_are_a_sentence(broken: Any, text: str) -> None:
    from armwright.addon import kept_results
    from armwright.core.errors import ProofError

    broken[kept_results.KEY] = text
    with pytest.raises(ProofError):
        kept_results.kept_with(broken)


def test_the_shown_rig_stands_where_the_user_has_put_it(broken: Any) -> None:
    import bpy

    from armwright.addon import host, shown_check
    from armwright.addon.subjects import subject_of

    broken.location, broken.rotation_euler = (3.0, -2.0, 0.5), (0.0, 0.0, 1.2)
    bpy.context.view_layer.update()
    subject = subject_of(broken)
    check, played = _drift(subject)
    before, world = _state(broken), np.array(broken.matrix_world)
    showing = shown_check.begin(subject, check, 1)
    assert np.array(broken.matrix_world) == pytest.approx(world)
    wrist = host.PoseReader(broken, bpy.context.view_layer, [subject.record.bone("L", "wrist")]).read()[0, :3, 3]
    assert np.abs(wrist - showing.again.trace.chain[3]).max() < 1e-5
    assert np.abs(wrist - played.samples.wrist[check.worst_frame, :3, 3]).max() < 1e-5
    shown_check.put_back()
    assert _state(broken) == before
    assert np.array(broken.matrix_world) == pytest.approx(world)


@pytest.mark.parametrize("way", ["save", "load", "undo", "unregister", "put back"])
def test_nothing_is_drawn_any_more_once_the_rig_is_put_back_whatever_has_put_it_back(
    broken: Any, tmp_path: Path, way: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import bpy

    import armwright
    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of

    subject = subject_of(broken)
    check, _ = _drift(subject)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "keeper.blend"))
    bpy.ops.ed.undo_push(message="before")
    broken.pose.bones["fk.hand.L"].rotation_euler = (0.1, 0.0, 0.0)
    bpy.ops.ed.undo_push(message="a turn")
    drawn = []
    shown_check.begin(subject, check, 1, until=lambda: drawn.append("off"))
    assert drawn == []
    if way == "save":
        bpy.ops.wm.save_mainfile()
    elif way == "load":
        bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "keeper.blend"))
    elif way == "undo":
        bpy.ops.ed.undo()
    elif way == "unregister":
        armwright.unregister()
        armwright.register()
    else:
        shown_check.put_back()
    assert drawn == ["off"]
    assert shown_check.showing() is None
    assert not [scene for scene in bpy.data.scenes if scene.name.startswith("armwright")]


def test_an_armature_deleted_while_it_is_shown_leaves_nothing_behind(broken: Any) -> None:
    import bpy

    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of

    check, _ = _drift(subject_of(broken))
    shown_check.begin(subject_of(broken), check, 1)
    bpy.data.objects.remove(broken)
    assert shown_check.put_back()
    assert shown_check.showing() is None
    assert not [scene for scene in bpy.data.scenes if scene.name.startswith("armwright")]
    assert not shown_check.put_back()


def test_everything_of_the_file_is_as_before_by_a_deep_look(broken: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences
    from keepers import activate

    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of

    activate(broken, "POSE")
    track = broken.animation_data.nla_tracks.new()
    action = broken.animation_data.action
    track.strips.new("walk", 30, action)
    track.mute = True
    bpy.context.scene.frame_set(5, subframe=0.25)
    broken.pose.bones["fk.hand.L"].rotation_euler = (0.7, 0.1, 0.0)
    broken.pose.bones["fk.clavicle.L"]["lift"] = 0.4
    bpy.context.view_layer.update()
    subject = subject_of(broken)
    check, _ = _drift(subject)
    before = deep_snapshot()
    for _ in range(2):
        shown_check.begin(subject, check, 1)
        assert differences(before, deep_snapshot()) != []
        # The second one puts the first back by itself.
    shown_check.put_back()
    assert differences(before, deep_snapshot()) == []
    assert bpy.context.scene.frame_subframe == pytest.approx(0.25)


def test_what_is_posed_over_the_keys_of_a_prop_stays_too(broken: Any) -> None:
    import bpy
    from props import lantern

    from armwright.addon import shown_check
    from armwright.addon.subjects import subject_of

    prop = lantern()
    for frame, height in ((1, 0.0), (20, 1.0)):
        prop.location = (0.0, 0.0, height)
        prop.keyframe_insert("location", frame=frame)
    bpy.context.scene.frame_set(7)
    prop.location = (0.4, 0.3, 0.2)
    bpy.context.view_layer.update()
    check, _ = _drift(subject_of(broken))
    assert tuple(prop.location) == pytest.approx((0.4, 0.3, 0.2))
    shown_check.begin(subject_of(broken), check, 1)
    shown_check.put_back()
    assert tuple(prop.location) == pytest.approx((0.4, 0.3, 0.2))
