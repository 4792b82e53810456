"""Converting a range: every pose kept, frames outside untouched, keys few where asked, and all of it taken back."""

from __future__ import annotations

import itertools
import time
from typing import Any

import numpy as np
import pytest
from swings import (
    ANGLE,
    FIRST,
    GAP,
    LAST,
    SHOT,
    SINGLE,
    animated,
    apart,
    converted,
    curve_values,
    every_key,
    poses,
    request,
)


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

    from armwright.addon import convert, prove, subjects
    from armwright.addon.convert_write import curve_bag

    animated(wren)
    bpy.context.scene.frame_set(23, subframe=0.25)
    # Posed over its key, and not keyed.
    wren.pose.bones["fk.hand.L"].rotation_euler = (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()
    before, groups = every_key(wren), {group.name for group in curve_bag(wren).groups}
    values = curve_values(wren, np.arange(0.0, 61.0, 0.5))
    running = convert.convert(subjects.subject_of(wren), request("both"))
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

    from armwright.addon import convert, subjects

    animated(wren)
    bpy.context.scene.frame_set(7, subframe=0.5)
    steps = list(convert.convert(subjects.subject_of(wren), request("hand")))
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
