"""Converting a range: every pose kept, frames outside untouched, keys few where asked, and all of it taken back."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

SEED = 2207
FIRST, LAST = 12, 45
SHOT = range(1, 61)
PARTS = ("upper_arm", "forearm", "hand")
# As for a switch: arm lengths and degrees.
GAP, ANGLE = 1e-5, 1e-2
# The host keeps channels in single precision; a radian or a metre is rounded to this.
SINGLE = 5e-7


def animated(armature: Any, keys: tuple[int, ...] = (1, 17, 34, 60)) -> None:
    """Both arms swing by FK, elbows bent by their hinges and forearms rolled, on a torso that leans."""
    rng = np.random.default_rng(SEED)
    bones = armature.pose.bones
    for frame in keys:
        bones["torso.2"].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
        bones["torso.2"].keyframe_insert("rotation_euler", frame=frame)
        for arm in "LR":
            for part, angles in (
                ("clavicle", rng.uniform(-0.15, 0.15, 3)),
                ("upper_arm", rng.uniform(-0.6, 0.6, 3)),
                ("forearm", np.array([rng.uniform(0.4, 1.3), rng.uniform(-0.6, 0.6), 0.0])),
                ("hand", rng.uniform(-0.4, 0.4, 3)),
            ):
                bone = bones[f"fk.{part}.{arm}"]
                bone.rotation_euler = angles.tolist()
                bone.keyframe_insert("rotation_euler", frame=frame)


def poses(armature: Any, frames: Any) -> np.ndarray:
    """Both arms' joints, (N, 6, 4, 4)."""
    import bpy

    names = [f"skin.{part}.{arm}" for arm in "LR" for part in PARTS]
    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        out.append([[list(row) for row in armature.pose.bones[name].matrix] for name in names])
    return np.array(out)


def apart(first: np.ndarray, second: np.ndarray) -> tuple[float, float]:
    """Metres, and degrees between the axes of the joints."""
    axes = [
        value[..., :3, :3] / np.linalg.norm(value[..., :3, :3], axis=-2, keepdims=True) for value in (first, second)
    ]
    # For small turns the Frobenius distance is sqrt(2) times the angle; an arc cosine would lose the small ones.
    turn = 2.0 * np.arcsin(np.clip(np.linalg.norm(axes[0] - axes[1], axis=(-2, -1)) / np.sqrt(8.0), 0.0, 1.0))
    return float(np.linalg.norm((first - second)[..., :3, 3], axis=-1).max()), float(np.degrees(turn.max()))


def every_key(armature: Any) -> dict[tuple[str, int], bytes]:
    """All that the host keeps of every key, by curve."""
    from armwright.addon.convert_splice import read_keys
    from armwright.addon.convert_write import curve_bag

    return {(curve.data_path, curve.array_index): read_keys(curve).tobytes() for curve in curve_bag(armature).fcurves}


def curve_values(armature: Any, frames: Any) -> dict[tuple[str, int], np.ndarray]:
    from armwright.addon.convert_write import curve_bag

    return {
        (curve.data_path, curve.array_index): np.array([curve.evaluate(frame) for frame in frames])
        for curve in curve_bag(armature).fcurves
    }


def request(mode: str, **other: Any) -> Any:
    from armwright.addon.convert import Request

    return Request(**{"arms": ("L", "R"), "mode": mode, "first": FIRST, "last": LAST, **other})


def converted(armature: Any, mode: str, **other: Any) -> Any:
    from armwright.addon import convert, prove

    return convert.convert_whole(prove.subject_of(armature), request(mode, **other))


def reason(armature: Any, mode: str = "hand", **other: Any) -> str:
    """What a refusal says; every key and the frame are as before it."""
    import bpy

    from armwright.core.errors import HostError

    scene = bpy.context.scene
    bag = armature.animation_data is not None and armature.animation_data.action is not None
    before, at = every_key(armature) if bag else {}, (scene.frame_current, scene.frame_subframe)
    with pytest.raises(HostError) as refusal:
        converted(armature, mode, **other)
    assert (every_key(armature) if bag else {}) == before
    assert (scene.frame_current, scene.frame_subframe) == at
    return str(refusal.value)


@pytest.mark.parametrize("keys", ["every"])
@pytest.mark.parametrize("mode", ["hand", "elbow", "both"])
def test_a_range_is_held_and_let_go_again_and_every_pose_stays(wren: Any, mode: str, keys: str) -> None:
    animated(wren)
    length = 0.5
    before = poses(wren, SHOT)
    for wanted in (mode, "none"):
        outcome = converted(wren, wanted, keys=keys)
        print(wanted, outcome.sentence())
        assert outcome.gap <= GAP and outcome.angle <= ANGLE, outcome
        gap, angle = apart(before, poses(wren, SHOT))
        print(f"{wanted}: {gap / length:.1e} L, {angle:.1e} degrees over the whole shot")
        assert gap / length < GAP
        assert angle < ANGLE


