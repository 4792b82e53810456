"""Wren, who keeps the lighthouse: meshes by script, bound to the rig's skin bones and to the torso."""

from __future__ import annotations

from dataclasses import dataclass, replace

import bpy
import numpy as np

from ..addon.build import build_new
from ..core.arm.build import plan_arms
from ..core.frames import arm_frames
from ..core.guide import Guide
from ..core.hand_proportions import with_fingers
from ..core.options import ArmOptions
from ..core.plan.model import Plan
from ..core.stature import guide_from_stature
from .body import body_sheet
from .coat import coat_sheet
from .hands import add_glove, with_glove
from .shaping import Sheet, material, mesh_object
from .steps import add_steps
from .weights import STATURE, bind, shoulder_weights, smoothed, torso_weights

NAME = "Wren"


@dataclass(frozen=True)
class Character:
    """The keeper: what was planned, the armature, and the meshes on it (coat, body, gloves)."""

    guide: Guide
    plan: Plan
    armature: bpy.types.Object
    coat: bpy.types.Object
    body: bpy.types.Object
    hands: bpy.types.Object

    @property
    def meshes(self) -> tuple[bpy.types.Object, ...]:
        """Everything that the armature deforms."""
        return (self.coat, self.body, self.hands)


def make_character(stature: float = STATURE) -> Character:
    """Rig and meshes, at rest, in the scene's active collection."""
    guide = guide_from_stature(stature, NAME)
    guide = replace(guide, arms=tuple(with_glove(with_fingers(arm)) for arm in guide.arms))
    plan = plan_arms(guide, ArmOptions())
    armature = build_new(plan, NAME)
    # The boots stand on it, and go where it goes.
    armature.data.bones["root"].use_deform = True
    scale = stature / STATURE
    oilskin = material("oilskin", (0.82, 0.40, 0.012), 0.36, gloss=0.25)
    wool = material("wool", (0.42, 0.035, 0.03), 0.9)
    coat = _make_coat(guide, armature, scale, oilskin)
    body = _make_body(guide, armature, scale, oilskin, wool)
    hands = _make_hands(guide, armature)
    return Character(guide, plan, armature, coat, body, hands)


def _make_coat(guide: Guide, armature: bpy.types.Object, scale: float, oilskin: bpy.types.Material) -> bpy.types.Object:
    frames = tuple(arm_frames(arm, guide.up) for arm in guide.arms)
    sheet = coat_sheet(frames, scale)
    _relax(sheet, scale)
    points, sleeve = sheet.array(), np.array([part == "sleeve" for part in sheet.parts])
    assert guide.torso is not None
    weights = torso_weights(points, guide.torso, scale, head=False)
    for frame in frames:
        weights = shoulder_weights(points, weights, frame, sleeve, scale)
    near = np.max([_near(points, frame.upper_arm[:3, 3], 0.20 * scale) for frame in frames], axis=0)
    weights = smoothed(weights, sheet.faces, 6, near)
    made = mesh_object(f"{NAME}.coat", sheet, [oilskin], subdivide=1)
    bind(made, armature, weights, keep_volume=False)
    return made


def _near(points: np.ndarray, centre: np.ndarray, radius: float) -> np.ndarray:
    return np.clip(2.0 - 2.0 * np.linalg.norm(points - centre, axis=1) / radius, 0.0, 1.0)


def _relax(sheet: Sheet, scale: float) -> None:
    """Round the seam between sleeve and shoulder: vertices near it move to their neighbours' middle."""
    points = sheet.array()
    parts = np.array(sheet.parts)
    edges = {tuple(sorted((face[k], face[(k + 1) % len(face)]))) for face in sheet.faces for k in range(len(face))}
    pairs = np.array(sorted(edges))
    seam = np.zeros(len(points), bool)
    crossing = parts[pairs[:, 0]] != parts[pairs[:, 1]]
    seam[pairs[crossing].ravel()] = True
    weight = seam.astype(float)
    for _ in range(2):
        spread = weight.copy()
        for a, b in ((0, 1), (1, 0)):
            np.maximum.at(spread, pairs[:, a], 0.6 * weight[pairs[:, b]])
        weight = spread
    for _ in range(8):
        total, count = np.zeros_like(points), np.zeros(len(points))
        for a, b in ((0, 1), (1, 0)):
            np.add.at(total, pairs[:, a], points[pairs[:, b]])
            np.add.at(count, pairs[:, a], 1.0)
        points = points + 0.5 * weight[:, None] * (total / count[:, None] - points)
    sheet.points = [points]


def _make_body(
    guide: Guide, armature: bpy.types.Object, scale: float, oilskin: bpy.types.Material, wool: bpy.types.Material
) -> bpy.types.Object:
    sheet = body_sheet()
    sheet.points = [scale * sheet.array()]
    points, parts = sheet.array(), np.array(sheet.parts)
    assert guide.torso is not None
    weights = torso_weights(points, guide.torso, scale)
    on_head = parts == "head"
    for name, values in weights.items():
        weights[name] = np.where(on_head, 1.0 if name == "head" else 0.0, values)
    materials = [
        material("skin", (0.62, 0.30, 0.20), 0.55),
        material("whiskers", (0.86, 0.84, 0.80), 0.85),
        material("ink", (0.012, 0.012, 0.016), 0.25),
        oilskin,
        wool,
        material("trousers", (0.035, 0.05, 0.09), 0.85),
        material("boots", (0.02, 0.035, 0.03), 0.3, gloss=0.3),
        material("glint", (1.0, 1.0, 1.0), 0.3, glow=0.6),
    ]
    made = mesh_object(f"{NAME}.body", sheet, materials, subdivide=1)
    add_steps(made, points / scale, parts == "legs", scale)
    bind(made, armature, weights, keep_volume=False)
    return made


def _make_hands(guide: Guide, armature: bpy.types.Object) -> bpy.types.Object:
    sheet = Sheet()
    whose = [add_glove(sheet, arm_frames(arm, guide.up)) for arm in guide.arms]
    counts = [len(next(iter(weights.values()))) for weights in whose]
    weights: dict[str, np.ndarray] = {}
    for index, own in enumerate(whose):
        before, after = sum(counts[:index]), sum(counts[index + 1 :])
        for bone, values in own.items():
            weights[bone] = np.concatenate([np.zeros(before), values, np.zeros(after)])
    made = mesh_object(f"{NAME}.gloves", sheet, [material("gloves", (0.16, 0.19, 0.24), 0.95)], subdivide=1)
    bind(made, armature, weights, keep_volume=False)
    return made
