"""Skin weights of the demo character, from geometry alone: smooth steps along the torso and along each arm."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ..core.arm.names import ArmNames
from ..core.bind.shares import along as segment_place
from ..core.bind.shares import overlap_shares
from ..core.frames import ArmFrames
from ..core.guide import TorsoGuide
from ..core.options import ArmOptions
from .shaping import Array, smoothstep

# Half widths of the blends between bones, metres at a stature of 1.7 m.
WAIST_BLEND = 0.07
NECK_BLEND = 0.03
SHOULDER_BLEND = (-0.055, 0.085)
ELBOW_BLEND = 0.05
WRIST_BLEND = 0.03
STATURE = 1.7
TWIST_BONES = ArmOptions().twist_bones

Weights = dict[str, Array]


def torso_weights(points: Array, torso: TorsoGuide, scale: float, *, head: bool = True) -> Weights:
    """Weights (N,) of root, torso chain and head by height; the thighs follow the hips more, the higher they are."""
    z = points[:, 2]
    joints = [joint[2] for joint in torso.chain]
    # From the knee up: boots and shins stay where they stand, and the coat hides how the thighs follow.
    hips = smoothstep(0.42 * joints[0], 0.98 * joints[0], z)
    out: Weights = {"root": 1.0 - hips}
    left = hips
    for index, joint in enumerate(joints[1:-1], start=1):
        above = smoothstep(joint - WAIST_BLEND * scale, joint + WAIST_BLEND * scale, z)
        out[f"torso.{index}"] = left * (1.0 - above)
        left = left * above
    neck = joints[-1] + 0.02 * scale
    above = smoothstep(neck - NECK_BLEND * scale, neck + NECK_BLEND * scale, z) if head else np.zeros(len(z))
    out[f"torso.{len(joints) - 1}"] = left * (1.0 - above)
    out["head"] = left * above
    return out


def shoulder_weights(points: Array, body: Weights, frames: ArmFrames, on_sleeve: Array, scale: float) -> Weights:
    """Move weight (N,) from the torso to the clavicle near the shoulder, and to the arm along the sleeve.

    `on_sleeve` (N,) is True for the sleeve's own vertices.
    """
    names = ArmNames(frames.side)
    sign = 1.0 if frames.side == "L" else -1.0
    shoulder, elbow = frames.upper_arm[:3, 3], frames.forearm[:3, 3]
    upper_axis, fore_axis = frames.upper_arm[:3, 1], frames.forearm[:3, 1]
    aside = smoothstep(0.05 * scale, 0.17 * scale, sign * points[:, 0])
    high = smoothstep(shoulder[2] - 0.16 * scale, shoulder[2] - 0.01 * scale, points[:, 2])
    near_arm = on_sleeve & (sign * points[:, 0] > 0.0)
    clavicle = np.where(near_arm, smoothstep(0.12 * scale, 0.19 * scale, sign * points[:, 0]), 0.85 * aside * high)
    along = (points - shoulder) @ upper_axis
    arm = smoothstep(SHOULDER_BLEND[0] * scale, SHOULDER_BLEND[1] * scale, along) * near_arm
    bend = 0.5 * ((points - elbow) @ (upper_axis + fore_axis))
    fore = smoothstep(-ELBOW_BLEND * scale, ELBOW_BLEND * scale, bend)
    wrist = smoothstep(-WRIST_BLEND * scale, WRIST_BLEND * scale, (points - frames.hand[:3, 3]) @ fore_axis)
    # The cuff's mouth keeps to the forearm a little, as a sleeve does.
    wrist = 0.6 * wrist
    rest = (1.0 - clavicle) * (1.0 - arm)
    out = {name: values * rest for name, values in body.items()}
    out[names.clavicle] = clavicle * (1.0 - arm)
    out[names.hand] = arm * fore * wrist
    joints = [frame[:3, 3] for frame in (frames.upper_arm, frames.forearm, frames.hand)]
    for bones, head, tail, values in (
        (names.skin_upper_arms(TWIST_BONES), *joints[:2], arm * (1.0 - fore)),
        (names.skin_forearms(TWIST_BONES), *joints[1:], arm * fore * (1.0 - wrist)),
    ):
        shares = overlap_shares(segment_place(points, head, tail), len(bones))
        out |= {bone: values * share for bone, share in zip(bones, shares.T, strict=True)}
    return out


def smoothed(weights: Weights, faces: Sequence[Sequence[int]], rounds: int, where: Array) -> Weights:
    """Average neighbours `rounds` times where `where` (N,) is 1, so that no loop of edges carries a crease."""
    names = list(weights)
    table = np.stack([weights[name] for name in names], axis=1)
    pairs = {(face[k], face[(k + 1) % len(face)]) for face in faces for k in range(len(face))}
    edges = np.array(sorted({(min(p), max(p)) for p in pairs}))
    for _ in range(rounds):
        total = np.zeros_like(table)
        count = np.zeros(len(table))
        for a, b in ((edges[:, 0], edges[:, 1]), (edges[:, 1], edges[:, 0])):
            np.add.at(total, a, table[b])
            np.add.at(count, a, 1.0)
        mean = total / np.maximum(count, 1.0)[:, None]
        table = table + 0.5 * where[:, None] * (mean - table)
    return {name: table[:, index] for index, name in enumerate(names)}


def bind(item: bpy.types.Object, armature: bpy.types.Object, weights: Weights, *, keep_volume: bool) -> None:
    """Vertex groups named as the bones, weights that add up to 1, and the armature modifier before any other.

    Linear blending (`keep_volume` off) looked better on the coat: the other bulges at raised shoulders and bent elbows.
    """
    names = list(weights)
    table = np.stack([weights[name] for name in names], axis=1)
    table[table < 1e-3] = 0.0
    table /= table.sum(axis=1, keepdims=True)
    for column, name in enumerate(names):
        group = item.vertex_groups.new(name=name)
        for index in np.flatnonzero(table[:, column]):
            group.add([int(index)], float(table[index, column]), "REPLACE")
    item.parent = armature
    modifier = item.modifiers.new("armature", "ARMATURE")
    modifier.object = armature
    modifier.use_deform_preserve_volume = keep_volume
    for place, other in enumerate(item.modifiers):
        if other.type == "ARMATURE":
            item.modifiers.move(place, 0)
            break