def test_from_each_way_of_holding_to_each_other_the_poses_stay(wren: Any) -> None:
    animated(wren)
    before = poses(wren, range(FIRST, LAST + 1))
    for first, second in itertools.permutations(("hand", "both", "elbow"), 2):
        for wanted in (first, second):
            outcome = converted(wren, wanted)
            gap, angle = apart(before, poses(wren, range(FIRST, LAST + 1)))
            assert gap / 0.5 < GAP and angle < ANGLE, (first, second, wanted, gap, angle, outcome)


def test_the_dials_switch_at_the_ends_of_the_range_and_nowhere_else(wren: Any) -> None:
    import bpy

    animated(wren)
    converted(wren, "hand")
    shown = []
    for frame in SHOT:
        bpy.context.scene.frame_set(frame)
        shown.append(wren.pose.bones["fk.clavicle.L"]["ik"])
    assert shown == [1.0 if FIRST <= frame <= LAST else 0.0 for frame in SHOT]
    bpy.context.scene.frame_set(FIRST - 1, subframe=0.9)
    assert wren.pose.bones["fk.clavicle.L"]["ik"] == 0.0
    bpy.context.scene.frame_set(LAST, subframe=0.9)
    assert wren.pose.bones["fk.clavicle.L"]["ik"] == 1.0


@pytest.mark.parametrize("interpolation", ["BEZIER", "LINEAR", "CONSTANT", "SINE", "ELASTIC", "BOUNCE"])
@pytest.mark.parametrize("handles", ["AUTO_CLAMPED", "AUTO", "VECTOR", "FREE"])
@pytest.mark.parametrize("extrapolation", ["CONSTANT", "LINEAR"])
def test_outside_the_range_every_curve_keeps_its_values(
    wren: Any, interpolation: str, handles: str, extrapolation: str
) -> None:
    from armwright.addon.convert_write import curve_bag

    animated(wren, (3, 9, 17, 34, 50, 56))
    for curve in curve_bag(wren).fcurves:
        curve.extrapolation = extrapolation
        for point in curve.keyframe_points:
            point.interpolation = interpolation
            point.handle_left_type = point.handle_right_type = handles
        if handles == "FREE":
            for point in curve.keyframe_points:
                # Longer than the segment, so that the host has to shorten them.
                point.handle_right = point.co[0] + 20.0, point.co[1] + 0.3
        curve.update()
    frames = [*range(-5, FIRST), *range(LAST + 1, 70)]
    before = curve_values(wren, frames)
    converted(wren, "hand")
    converted(wren, "none", first=FIRST, last=LAST)
    after = curve_values(wren, frames)
    worst = max(float(np.abs(after[name] - values).max()) for name, values in before.items())
    print(f"{interpolation} {handles} {extrapolation}: largest change outside {worst:.1e}")
    assert worst < SINGLE


@pytest.mark.parametrize(("first", "last"), [(-9, -2), (70, 80), (-5, 70), (1, 60), (17, 34), (18, 18), (16, 33)])
def test_ranges_before_after_around_and_on_the_keys_leave_the_rest(wren: Any, first: int, last: int) -> None:
    animated(wren)
    frames = [frame for frame in range(-15, 90) if not first <= frame <= last]
    before, inside = poses(wren, frames), poses(wren, range(first, last + 1))
    for mode in ("hand", "none"):
        outcome = converted(wren, mode, first=first, last=last)
        assert outcome.frames == last - first + 1
        assert apart(before, poses(wren, frames))[0] / 0.5 < GAP
        gap, angle = apart(inside, poses(wren, range(first, last + 1)))
        assert gap / 0.5 < GAP and angle < ANGLE


def test_euler_channels_run_on_without_jumps(wren: Any) -> None:
    animated(wren)
    bones = wren.pose.bones
    # A full turn of the upper arm, through the singular orientation of its order.
    for frame, angle in ((1, 0.0), (30, 3.3), (60, 6.6)):
        bones["fk.upper_arm.L"].rotation_euler = (0.3, angle, 0.9)
        bones["fk.upper_arm.L"].keyframe_insert("rotation_euler", frame=frame)
    for mode in ("both", "none"):
        converted(wren, mode)
    values = curve_values(wren, range(FIRST, LAST + 1))
    turns = [rows for (path, _), rows in values.items() if path.endswith("rotation_euler")]
    assert len(turns) >= 24
    steps = np.degrees(max(float(np.abs(np.diff(rows)).max()) for rows in turns))
    print(f"largest Euler step {steps:.1f} degrees a frame")
    assert steps < 180.0


