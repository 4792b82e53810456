"""Bodies with known joints, made by script, for the tests of reading joints from a mesh.

Two makers: `skin` draws one closed surface around a field of blended solids (surface nets on a grid), `tubes` sets
lofted tubes side by side, few polygons, separate parts. Neither shares code with what reads the joints.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Shape:
    """A body: lengths over its stature, angles in degrees.

    `lowered` is the upper arm's angle below horizontal, `flexion` the elbow's, forwards, `roll` the hand's about its
    length.
    """

    stature: float = 1.75
    lowered: float = 45.0
    flexion: float = 0.0
    roll: float = 0.0
    upper_arm: float = 0.186
    forearm: float = 0.146
    hand: float = 0.108
    half_breadth: float = 0.122
    chest: float = 0.092
    stout: float = 1.0
    fingers: bool = False
    thumb: bool = True
    turn: float = 0.0


@dataclass(frozen=True)
class Truth:
    """The left arm's joints and palm; the right one's are its mirror image. `fingers`: joints by name, root first."""

    shoulder: Array
    elbow: Array
    wrist: Array
    hand_end: Array
    palm: Array
    thumb: Array
    length: float
    fingers: dict[str, Array] = field(default_factory=dict)


@dataclass(frozen=True)
class Made:
    """A mesh and the joints that it was made around, by side."""

    vertices: Array
    faces: Any
    arms: dict[str, Truth]
    name: str = ""
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    front: tuple[float, float, float] = (0.0, -1.0, 0.0)
    notes: dict[str, Any] = field(default_factory=dict)


def truth_of(shape: Shape) -> Truth:
    h, angle, bend = shape.stature, math.radians(shape.lowered), math.radians(shape.flexion)
    upper = np.array([math.cos(angle), 0.0, -math.sin(angle)])
    ahead = np.array([0.0, -1.0, 0.0])
    fore = math.cos(bend) * upper + math.sin(bend) * ahead
    palm = np.array([-math.sin(angle), 0.0, -math.cos(angle)])
    thumb = np.cross(palm, fore)
    roll = math.radians(shape.roll)
    palm, thumb = (
        math.cos(roll) * palm + math.sin(roll) * thumb,
        math.cos(roll) * thumb - math.sin(roll) * palm,
    )
    shoulder = np.array([shape.half_breadth * h, 0.0, 0.818 * h])
    elbow = shoulder + upper * shape.upper_arm * h
    wrist = elbow + fore * shape.forearm * h
    end = wrist + fore * shape.hand * h
    return Truth(shoulder, elbow, wrist, end, palm, thumb, (shape.upper_arm + shape.forearm) * h)


def mirror_of(truth: Truth) -> Truth:
    across = np.array([-1.0, 1.0, 1.0])
    return Truth(*(getattr(truth, n) * across for n in ("shoulder", "elbow", "wrist", "hand_end", "palm", "thumb")),
                 truth.length, {name: joints * across for name, joints in truth.fingers.items()})  # fmt: skip


# ---- one skin ----


class Field:
    """Signed distance on a grid; solids are added, each evaluated in its own neighbourhood."""

    def __init__(self, low: Array, high: Array, cell: float) -> None:
        self.low, self.cell = low, cell
        self.size = np.ceil((high - low) / cell).astype(int) + 1
        self.value = np.full(self.size, 1e3)

    def add(self, distance: Any, low: Array, high: Array, blend: Any) -> None:
        margin = 4 * self.cell + 0.05 * (1.0 if callable(blend) else max(1.0, blend))
        first = np.clip(((low - margin - self.low) / self.cell).astype(int), 0, self.size)
        last = np.clip(((high + margin - self.low) / self.cell).astype(int) + 2, 0, self.size)
        block = tuple(slice(a, b) for a, b in zip(first, last, strict=True))
        axes = [self.low[k] + self.cell * np.arange(first[k], last[k]) for k in range(3)]
        points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
        old, new = self.value[block], distance(points)
        k = np.maximum(blend(points) if callable(blend) else blend, 1e-9)
        share = np.clip(0.5 + 0.5 * (old - new) / k, 0.0, 1.0)
        self.value[block] = old * (1 - share) + new * share - k * share * (1 - share)

    def cone(self, a: Array, b: Array, ra: float, rb: float, blend: Any = 0.0, squash: Array | None = None) -> None:
        """A rounded cone; `squash` scales space about the segment first, so that sections are ellipses."""
        scale = np.ones(3) if squash is None else squash

        def distance(points: Array) -> Array:
            p, q, r = points / scale, a / scale, b / scale
            share = np.clip(((p - q) @ (r - q)) / ((r - q) @ (r - q)), 0.0, 1.0)
            gap = np.linalg.norm(p - q - share[..., None] * (r - q), axis=-1)
            return (gap - (ra + share * (rb - ra))) * scale.min()

        reach = max(ra, rb) * scale.max()
        self.add(distance, np.minimum(a, b) - reach, np.maximum(a, b) + reach, blend)

    def slab(self, centre: Array, axes: Array, halves: Array, blend: float = 0.0) -> None:
        """An ellipsoid with the rows of `axes`."""

        def distance(points: Array) -> Array:
            local = (points - centre) @ axes.T / halves
            size = np.linalg.norm(local, axis=-1)
            slope = np.linalg.norm(local / halves, axis=-1)
            return size * (size - 1.0) / np.maximum(slope, 1e-9)

        self.add(distance, centre - halves.max(), centre + halves.max(), blend)

    def surface(self) -> tuple[Array, Array]:
        """Vertices and quads (surface nets): a vertex in each cell that the surface passes, at its crossings' mean."""
        value = self.value
        inside = value < 0
        n = np.array(value.shape) - 1
        total, count = np.zeros((*n, 3)), np.zeros(n)
        quads = []
        number = np.arange(n.prod()).reshape(n)
        for axis in range(3):
            a = np.moveaxis(value, axis, 0)
            crossing = np.moveaxis(np.moveaxis(inside, axis, 0)[:-1] != np.moveaxis(inside, axis, 0)[1:], 0, axis)
            with np.errstate(divide="ignore", invalid="ignore"):
                share = np.moveaxis(a[:-1] / (a[:-1] - a[1:]), 0, axis)
            where = np.argwhere(crossing)
            place = where.astype(float)
            place[:, axis] += share[crossing]
            others = [k for k in range(3) if k != axis]
            ring = []
            keep = np.ones(len(where), bool)
            for da, db in ((0, 0), (1, 0), (1, 1), (0, 1)):
                cell = where.copy()
                cell[:, others[0]] -= da
                cell[:, others[1]] -= db
                keep &= ((cell >= 0) & (cell < n)).all(axis=1)
                ring.append(cell)
            for cell in ring:
                index = tuple(cell[keep].T)
                np.add.at(total, index, place[keep])
                np.add.at(count, index, 1)
            quads.append(np.stack([number[tuple(cell[keep].T)] for cell in ring], axis=1))
        faces = np.concatenate(quads)
        used, faces = np.unique(faces, return_inverse=True)
        points = total.reshape(-1, 3)[used] / count.reshape(-1)[used][:, None]
        return self.low + self.cell * points, faces.reshape(-1, 4)


