"""Keys that a change sets: the curves around them keep their shape."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEED = 77
BONE = "fk.upper_arm.L"


def _values(armature: Any, frames: np.ndarray) -> np.ndarray:
    from armwright.addon.curves import curves_of

    curves = [curve for curve in curves_of(armature.animation_data.action) if BONE in curve.data_path]
    return np.array([[curve.evaluate(frame) for curve in curves] for frame in frames])


@pytest.mark.parametrize("kind", ["AUTO_CLAMPED", "AUTO", "ALIGNED", "VECTOR", "FREE"])
@pytest.mark.parametrize("interpolation", ["BEZIER", "LINEAR", "CONSTANT"])
def test_a_key_changes_no_curve_before_it_or_after_the_next(wren: Any, kind: str, interpolation: str) -> None:
    from armwright.addon import keys
    from armwright.addon.arm_state import Channel
    from armwright.addon.curves import curves_of

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    bone = wren.pose.bones[BONE]
    for frame in (10, 24, 31, 50):
        bone.rotation_euler = rng.uniform(-1.0, 1.0, 3).tolist()
        bone.keyframe_insert("rotation_euler", frame=frame)
    for curve in curves_of(wren.animation_data.action):
        for point in curve.keyframe_points:
            point.handle_left_type = point.handle_right_type = kind
            point.interpolation = interpolation
            if kind in ("ALIGNED", "FREE"):
                x, y = point.co
                point.handle_left, point.handle_right = (x - 3.0, y - 0.2), (x + 9.0, y + 0.6)
        curve.update()
    channel = Channel(BONE, "rotation_euler")
    worst = 0.0
    # Between keys, at a key, beside one, before the first and beyond the last.
    for at, after in ((17, 24), (24, 31), (32, 50), (4, 10), (60, 90), (25, 31)):
        early, late = np.arange(0.0, at - 1 + 1e-9, 0.25), np.arange(float(after), 90.0, 0.25)
        before = _values(wren, early), _values(wren, late)
        bone.rotation_euler = _values(wren, np.array([at - 1.0]))[0].tolist()
        keys.key(wren, [channel], at - 1, hold=True)
        bone.rotation_euler = rng.uniform(-1.0, 1.0, 3).tolist()
        keys.key(wren, [channel], at, hold=False)
        changed = [np.abs(_values(wren, early) - before[0]).max()]
        if after != 90:
            changed.append(np.abs(_values(wren, late) - before[1]).max())
        print(at, changed)
        worst = max(worst, *changed)
    assert worst < 2e-6