@pytest.mark.parametrize("mode", ["hand", "both", "elbow"])
def test_the_fewest_keys_are_fewer_and_keep_to_the_tolerance(empty_file: Any, mode: str) -> None:
    import bpy
    from characters import wren_on_own_armature

    counts = []
    for keys, tolerance in (("every", 0.0), ("fewest", 0.0005), ("fewest", 0.003), ("fewest", 0.02)):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        wren = wren_on_own_armature()
        animated(wren)
        before = poses(wren, range(FIRST, LAST + 1))
        outcome = converted(wren, mode, keys=keys, tolerance=tolerance)
        gap, angle = apart(before, poses(wren, range(FIRST, LAST + 1)))
        print(f"{mode}, {keys} within {tolerance}: {outcome.sentence()}")
        # The host's single precision comes on top; a turn counts at the arm's length, here half a metre.
        assert gap < tolerance + 1e-5
        assert np.radians(angle) * 0.5 < tolerance + 1e-4
        counts.append(outcome.keys)
    assert counts == sorted(counts, reverse=True)
    assert len(set(counts)) == len(counts), counts


def test_keys_on_every_frame_are_thinned_out_later_and_the_animators_own_are_not_added_to(wren: Any) -> None:
    animated(wren)
    before = poses(wren, range(FIRST, LAST + 1))
    every = converted(wren, "hand")
    keyed = every_key(wren)
    few = converted(wren, "hand", keys="fewest", tolerance=0.003)
    print(every.sentence(), few.sentence())
    assert 0 < few.keys < every.keys
    assert apart(before, poses(wren, range(FIRST, LAST + 1)))[0] < 0.003 + 1e-5
    name = ('pose.bones["fk.upper_arm.L"].rotation_euler', 0)
    assert every_key(wren)[name] == keyed[name]
    again = converted(wren, "hand", keys="fewest", tolerance=0.003)
    assert again.keys <= few.keys


def test_keys_of_the_channels_that_are_not_read_stay(wren: Any) -> None:
    animated(wren)
    before = every_key(wren)
    converted(wren, "hand")
    after = every_key(wren)
    for bone in ("fk.upper_arm.L", "fk.hand.R", "torso.2"):
        for index in range(3):
            name = (f'pose.bones["{bone}"].rotation_euler', index)
            assert after[name] == before[name]


