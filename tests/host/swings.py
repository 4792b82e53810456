"""An animation of both arms, how its poses and keys are read, and how it is converted, for the host tests."""

from __future__ import annotations

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
    from armwright.addon import convert, subjects

    return convert.convert_whole(subjects.subject_of(armature), request(mode, **other))


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


def give_own_part(armature: Any, action: Any) -> None:
    """Let an armature play a new part of an action that others play; skip where all that play one share its curves."""
    from armwright.addon import host

    if not host.has_layers(action):
        pytest.skip("in this host all that play an action share its curves")
    host.give_slot(armature.animation_data, host.new_part(action, armature.name))
