"""Converting a range: what is refused, and what is odd and works; the button and the command line."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from swings import (
    ANGLE,
    FIRST,
    GAP,
    LAST,
    SHOT,
    animated,
    apart,
    converted,
    every_key,
    give_own_part,
    poses,
    reason,
)


def test_without_keyframes_it_says_so(wren: Any) -> None:
    assert "no keyframes" in reason(wren)


@pytest.mark.parametrize("flag", ["lock", "mute"])
@pytest.mark.parametrize("whole_group", [False, True])
def test_a_locked_or_muted_channel_is_named(wren: Any, flag: str, whole_group: bool) -> None:
    from armwright.addon.convert_write import curve_bag

    animated(wren)
    wren.pose.bones["fk.clavicle.L"].keyframe_insert('["ik"]', frame=1)
    (curve,) = [item for item in curve_bag(wren).fcurves if "ik" in item.data_path]
    if whole_group and curve.group is None:  # the host does not sort curves of dials into groups before 4.4
        curve.group = curve_bag(wren).groups.new("Dials")
    setattr(curve.group if whole_group else curve, flag, True)
    said = reason(wren)
    assert "fk.clavicle.L" in said and ("lock" if flag == "lock" else "mute") in said


def test_a_curve_with_a_modifier_is_named(wren: Any) -> None:
    from armwright.addon.convert_write import curve_bag

    animated(wren)
    wren.pose.bones["hold.hand.L"].keyframe_insert("location", frame=1)
    for curve in curve_bag(wren).fcurves:
        if "hold.hand.L" in curve.data_path:
            curve.modifiers.new("NOISE")
    assert "modifier" in reason(wren)


def test_an_action_shared_by_two_characters_is_refused(wren: Any) -> None:
    import bpy

    animated(wren)
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    assert "Second keeper" in reason(wren)


def test_an_action_with_a_part_for_each_of_two_characters_changes_for_one(wren: Any) -> None:
    import bpy

    animated(wren)
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    action = wren.animation_data.action
    give_own_part(other, action)
    animated(other)
    before, theirs = poses(wren, SHOT), every_key(other)
    outcome = converted(wren, "hand")
    assert outcome.keys > 0
    assert every_key(other) == theirs
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (30, 20, "backwards"),
        (10.5, 20, "between two frames"),
        (10, 20.25, "between two frames"),
        (float("nan"), 20, "between two frames"),
        (10, float("inf"), "between two frames"),
        (10, 3_000_000, "knows frames up to"),
    ],
)
def test_ranges_that_are_none_are_refused(wren: Any, first: float, last: float, said: str) -> None:
    animated(wren)
    assert said in reason(wren, first=first, last=last)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"mode": "feet"}, "no mode"),
        ({"keys": "some"}, "give one of"),
        ({"arms": ("M",)}, "no arm M"),
        ({"arms": ()}, "no arm"),
        ({"tolerance": -1.0}, "tolerance"),
        ({"tolerance": float("nan")}, "tolerance"),
    ],
)
def test_options_that_are_none_are_refused(wren: Any, other: dict[str, Any], said: str) -> None:
    animated(wren)
    assert said in reason(wren, **{"mode": "hand", **other})


def test_keys_between_frames_in_the_range_give_way_and_those_outside_stay(wren: Any) -> None:
    animated(wren)
    bone = wren.pose.bones["fk.forearm.L"]
    for frame in (8.5, 20.5, 50.25):
        bone.keyframe_insert("rotation_euler", frame=frame)
    before = poses(wren, SHOT)
    for mode in ("hand", "none"):
        converted(wren, mode)
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE


def strip_below(wren: Any, bone: str) -> Any:
    """A track under the action whose strip turns a bone."""
    import bpy

    from armwright.addon import host

    action = bpy.data.actions.new("Sway")
    slot, curves = host.fill(action, wren.name)
    curve = curves.new(f'pose.bones["{bone}"].rotation_euler', index=0)
    for frame, value in ((1, 0.0), (60, 0.4)):
        curve.keyframe_points.insert(frame, value)
    wren.pose.bones[bone].rotation_mode = "XYZ"
    track = wren.animation_data.nla_tracks.new()
    track.name = "Layers"
    host.give_slot(track.strips.new("Sway", 1, action), slot)
    return track


def test_a_strip_that_moves_what_is_converted_is_named_and_a_muted_track_is_no_matter(wren: Any) -> None:
    animated(wren)
    track = strip_below(wren, "fk.clavicle.L")
    said = reason(wren)
    assert "Sway" in said and "Layers" in said
    track.mute = True
    assert converted(wren, "hand").keys > 0


def test_a_strip_that_moves_the_torso_below_is_no_matter(wren: Any) -> None:
    animated(wren)
    strip_below(wren, "torso.1")
    before = poses(wren, SHOT)
    assert converted(wren, "hand").keys > 0
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE


def test_an_action_that_is_mixed_in_by_half_is_refused_and_without_strips_it_does_nothing(wren: Any) -> None:
    animated(wren)
    wren.animation_data.action_influence = 0.5
    track = strip_below(wren, "torso.1")
    assert "0.5" in reason(wren)
    track.mute = True
    before = poses(wren, SHOT)
    assert converted(wren, "hand").keys > 0
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE


def test_holds_that_turn_by_euler_angles_are_keyed_so(wren: Any) -> None:
    animated(wren)
    wren.pose.bones["hold.hand.L"].rotation_mode = "ZXY"
    before = poses(wren, SHOT)
    converted(wren, "hand")
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE
    assert ('pose.bones["hold.hand.L"].rotation_euler', 0) in every_key(wren)


def test_the_button_converts_the_range_that_it_is_given(wren: Any) -> None:
    import bpy

    import armwright

    animated(wren)
    bpy.context.view_layer.objects.active = wren
    before = poses(wren, SHOT)
    armwright.register()
    try:
        options = {"arm": "L", "mode": "hand", "first": FIRST, "last": LAST}
        assert bpy.ops.armwright.convert_range("EXEC_DEFAULT", **options) == {"FINISHED"}
        bpy.context.scene.frame_set(FIRST)
        assert wren.pose.bones["fk.clavicle.L"]["ik"] == 1.0
        assert wren.pose.bones["fk.clavicle.R"]["ik"] == 0.0
        assert bpy.ops.armwright.ask_range("EXEC_DEFAULT", **{**options, "mode": "none"}) == {"FINISHED"}
        bpy.context.scene.frame_set(FIRST)
        assert wren.pose.bones["fk.clavicle.L"]["ik"] == 0.0
        with pytest.raises(RuntimeError, match="backwards"):
            bpy.ops.armwright.convert_range("EXEC_DEFAULT", **{**options, "first": LAST, "last": FIRST})
    finally:
        armwright.unregister()
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE


def command_line(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run `python -m armwright switch` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "armwright", "switch", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=200,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )


def test_the_command_line_writes_another_file_with_the_range_converted(wren: Any, tmp_path: Path) -> None:
    import bpy

    animated(wren)
    before = poses(wren, SHOT)
    source, out = tmp_path / "keeper.blend", tmp_path / "held.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(source), copy=True)
    unchanged = source.read_bytes()
    done = command_line(source, "--out", out, "--mode", "both", "--from", FIRST, "--to", LAST, "--keys", "every")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "every pose is kept" in done.stdout
    assert "100 %" in done.stderr
    assert source.read_bytes() == unchanged
    bpy.ops.wm.open_mainfile(filepath=str(out))
    held = next(item for item in bpy.data.objects if item.type == "ARMATURE")
    gap, angle = apart(before, poses(held, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE
    bpy.context.scene.frame_set(FIRST)
    assert held.pose.bones["fk.clavicle.R"]["elbow_hold"] == 1.0


def test_the_command_line_refuses_in_a_sentence_and_writes_nothing(wren: Any, tmp_path: Path) -> None:
    import bpy

    animated(wren)
    source, out = tmp_path / "keeper.blend", tmp_path / "held.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(source), copy=True)
    for first, last, target, said in (
        ("40", "20", out, "backwards"),
        ("1.5", "20", out, "between two frames"),
        ("1", "20", source, "input file"),
    ):
        done = command_line(source, "--out", target, "--mode", "hand", "--from", first, "--to", last)
        assert done.returncode == 2, done.stdout + done.stderr
        assert said in done.stderr and "Traceback" not in done.stderr
        assert not out.exists()