def bounds_of(shape: Shape, truth: Truth) -> tuple[Array, Array]:
    """A box around the body."""
    h = shape.stature
    wide = max(truth.hand_end[0], truth.elbow[0], 0.2 * h) + 0.08 * h
    front = min(truth.hand_end[1], -0.15 * h) - 0.08 * h
    return np.array([-wide, front, -0.05 * h]), np.array([wide, 0.15 * h, 1.05 * h])


def skin(shape: Shape, vertices: int, noise: float = 0.0, seed: int = 0, arms: Sequence[str] = "LR") -> Made:
    """One surface with about `vertices` vertices; `noise` is a part of the stature."""
    truth = truth_of(shape)
    body = Field(*bounds_of(shape, truth), 0.8 * shape.stature / math.sqrt(vertices))
    points, faces = add_body(body, shape, truth, _hand, arms).surface()
    if noise:
        points = points + np.random.default_rng(seed).normal(0.0, noise * shape.stature, points.shape)
    return Made(points, faces, {side: arm for side, arm in (("L", truth), ("R", mirror_of(truth))) if side in arms})


def add_body(body: Field, shape: Shape, truth: Truth, add_hand: Any, arms: Sequence[str] = "LR") -> Field:
    """The body's solids; `add_hand(body, arm, shape)` adds a hand's."""
    h, s = shape.stature, shape.stout
    z = np.array([0.0, 0.0, 1.0])
    squash = np.array([1.0, 0.68, 1.0])
    chest = shape.chest * h
    body.cone(0.56 * h * z, 0.63 * h * z, 0.098 * h, 0.082 * h, 0.0, squash)
    body.cone(0.62 * h * z, 0.73 * h * z, 0.08 * h, chest, 0.05 * h, squash)
    body.cone(0.80 * h * z, 0.87 * h * z, 0.036 * h, 0.034 * h, 0.05 * h)
    body.slab(0.935 * h * z, np.eye(3), np.array([0.045, 0.055, 0.068]) * h, 0.01 * h)
    for side in (-1.0, 1.0):
        way = np.array([side, 1.0, 1.0])
        hip, knee, foot = (np.array(p) * h * way for p in ((0.052, 0, 0.52), (0.056, 0, 0.28), (0.06, 0.01, 0.04)))
        body.cone(hip, knee, 0.050 * h, 0.034 * h, 0.01 * h)
        body.cone(knee, foot, 0.034 * h, 0.022 * h, 0.01 * h)
        body.cone(foot, foot + np.array([0.01 * side, -0.09, -0.02]) * h, 0.022 * h, 0.016 * h, 0.01 * h)
        if "RL"[side > 0] not in arms:
            continue
        arm = truth if side > 0 else mirror_of(truth)
        # Trapezius and shoulder, then the arm; it blends with the body at the shoulder only.
        body.cone(np.array([0.02 * side, 0.01, 0.815]) * h, arm.shoulder, 0.036 * h, 0.034 * h * s, 0.03 * h)

        def blend(points: Array, shoulder: Array = arm.shoulder) -> Array:
            return 0.035 * h * np.clip(1.0 - np.linalg.norm(points - shoulder, axis=-1) / (0.13 * h), 0.0, 1.0)

        body.cone(arm.shoulder, arm.elbow, 0.033 * h * s, 0.025 * h * s, blend)
        fore = arm.wrist - arm.elbow
        belly = arm.elbow + 0.3 * fore
        body.cone(arm.elbow, belly, 0.025 * h * s, 0.026 * h * s, 0.004 * h)
        body.cone(belly, arm.wrist, 0.026 * h * s, 0.016 * h * s, 0.004 * h)
        add_hand(body, arm, shape)
    return body