@pytest.mark.parametrize("steps", [1, 20, 34, 35, 50, 67])
def test_stopped_at_any_point_every_key_handle_and_frame_is_as_before(wren: Any, steps: int) -> None:
    import bpy

    from armwright.addon import convert, prove
    from armwright.addon.convert_write import curve_bag

    animated(wren)
    bpy.context.scene.frame_set(23, subframe=0.25)
    # Posed over its key, and not keyed.
    wren.pose.bones["fk.hand.L"].rotation_euler = (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()
    before, groups = every_key(wren), {group.name for group in curve_bag(wren).groups}
    values = curve_values(wren, np.arange(0.0, 61.0, 0.5))
    running = convert.convert(prove.subject_of(wren), request("both"))
    for _ in range(steps):
        assert isinstance(next(running), prove.Progress)
    running.close()
    assert every_key(wren) == before
    assert {group.name for group in curve_bag(wren).groups} == groups
    for name, rows in curve_values(wren, np.arange(0.0, 61.0, 0.5)).items():
        assert np.array_equal(rows, values[name])
    assert (bpy.context.scene.frame_current, bpy.context.scene.frame_subframe) == (23, 0.25)
    assert np.allclose(wren.pose.bones["fk.hand.L"].rotation_euler, (0.1, 0.2, 0.3))
    assert wren.pose.bones["fk.clavicle.L"]["ik"] == 0.0


def test_progress_runs_to_the_end_and_the_frame_comes_back(wren: Any) -> None:
    import bpy

    from armwright.addon import convert, prove

    animated(wren)
    bpy.context.scene.frame_set(7, subframe=0.5)
    steps = list(convert.convert(prove.subject_of(wren), request("hand")))
    done = [step.done for step in steps[:-1]]
    assert done == list(range(1, 2 * (LAST - FIRST + 1) + 1))
    assert {step.total for step in steps[:-1]} == {done[-1]}
    assert (bpy.context.scene.frame_current, bpy.context.scene.frame_subframe) == (7, 0.5)


def test_what_is_held_that_way_already_is_left_alone(wren: Any) -> None:
    animated(wren)
    before = every_key(wren)
    outcome = converted(wren, "none")
    assert outcome.keys == 0
    assert "already" in outcome.sentence()
    assert every_key(wren) == before


def test_a_failure_while_keys_are_written_takes_them_back(wren: Any, monkeypatch: Any) -> None:
    from armwright.addon import convert_write

    animated(wren)
    before = every_key(wren)
    real, calls = convert_write.write_keys, []

    def failing(curve: Any, keys: Any) -> None:
        calls.append(curve)
        if len(calls) == 9:
            raise MemoryError
        real(curve, keys)

    monkeypatch.setattr(convert_write, "write_keys", failing)
    with pytest.raises(MemoryError):
        converted(wren, "both")
    assert len(calls) > 9
    assert every_key(wren) == before


def test_without_keyframes_it_says_so(wren: Any) -> None:
    assert "no keyframes" in reason(wren)


@pytest.mark.parametrize("flag", ["lock", "mute"])
@pytest.mark.parametrize("whole_group", [False, True])
def test_a_locked_or_muted_channel_is_named(wren: Any, flag: str, whole_group: bool) -> None:
    from armwright.addon.convert_write import curve_bag

    animated(wren)
    wren.pose.bones["fk.clavicle.L"].keyframe_insert('["ik"]', frame=1)
    (curve,) = [item for item in curve_bag(wren).fcurves if "ik" in item.data_path]
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
    other.animation_data.action_slot = action.slots.new("OBJECT", other.name)
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


def test_a_strip_that_is_mixed_with_the_action_is_named_and_a_muted_one_is_no_matter(wren: Any) -> None:
    import bpy

    animated(wren)
    action = bpy.data.actions.new("Sway")
    track = wren.animation_data.nla_tracks.new()
    track.name = "Layers"
    track.strips.new("Sway", 5, action)
    said = reason(wren)
    assert "Sway" in said and "Layers" in said
    track.mute = True
    assert converted(wren, "hand").keys > 0


def test_an_action_that_is_mixed_in_by_half_is_refused(wren: Any) -> None:
    animated(wren)
    wren.animation_data.action_influence = 0.5
    assert "0.5" in reason(wren)


def test_holds_that_turn_by_euler_angles_are_keyed_so(wren: Any) -> None:
    animated(wren)
    wren.pose.bones["hold.hand.L"].rotation_mode = "ZXY"
    before = poses(wren, SHOT)
    converted(wren, "hand")
    gap, angle = apart(before, poses(wren, SHOT))
    assert gap / 0.5 < GAP and angle < ANGLE
    assert ('pose.bones["hold.hand.L"].rotation_euler', 0) in every_key(wren)


def test_the_numbers_of_interpolations_and_handles_are_the_hosts() -> None:
    import bpy

    from armwright.addon import convert_splice as s

    table = bpy.types.Keyframe.bl_rna.properties
    assert set(s.KEY.names) | {"co_ui", "rna_type"} == {item.identifier for item in table}
    ways = table["interpolation"].enum_items
    assert [ways[name].value for name in ("CONSTANT", "LINEAR", "BEZIER")] == [s.CONSTANT, s.LINEAR, s.BEZIER]
    kinds = table["handle_left_type"].enum_items
    names = ("FREE", "AUTO", "VECTOR", "AUTO_CLAMPED")
    assert [kinds[name].value for name in names] == [s.FREE, s.AUTO, s.VECTOR, s.AUTO_CLAMPED]


def test_a_thousand_frames_of_both_arms_keep_their_poses(wren: Any) -> None:
    """The times are printed, not judged: machines differ."""
    import bpy

    animated(wren, tuple(range(1, 1001, 37)))
    scene = bpy.context.scene
    held: dict[str, int] = {}
    for keys in ("every", "fewest"):
        for mode in ("hand", "none", "both"):
            start = time.perf_counter()
            for frame in range(1, 1001):
                scene.frame_set(frame)
            stepping = time.perf_counter() - start
            start = time.perf_counter()
            outcome = converted(wren, mode, first=1, last=1000, keys=keys)
            took = time.perf_counter() - start
            print(f"{keys} {mode}: stepping {stepping:.2f} s, {took / stepping:.2f} times that; {outcome.sentence()}")
            if keys == "every":
                assert outcome.gap <= GAP and outcome.angle <= ANGLE
            elif mode == "hand":
                # The same motion as at first; what follows starts from a motion that is a tolerance away.
                assert outcome.keys < held[mode]
            held.setdefault(mode, outcome.keys)


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
