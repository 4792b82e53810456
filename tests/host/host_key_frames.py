"""Frames on which a change is keyed: negative ones, ranges that are none, keys between two frames."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import joints_along, subject_of, swing, switched
from refusals import refused


def test_negative_frames_are_frames(wren: Any) -> None:
    import bpy

    from armwright.addon import grab

    subject = subject_of(wren)
    swing(wren)
    for curve in _curves(wren):
        for point in curve.keyframe_points:
            point.co_ui.x -= 50.0
        curve.update()
    before = joints_along(wren, range(-49, -9))
    bpy.context.scene.frame_set(-45)
    assert switched(wren, "both").kept
    assert switched(wren, "none").kept
    bpy.context.scene.frame_set(3)
    grab.hold_range(subject, "L", "hand", None, -40, -20)
    assert bpy.context.scene.frame_current == 3
    after = joints_along(wren, range(-49, -9))
    assert np.abs(after - before)[:9].max() < 2e-6
    path = after[9:30, 2, :3, 3]
    assert np.abs(path - path[0]).max() < 2e-6


def _curves(armature: Any) -> list[Any]:
    from armwright.addon.convert_write import curve_bag

    return list(curve_bag(armature).fcurves)


@pytest.mark.parametrize(("first", "last"), [(10.5, 20), (10, float("nan")), (10, 2_000_000)])
def test_ranges_of_holding_that_are_none_are_refused(wren: Any, first: float, last: float) -> None:
    from armwright.addon import grab

    subject = subject_of(wren)
    swing(wren)
    refused(lambda: grab.hold_range(subject, "L", "hand", None, first, last), "frame")


def test_a_key_between_frames_next_to_a_switch_stays(wren: Any) -> None:
    import bpy

    swing(wren)
    bone = wren.pose.bones["fk.upper_arm.L"]
    for frame in (13.5, 14.5, 15.5):
        bone.keyframe_insert("rotation_euler", frame=frame)
    before = joints_along(wren, range(1, 15))
    bpy.context.scene.frame_set(15)
    assert switched(wren, "both").kept
    assert switched(wren, "none").kept
    assert np.abs(joints_along(wren, range(1, 15)) - before).max() < 2e-6
    frames = {point.co.x for curve in _curves(wren) if bone.name in curve.data_path for point in curve.keyframe_points}
    assert {13.5, 14.5, 15.5} <= frames
