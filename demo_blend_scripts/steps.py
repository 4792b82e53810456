"""Wren's legs have no bones: three shapes of the trousers and boots under the long coat lift them and set them forward."""

from __future__ import annotations

import bpy

from .shaping import Array, add_shape, smoothstep

# How high a boot is lifted, and how far forward both are set, at 1; metres at a stature of 1.7 m.
LIFT, FORWARD = 0.26, 0.09
STEP_SHAPE, PERCH_SHAPE = "step", "perch"
# Below, the leg moves as one; above, it stays with the hips.
SHIN, THIGH = 0.38, 0.88


def add_steps(body: bpy.types.Object, points: Array, legs: Array, scale: float) -> None:
    """Shapes "step.L", "step.R" and "perch"; `points` (N, 3) at a stature of 1.7 m, `legs` (N,) is True for theirs."""
    body.shape_key_add(name="standing")
    share = (1.0 - smoothstep(SHIN, THIGH, points[:, 2])) * legs
    for side, sign in (("L", 1.0), ("R", -1.0)):
        lifted = points.copy()
        lifted[:, 2] += LIFT * share * (sign * points[:, 0] > 0.0)
        add_shape(body, f"{STEP_SHAPE}.{side}", scale * lifted)
    forward = points.copy()
    forward[:, 1] -= FORWARD * share
    add_shape(body, PERCH_SHAPE, scale * forward)


def key_shape(item: bpy.types.Object, name: str, keys: dict[int, float]) -> None:
    """Key a shape's value, frame by frame."""
    block = item.data.shape_keys.key_blocks[name]
    for frame, value in keys.items():
        block.value = value
        block.keyframe_insert("value", frame=frame)