def _hand(body: Field, arm: Truth, shape: Shape) -> None:
    h = shape.stature
    fore = (arm.wrist - arm.elbow) / np.linalg.norm(arm.wrist - arm.elbow)
    axes = np.stack([fore, arm.thumb, arm.palm])
    size = shape.hand * h
    palm_length = 0.55 * size if shape.fingers else size
    middle = arm.wrist + 0.5 * palm_length * fore
    halves = np.array([0.5 * palm_length + 0.004 * h, 0.026 * h, 0.0115 * h])
    body.slab(middle, axes, halves, 0.006 * h)
    if shape.fingers:
        for index, (across, share) in enumerate(((0.018, 0.93), (0.006, 1.0), (-0.006, 0.95), (-0.018, 0.8))):
            root = arm.wrist + 0.42 * size * fore + across * h * arm.thumb
            tip = arm.wrist + (share * size - 0.0062 * h) * fore + 1.25 * across * h * arm.thumb
            body.cone(root, tip, 0.0068 * h, 0.0062 * h, 0.002 * h if index == 0 else 0.0005 * h)
    if shape.thumb:
        root = arm.wrist + 0.2 * size * fore + 0.012 * h * arm.thumb
        tip = root + (0.32 * size) * fore + 0.034 * h * arm.thumb
        body.cone(root, tip, 0.009 * h, 0.0075 * h, 0.004 * h)


# ---- separate tubes ----


