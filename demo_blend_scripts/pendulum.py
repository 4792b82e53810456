"""The lantern on its bail: a damped pendulum whose pivot is the hand's grip, later the hook; keyed frame by frame."""

from __future__ import annotations

from itertools import pairwise

import bpy
import numpy as np
from mathutils import Matrix

from ..core.arm.names import ArmNames
from .hands import BUILT_LENGTH, GRIPPED
from .posing import pose_of
from .shaping import Array

# From the bail's grip to the lantern's middle, metres; the share of its speed against the pivot lost per second.
LENGTH = 0.22
DAMPING = 2.5
# The bail's grip is thinner than the rail that the fist is shaped for: it lies nearer the palm by this much, metres.
NEARER_PALM = 0.016
GRAVITY = np.array([0.0, 0.0, -9.81])
STEPS = 40


def hang_lantern(
    armature: bpy.types.Object, lantern: bpy.types.Object, frames: tuple[int, int], hung: int, hook: Array
) -> None:
    """Key the lantern over `frames`; from frame `hung` on its pivot is `hook`.

    The armature object stands at the world's origin, unturned.
    """
    first, last = frames
    pivots, handles = _grips(armature, first, last, hung, hook)
    bobs = _swing(pivots, bpy.context.scene.render.fps)
    lantern.rotation_mode = "QUATERNION"
    before = None
    for index, frame in enumerate(range(first, last + 1)):
        up = pivots[index] - bobs[index]
        up /= np.linalg.norm(up)
        along = handles[index] - up * (handles[index] @ up)
        along /= np.linalg.norm(along)
        turn = Matrix(np.stack([along, np.cross(up, along), up], axis=1).tolist()).to_quaternion()
        if before is not None and before.dot(turn) < 0.0:
            turn.negate()
        before = turn.copy()
        lantern.location, lantern.rotation_quaternion = pivots[index].tolist(), turn
        lantern.keyframe_insert("location", frame=frame)
        lantern.keyframe_insert("rotation_quaternion", frame=frame)


def _grips(armature: bpy.types.Object, first: int, last: int, hung: int, hook: Array) -> tuple[Array, Array]:
    """Pivot and direction of the bail's grip at every frame, (F, 3) each."""
    bone = ArmNames("R").hand
    local = np.array(GRIPPED) * armature.data.bones[ArmNames("R").hold_hand].length / BUILT_LENGTH
    local[2] -= NEARER_PALM
    pivots, handles = [], []
    for frame in range(first, last + 1):
        if frame <= hung:
            bpy.context.scene.frame_set(frame)
            pose = pose_of(armature, bone)
            pivots.append(pose[:3, 3] + pose[:3, :3] @ local)
            handles.append(pose[:3, 0])
        else:
            # The bail slides from the palm onto the hook over a few frames.
            share = min(1.0, (frame - hung) / 4.0)
            pivots.append(pivots[hung - first] + share * (hook - pivots[hung - first]))
            handles.append(handles[-1])
    return np.array(pivots), np.array(handles)


def _swing(pivots: Array, rate: int) -> Array:
    """Places (F, 3) of the bob, LENGTH below each pivot; steps of position, projected back to the length."""
    step = 1.0 / (rate * STEPS)
    bob = pivots[0] - np.array([0.0, 0.0, LENGTH])
    old = bob.copy()
    out = [bob.copy()]
    for start, end in pairwise(pivots):
        for part in range(1, STEPS + 1):
            pivot = start + (end - start) * part / STEPS
            drift = (end - start) / STEPS
            speed = drift + (bob - old - drift) * (1.0 - DAMPING * step)
            old = bob
            bob = bob + speed + GRAVITY * step * step
            arm = bob - pivot
            bob = pivot + LENGTH * arm / np.linalg.norm(arm)
        out.append(bob.copy())
    return np.array(out)
