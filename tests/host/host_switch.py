"""Switching what an arm holds: no pop, keys on both sides, nothing else changed."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

SEED = 4711
ROUNDS = 20
MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}


def _natural(rng: np.random.Generator, armature: Any, subject: Any, arm: str) -> None:
    """A random pose: torso turned, upper arm and hand anyhow, elbow bent also off its hinge, forearm rolled."""
    bones = armature.pose.bones
    bones["torso.2"].rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
    bones[f"fk.clavicle.{arm}"].rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
    bones[f"fk.upper_arm.{arm}"].rotation_euler = rng.uniform(-2.5, 2.5, 3).tolist()
    bones[f"fk.forearm.{arm}"].rotation_euler = (rng.uniform(-0.5, 2.3), rng.uniform(-2.0, 2.0), rng.uniform(-0.5, 0.5))
    bones[f"fk.hand.{arm}"].rotation_euler = rng.uniform(-1.5, 1.5, 3).tolist()
    dials = bones[f"fk.clavicle.{arm}"]
    for key in ("isolate", "lift", "stretch"):
        dials[key] = float(rng.integers(0, 2))
    dials["soft"], dials["ik"], dials["elbow_hold"] = 0.0, 0.0, 0.0
    for key in ("upper_length", "forearm_length"):
        dials[key] = float(rng.uniform(0.8, 1.3)) if rng.uniform() < 0.3 else 1.0


def test_no_switch_of_mode_pops_whatever_the_pose_and_the_dials(wren: Any) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, switch
    from armwright.core.match.target import Target

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    subject = subjects.subject_of(wren)
    worst, worst_angle, count = 0.0, 0.0, 0
    for _ in range(ROUNDS):
        for arm in "LR":
            _natural(rng, wren, subject, arm)
            wren.update_tag()
            bpy.context.view_layer.update()
            for first, second in itertools.permutations(MODES, 2):
                for mode in (first, second):
                    ik, elbow = MODES[mode]
                    target = Target(
                        ik=ik, elbow=elbow, isolate=float(rng.integers(0, 2)), lift=float(rng.integers(0, 2))
                    )
                    outcome = switch(subject, arm, target, keyed=False)
                    worst, worst_angle = max(worst, outcome.pop), max(worst_angle, outcome.pop_angle)
                    count += 1
    print(f"{count} switches: worst pop {worst:.1e} L, {worst_angle:.1e} degrees")
    assert count >= 900
    assert worst < POP_LIMIT
    assert worst_angle < POP_ANGLE


def _positions(armature: Any, frames: range) -> np.ndarray:
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        out.append(
            [
                [list(row) for row in armature.pose.bones[f"skin.{part}.L"].matrix]
                for part in ("upper_arm", "forearm", "hand")
            ]
        )
    return np.array(out)


def _animated(armature: Any) -> None:
    """A swinging FK arm on a leaning torso, keyed at 1, 20, 40."""
    rng = np.random.default_rng(9)
    for frame in (1, 20, 40):
        for name, size in (("torso.2", 0.3), ("fk.upper_arm.L", 0.6), ("fk.hand.L", 0.4)):
            bone = armature.pose.bones[name]
            bone.rotation_euler = rng.uniform(-size, size, 3).tolist()
            bone.keyframe_insert("rotation_euler", frame=frame)
        forearm = armature.pose.bones["fk.forearm.L"]
        forearm.rotation_euler = (rng.uniform(0.4, 1.2), rng.uniform(-0.5, 0.5), 0.0)
        forearm.keyframe_insert("rotation_euler", frame=frame)


def test_a_keyed_switch_leaves_every_frame_before_it_as_it_was(wren: Any) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    _animated(wren)
    before = _positions(wren, range(1, 26))
    bpy.context.scene.frame_set(25)
    outcome = switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=True)
    assert outcome.kept, outcome
    after = _positions(wren, range(1, 26))
    assert np.abs(after - before).max() < 2e-6
    # From there on the hand stays, while the torso goes on.
    held = _positions(wren, range(25, 41))[:, 2, :3, 3]
    assert np.abs(held - held[0]).max() < 2e-6


def test_between_the_two_keys_of_a_switch_nothing_drifts(wren: Any) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    _animated(wren)
    scene = bpy.context.scene

    def at(frame: int, subframe: float) -> np.ndarray:
        scene.frame_set(frame, subframe=subframe)
        return np.array(wren.pose.bones["skin.hand.L"].matrix)

    before = [at(24, share) for share in (0.25, 0.5, 0.75)]
    scene.frame_set(25)
    switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=True)
    after = [at(24, share) for share in (0.25, 0.5, 0.75)]
    assert np.abs(np.array(after) - np.array(before)).max() < 2e-6


def test_back_and_forth_many_times_in_a_shot(wren: Any) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    _animated(wren)
    subject = subjects.subject_of(wren)
    for frame, mode in ((6, "hand"), (12, "both"), (18, "elbow"), (24, "none"), (30, "hand"), (36, "none")):
        bpy.context.scene.frame_set(frame)
        ik, elbow = MODES[mode]
        outcome = switch(subject, "L", Target(ik=ik, elbow=elbow), keyed=True)
        assert outcome.kept, (frame, mode, outcome)
    path = _positions(wren, range(1, 41))[:, 2, :3, 3]
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    print("largest step of the hand", steps.max())
    # Held from 6 to 18 and from 30 to 36.
    assert steps[5:17].max() < 2e-6
    assert steps[29:34].max() < 2e-6


@pytest.mark.parametrize("flag", ["lock", "mute"])
def test_a_locked_or_muted_curve_is_named_and_nothing_changes(wren: Any, flag: str) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.curves import curves_of
    from armwright.addon.switch import switch
    from armwright.core.errors import HostError
    from armwright.core.match.target import Target

    dials = wren.pose.bones["fk.clavicle.L"]
    dials.keyframe_insert('["ik"]', frame=1)
    for curve in curves_of(wren.animation_data.action):
        setattr(curve, flag, True)
    bpy.context.scene.frame_set(5)
    with pytest.raises(HostError, match=f"{flag}"):
        switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=True)
    assert dials["ik"] == 0.0


def test_between_frames_a_keyed_switch_is_refused(wren: Any) -> None:
    import bpy

    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.errors import HostError
    from armwright.core.match.target import Target

    bpy.context.scene.frame_set(5, subframe=0.5)
    with pytest.raises(HostError, match="whole frame"):
        switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=True)
    assert wren.animation_data.action is None
    assert wren.pose.bones["fk.clavicle.L"]["ik"] == 0.0


def test_an_action_shared_by_two_characters_is_refused(wren: Any) -> None:
    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.errors import HostError
    from armwright.core.match.target import Target

    _animated(wren)
    import bpy

    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    bpy.context.scene.frame_set(10)
    with pytest.raises(HostError, match="Second keeper"):
        switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0), keyed=True)


def test_another_rotation_mode_is_named(wren: Any) -> None:
    from armwright.addon import subjects
    from armwright.addon.switch import switch
    from armwright.core.errors import HostError
    from armwright.core.match.target import Target

    wren.pose.bones["fk.forearm.L"].rotation_mode = "XYZ"
    with pytest.raises(HostError, match="YZX"):
        switch(subjects.subject_of(wren), "L", Target(ik=1.0, elbow=0.0))


@pytest.mark.parametrize("dial", ["isolate", "lift", "stretch"])
@pytest.mark.parametrize("mode", MODES)
def test_flipping_a_dial_in_place_keeps_the_pose(wren: Any, dial: str, mode: str) -> None:
    import bpy

    import armwright
    from armwright.addon import subjects
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT, joints, switch
    from armwright.core.match.target import Target
    from armwright.core.rotations import angle_between

    armwright.register()
    try:
        subject = subjects.subject_of(wren)
        _natural(np.random.default_rng(SEED), wren, subject, "L")
        bpy.context.view_layer.objects.active = wren
        wren.update_tag()
        bpy.context.view_layer.update()
        ik, elbow = MODES[mode]
        switch(subject, "L", Target(ik=ik, elbow=elbow), keyed=False)
        before, was = joints(subject, "L"), wren.pose.bones["fk.clavicle.L"][dial]
        for _ in range(2):
            assert bpy.ops.armwright.flip_dial(arm="L", dial=dial) == {"FINISHED"}
            assert wren.pose.bones["fk.clavicle.L"][dial] == 1.0 - was
            was = wren.pose.bones["fk.clavicle.L"][dial]
            after = joints(subject, "L")
            length = sum(getattr(subject.geometries["L"], f"{part}_length") for part in ("upper", "forearm"))
            assert np.linalg.norm(after[:, :3, 3] - before[:, :3, 3], axis=1).max() / length < POP_LIMIT
            assert np.degrees(angle_between(after[:, :3, :3], before[:, :3, :3]).max()) < POP_ANGLE
    finally:
        armwright.unregister()