def tubes(shape: Shape, sides: int = 10, rings: int = 7) -> Made:
    """Separate parts of few polygons: torso, neck and head, legs, sleeves with the upper arms and forearms, hands."""
    h, s = shape.stature, shape.stout
    truth = truth_of(shape)
    parts = []
    up = np.array([0.0, 0.0, 1.0])
    side_axis, back = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])

    def stack(levels: list[tuple[float, float, float]]) -> None:
        centres = np.array([level * h * up for level, _, _ in levels])
        parts.append(_loft(centres, np.array([[a * h, b * h] for _, a, b in levels]), side_axis, back, 2 * sides))

    c = shape.chest
    stack([(0.47, 0.05, 0.04), (0.52, 0.1, 0.07), (0.62, 0.08, 0.06), (0.72, c, 0.065), (0.78, c + 0.008, 0.06),
           (0.82, c + 0.002, 0.045), (0.845, 0.05, 0.035)])  # fmt: skip
    stack([(0.83, 0.034, 0.034), (0.88, 0.036, 0.04), (0.93, 0.045, 0.055), (0.97, 0.04, 0.045), (1.0, 0.005, 0.005)])
    for way in (-1.0, 1.0):
        leg = np.array([[0.055 * way, 0, 0.50], [0.056 * way, 0, 0.28], [0.06 * way, 0, 0.05], [0.06 * way, -0.02, 0]])
        radii = np.array([[0.048] * 2, [0.033] * 2, [0.023] * 2, [0.02] * 2]) * h
        parts.append(_loft(leg * h, radii, side_axis, back, sides))
        arm = truth if way > 0 else mirror_of(truth)
        upper = (arm.elbow - arm.shoulder) / np.linalg.norm(arm.elbow - arm.shoulder)
        fore = (arm.wrist - arm.elbow) / np.linalg.norm(arm.wrist - arm.elbow)
        share = np.linspace(0.0, 1.0, rings)[:, None]
        gap = 0.12 if shape.flexion else 0.0
        # The sleeve starts inside the torso.
        centres = np.concatenate([
            (arm.shoulder - 0.4 * (arm.shoulder[0] * side_axis))[None],
            arm.shoulder + share * (1 - gap) * (arm.elbow - arm.shoulder),
            arm.elbow + (gap + share[1:] * (1 - gap)) * (arm.wrist - arm.elbow),
        ])  # fmt: skip
        size = np.concatenate([[0.03], np.linspace(0.034, 0.026, rings), np.linspace(0.026, 0.017, rings)[1:]]) * h * s
        parts.append(_loft(centres, np.stack([size, size], axis=1), back, np.cross(upper, back), sides))
        hand = arm.wrist + np.array([-0.06, 0.1, 0.4, 0.75, 0.97, 1.0])[:, None] * (arm.hand_end - arm.wrist)
        flat = np.array([[0.015, 0.012], [0.019, 0.012], [0.027, 0.012], [0.024, 0.01], [0.014, 0.007], [0.003] * 2])
        parts.append(_loft(hand, flat * h, arm.thumb, np.cross(fore, arm.thumb), sides))
    vertices = np.concatenate([points for points, _ in parts])
    faces, start = [], 0
    for points, polygons in parts:
        faces += [[start + corner for corner in polygon] for polygon in polygons]
        start += len(points)
    return Made(vertices, faces, {"L": truth, "R": mirror_of(truth)})


def _loft(centres: Array, radii: Array, first: Array, second: Array, sides: int) -> tuple[Array, list[list[int]]]:
    """A closed tube through elliptical rings; each ring is set upright to the line."""
    line = np.gradient(centres, axis=0)
    angles = np.arange(sides) * 2 * math.pi / sides
    rings = []
    for centre, (a, b), along in zip(centres, radii, line, strict=True):
        along = along / np.linalg.norm(along)
        x = first - along * (first @ along)
        if np.linalg.norm(x) < 0.1:
            x = second - along * (second @ along)
        x /= np.linalg.norm(x)
        y = np.cross(along, x)
        rings.append(centre + a * np.cos(angles)[:, None] * x + b * np.sin(angles)[:, None] * y)
    faces = [
        [r * sides + k, r * sides + (k + 1) % sides, (r + 1) * sides + (k + 1) % sides, (r + 1) * sides + k]
        for r in range(len(rings) - 1)
        for k in range(sides)
    ]
    faces += [list(range(sides))[::-1], [(len(rings) - 1) * sides + k for k in range(sides)]]
    return np.concatenate(rings), faces


# ---- the whole, moved ----


def moved(made: Made, scale: float = 1.0, rotation: Array | None = None, travel: Array | None = None) -> Made:
    """The same, scaled, then turned, then moved; its up and front directions turn with it."""
    turn = np.eye(3) if rotation is None else rotation
    shift = np.zeros(3) if travel is None else travel

    def place(points: Array) -> Array:
        return scale * points @ turn.T + shift

    arms = {
        side: replace(
            arm,
            **{name: place(getattr(arm, name)) for name in ("shoulder", "elbow", "wrist", "hand_end")},
            palm=turn @ arm.palm,
            thumb=turn @ arm.thumb,
            length=scale * arm.length,
            fingers={name: place(joints) for name, joints in arm.fingers.items()},
        )
        for side, arm in made.arms.items()
    }
    up, front = turn @ np.array(made.up), turn @ np.array(made.front)
    return replace(made, vertices=place(made.vertices), arms=arms, up=tuple(up), front=tuple(front))
