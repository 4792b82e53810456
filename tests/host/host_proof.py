"""The proof in the host: it finds what is wrong with the right figure, and leaves the file as it found it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest


def _assert_same(now: dict[str, Any], before: dict[str, Any]) -> None:
    assert {key: now[key] for key in before if now[key] != before[key]} == {}


def _file_state(armature: Any) -> dict[str, Any]:
    import bpy

    animation = armature.animation_data
    return {
        "channels": [
            (tuple(bone.location), tuple(bone.rotation_quaternion), tuple(bone.rotation_euler), bone.rotation_mode)
            for bone in armature.pose.bones
        ],
        "dials": [
            {key: value for key, value in bone.items() if isinstance(value, float)}
            for bone in armature.pose.bones
            if bone.name.startswith("fk.")
        ],
        "action": animation.action.name if animation.action else None,
        "layers": animation.use_nla,
        "place": (tuple(armature.location), tuple(armature.rotation_euler)),
        "frame": (bpy.context.scene.frame_current, bpy.context.scene.frame_subframe),
        "scenes": sorted(bpy.data.scenes.keys()),
        "actions": sorted(bpy.data.actions.keys()),
        "objects": sorted(bpy.data.objects.keys()),
        "selected": [item.name for item in bpy.context.selected_objects],
        "keys": [
            (curve.data_path, curve.array_index, [tuple(point.co) for point in curve.keyframe_points])
            for action in bpy.data.actions
            for curve in _curves(action)
        ],
    }


def _curves(action: Any) -> list[Any]:
    from armwright.addon.curves import curves_of

    return list(curves_of(action))


def _pose_by_hand(armature: Any) -> None:
    """An action, and values posed over it, as an animator leaves a file."""
    import bpy

    scene = bpy.context.scene
    scene.frame_set(7, subframe=0.25)
    torso = armature.pose.bones["torso.2"]
    for frame, turn in ((1, 0.0), (20, 0.4)):
        torso.rotation_euler = (turn, 0.0, 0.1)
        torso.keyframe_insert("rotation_euler", frame=frame)
    armature.pose.bones["fk.clavicle.L"]["ik"] = 0.37
    armature.pose.bones["fk.upper_arm.R"].rotation_euler = (0.2, 0.3, -0.4)
    torso.rotation_euler = (0.33, 0.1, 0.2)
    armature.location, armature.rotation_euler = (3.0, -4.0, 0.5), (0.1, 0.2, 1.3)
    armature.select_set(True)
    bpy.context.view_layer.update()


def test_a_proof_leaves_the_file_as_it_found_it(wren: Any) -> None:
    from armwright.addon import prove, subjects

    _pose_by_hand(wren)
    before = _file_state(wren)
    steps = prove.prove(subjects.subject_of(wren))
    for _ in range(5):
        next(steps)
    steps.close()
    _assert_same(_file_state(wren), before)


def test_a_proof_that_breaks_leaves_the_file_as_it_found_it(wren: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from armwright.addon import prove, subjects
    from armwright.core.errors import ProofError
    from armwright.core.proof import verdicts

    _pose_by_hand(wren)
    before = _file_state(wren)
    calls = []

    def broken(*arguments: Any) -> Any:
        calls.append(arguments)
        raise ProofError("broken on purpose")

    monkeypatch.setattr(verdicts, "checking", broken)
    with pytest.raises(ProofError, match="on purpose"):
        prove.prove_whole(subjects.subject_of(wren))
    assert calls
    _assert_same(_file_state(wren), before)


def _checks(armature: Any, motion: str, mode: str) -> list[Any]:
    """Checks of the runs of one motion and mode with every other dial at 0."""
    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.proof import verdicts
    from armwright.core.proof.cases import Case
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(armature)
    runs = [
        spec
        for spec in planned_runs(standard_motions())
        if spec.motion == motion and spec.case == Case(mode, 0.0, 0.0, 0.0)
    ]
    assert len(runs) == 1
    with sample.borrowed(armature) as stage:
        return [check for run in prove_runs.run(subject, runs[0], stage) for check in verdicts.checks(runs[0], run)[0]]


def test_a_sound_rig_passes(wren: Any) -> None:
    checks = _checks(wren, "torso-wiggle", "hand")
    # Wren has no fingers here.
    assert {check.verdict for check in checks if check.requirement != "fingers"} == {"pass"}
    assert {check.arm for check in checks} == {"L", "R"}


def test_a_hand_that_hangs_on_the_torso_fails_with_its_slide(wren: Any) -> None:
    import bpy

    from armwright.addon import host

    with host.mode(wren, "EDIT"):
        edit = wren.data.edit_bones
        edit["skin.hand.L"].parent = edit["torso.2"]
    for name in ("ik", "place"):
        wren.pose.bones["skin.hand.L"].constraints[name].mute = True
    bpy.context.view_layer.update()
    failed = [check for check in _checks(wren, "torso-wiggle", "hand") if check.verdict == "fail"]
    slides = [check for check in failed if check.measure == "wrist-slide"]
    assert {check.arm for check in failed} == {"L"}
    assert slides
    assert max(check.value for check in slides) > 0.1


def test_a_muted_track_fails_on_its_own_side_only(wren: Any) -> None:
    for name in ("hand", "exact"):
        wren.pose.bones["ik.forearm.R"].constraints[name].mute = True
    failed = [check for check in _checks(wren, "torso-wiggle", "hand") if check.verdict == "fail"]
    assert {check.arm for check in failed} == {"R"}
    assert {"hold-hand"} <= {check.requirement for check in failed}


def test_a_lost_bone_is_refused_with_its_name(wren: Any) -> None:
    from armwright.addon import host, subjects
    from armwright.core.errors import HostError

    with host.mode(wren, "EDIT"):
        wren.data.edit_bones.remove(wren.data.edit_bones["ik.span.L"])
    with pytest.raises(HostError, match=r"ik\.span\.L"):
        subjects.subject_of(wren)


def test_samples_are_what_the_host_shows(wren: Any) -> None:
    # The stage evaluates the rig in a scene of its own: the same pose has to come out of the open scene.
    import bpy

    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(wren)
    spec = planned_runs(standard_motions())[9]
    tracks, _ = prove_runs.tracks_of(subject, spec)
    names = sample.sampled_bones(subject.record, subject.arms)
    with sample.borrowed(wren) as stage:
        sampled = sample.step(stage, tracks, names)
        action, curves = sample.new_action(wren, "again")
        sample.write_tracks(wren, tracks, curves)
        for frame in (0, 17, 101):
            bpy.context.scene.frame_set(frame + 1)
            shown = np.array([[list(row) for row in wren.pose.bones[name].matrix] for name in names])
            assert np.abs(shown - sampled.poses[frame]).max() == 0.0
        wren.animation_data.action = None
        bpy.data.actions.remove(action)
