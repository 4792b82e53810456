"""Wren's legs have no bones: shapes of the trousers and boots under the long coat lift them and set them forward."""

from __future__ import annotations

import bpy

from .shaping import Array, add_shape, smoothstep

# How high a boot is lifted, and how far forward it is set, at 1; metres at a stature of 1.7 m.
LIFT, FORWARD = 0.26, 0.155
STEP_SHAPE, PERCH_SHAPE = "step", "perch"
# Below the shin's height the leg moves as one; above the thigh's it stays with the hips. What is set forward bends
# below the knee, so that the coat covers it.
SHIN, THIGH, KNEE = 0.38, 0.88, 0.56


def add_steps(body: bpy.types.Object, points: Array, legs: Array, scale: float) -> None:
    """Shapes "step" and "perch" of each side; `points` (N, 3) at a stature of 1.7 m, `legs` (N,) is True for theirs."""
    body.shape_key_add(name="standing")
    lifts = (1.0 - smoothstep(SHIN, THIGH, points[:, 2])) * legs
    forwards = (1.0 - smoothstep(SHIN, KNEE, points[:, 2])) * legs
    for side, sign in (("L", 1.0), ("R", -1.0)):
        own = sign * points[:, 0] > 0.0
        lifted, set_forward = points.copy(), points.copy()
        lifted[:, 2] += LIFT * lifts * own
        set_forward[:, 1] -= FORWARD * forwards * own
        add_shape(body, f"{STEP_SHAPE}.{side}", scale * lifted)
        add_shape(body, f"{PERCH_SHAPE}.{side}", scale * set_forward)


def key_shape(item: bpy.types.Object, name: str, keys: dict[int, float]) -> None:
    """Key a shape's value, frame by frame."""
    block = item.data.shape_keys.key_blocks[name]
    for frame, value in keys.items():
        block.value = value
        block.keyframe_insert("value", frame=frame)
