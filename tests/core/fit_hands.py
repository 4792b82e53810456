"""Bodies with fingers whose joints are known: one skin on a grid that is fine around the hands, or separate tubes.

Proportions of the fingers are those of the handbook (`hand_proportions`), drawn around for each body; how far the skin
between two fingers reaches beyond their knuckles is common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from fit_bodies import Array, Field, Made, Shape, Truth, _loft, add_body, bounds_of, mirror_of, truth_of, tubes

SEED = 41
# Across towards the thumb, along to the knuckle, the bones; all over the hand's length.
FOUR = {
    "index": (0.150, 0.525, (0.212, 0.119, 0.084)),
    "middle": (0.035, 0.530, (0.237, 0.140, 0.093)),
    "ring": (-0.080, 0.500, (0.220, 0.137, 0.092)),
    "little": (-0.185, 0.455, (0.174, 0.096, 0.085)),
}
THREE = {
    "finger_1": (0.15, 0.51, (0.22, 0.13, 0.10)),
    "finger_2": (0.0, 0.53, (0.237, 0.14, 0.093)),
    "finger_3": (-0.16, 0.47, (0.21, 0.12, 0.10)),
}
TWO = {"finger_1": (0.11, 0.53, (0.237, 0.14, 0.093)), "finger_2": (-0.13, 0.50, (0.22, 0.13, 0.10))}
THUMB = (0.10, 0.12, (0.246, 0.168, 0.115))
SETS = {5: (FOUR, True), 4: (THREE, True), 3: (TWO, True), -4: (FOUR, False), -3: (THREE, False)}
# The skin between two fingers, from the knuckles on, over the first bone.
WEB = 0.45


@dataclass(frozen=True)
class Hand:
    """Which fingers, how far they fan out (degrees from first to last) and close (degrees a joint), and how thick."""

    kind: int = 5
    fan: float = 24.0
    curl: float = 8.0
    thick: float = 1.0
    stray: float = 0.0
    seed: int = 0


def with_fingers(truth: Truth, shape: Shape, hand: Hand) -> Truth:
    """The left arm with the joints of its fingers; its hand ends at the middle or longest finger's tip."""
    rng = np.random.default_rng(hand.seed)
    fore = (truth.wrist - truth.elbow) / np.linalg.norm(truth.wrist - truth.elbow)
    axes = np.stack([truth.thumb, fore, truth.palm])
    size = shape.hand * shape.stature
    table, thumb = SETS[hand.kind]
    fingers: dict[str, Array] = {}
    if thumb:
        aside, ahead = math.radians(42.0), math.radians(14.0)
        way = np.array([math.sin(aside), math.cos(aside) * math.cos(ahead), math.sin(ahead)])
        # Its last bone closes over the palm and towards the fingers.
        bent = _turn(np.cross(way, np.array([-1.0, 0.0, 1.0])), math.radians(0.8 * hand.curl))
        across, along, bones = THUMB
        fingers["thumb"] = _chain(np.array([across, along, 0.0]), way, (np.eye(3), bent, bent), bones, rng, hand.stray)
    middle = sum(across for across, _, _ in table.values()) / len(table)
    breadth = max(across for across, _, _ in table.values()) - min(across for across, _, _ in table.values())
    for name, (across, along, bones) in table.items():
        aside = math.radians(hand.fan) * (across - middle) / breadth
        way = np.array([math.sin(aside), math.cos(aside), 0.0])
        hinge = np.cross(way, np.array([0.0, 0.0, 1.0]))
        bends = tuple(_turn(hinge, math.radians(share * hand.curl)) for share in (0.5, 1.0, 0.7))
        fingers[name] = _chain(np.array([across, along, 0.0]), way, bends, bones, rng, hand.stray)
    fingers = {name: truth.wrist + size * joints @ axes for name, joints in fingers.items()}
    reach = {name: float((joints[-1] - truth.wrist) @ fore) for name, joints in fingers.items()}
    inner = list(table)[1:-1] if len(table) == 3 else ["middle"] if "middle" in table else list(table)
    longest = max(inner, key=lambda name: reach[name])
    return replace(truth, fingers=fingers, hand_end=fingers[longest][-1])


def _turn(axis: Array, angle: float) -> Array:
    x, y, z = axis / np.linalg.norm(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * cross @ cross)


def _chain(root: Array, way: Array, bends: tuple, bones: tuple, rng: np.random.Generator, stray: float) -> Array:
    points = [root * (1.0 + stray * rng.uniform(-1.0, 1.0))]
    for bend, bone in zip(bends, bones, strict=True):
        way = bend @ way
        points.append(points[-1] + bone * (1.0 + stray * rng.uniform(-1.0, 1.0)) * way)
    return np.array(points)


# ---- one skin ----


class GradedField(Field):
    """A field on a grid whose lines stand closer in some places; `surface` is the same, then moved onto the lines."""

    def __init__(self, lines: list[Array]) -> None:
        self.lines = lines
        self.size = np.array([len(line) for line in lines])
        self.value = np.full(self.size, 1e3)
        self.low, self.cell = np.zeros(3), 1.0
        self.margin = 0.0

    def add(self, distance: object, low: Array, high: Array, blend: object) -> None:
        first = np.array([np.searchsorted(line, a - self.margin) for line, a in zip(self.lines, low, strict=True)])
        last = np.array([np.searchsorted(line, b + self.margin) for line, b in zip(self.lines, high, strict=True)])
        first = np.maximum(first - 2, 0)
        last = np.minimum(last + 2, self.size)
        block = tuple(slice(a, b) for a, b in zip(first, last, strict=True))
        axes = [line[part] for line, part in zip(self.lines, block, strict=True)]
        points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
        old, new = self.value[block], distance(points)
        k = np.maximum(blend(points) if callable(blend) else blend, 1e-9)
        share = np.clip(0.5 + 0.5 * (old - new) / k, 0.0, 1.0)
        self.value[block] = old * (1 - share) + new * share - k * share * (1 - share)

    def surface(self) -> tuple[Array, Array]:
        points, faces = super().surface()
        at = [np.interp(points[:, k], np.arange(len(line)), line) for k, line in enumerate(self.lines)]
        return np.stack(at, axis=1), faces


def _lines(low: float, high: float, coarse: float, spans: list[tuple[float, float]], fine: float) -> Array:
    places = [low]
    while places[-1] < high:
        inside = any(a - coarse < places[-1] < b for a, b in spans)
        places.append(places[-1] + (fine if inside else coarse))
    return np.array(places)


def fingered(shape: Shape, hand: Hand, fine: float = 0.0014, noise: float = 0.0, seed: int = 0) -> Made:
    """One skin; the grid's lines are `fine` apart around the hands, over the stature, as is the noise."""
    h = shape.stature
    truth = with_fingers(truth_of(shape), shape, hand)
    low, high = bounds_of(shape, truth)
    points = np.concatenate([truth.wrist[None], *truth.fingers.values()])
    start, end = points.min(axis=0) - 0.012 * h, points.max(axis=0) + 0.012 * h
    spans = [[(start[k], end[k])] + ([(-end[0], -start[0])] if k == 0 else []) for k in range(3)]
    field = GradedField([_lines(low[k], high[k], 0.011 * h, spans[k], fine * h) for k in range(3)])
    field.margin = 0.05 * h
    add_body(field, shape, truth, lambda body, arm, _: _add_hand(body, arm, h, hand.thick))
    vertices, faces = field.surface()
    if noise:
        vertices = vertices + np.random.default_rng(seed).normal(0.0, noise * h, vertices.shape)
    return Made(vertices, faces, {"L": truth, "R": mirror_of(truth)})


def _add_hand(body: Field, arm: Truth, h: float, thick: float) -> None:
    names = [name for name in arm.fingers if name != "thumb"]
    roots = [arm.fingers[name] for name in names]
    size = float(np.linalg.norm(roots[0][0] - arm.wrist)) / 0.53
    heel = [arm.wrist + 0.1 * (joints[0] - arm.wrist) for joints in roots]
    for base, joints in zip(heel, roots, strict=True):
        body.cone(base, joints[0], 0.0105 * h, 0.0085 * h, 0.006 * h)
    webs = [joints[0] + WEB * (joints[1] - joints[0]) for joints in roots]
    for a, b, first, second in zip(webs, webs[1:], roots, roots[1:], strict=False):
        body.cone(a, b, 0.004 * h, 0.004 * h, 0.0025 * h)
        body.cone(first[0], second[0], 0.007 * h, 0.007 * h, 0.004 * h)
    for joints in roots:
        _add_finger(body, joints, 0.0056 * h * thick, 0.0042 * h * thick, 0.0015 * h)
    if "thumb" in arm.fingers:
        joints = arm.fingers["thumb"]
        body.cone(joints[0], joints[1], 0.0105 * h, 0.0075 * h, 0.005 * h)
        inside = roots[0][0] - 0.15 * size * _unit(roots[0][0] - arm.wrist)
        body.cone(joints[0] + 0.75 * (joints[1] - joints[0]), inside, 0.005 * h, 0.006 * h, 0.004 * h)
        _add_finger(body, joints[1:], 0.0068 * h * thick, 0.0052 * h * thick, 0.002 * h)


def _add_finger(body: Field, joints: Array, first: float, last: float, blend: float) -> None:
    """Cones through the joints; the last one's round end is at the tip."""
    tip = joints[-1] - last * _unit(joints[-1] - joints[-2])
    line = [*joints[:-1], tip]
    radii = np.linspace(first, last, len(line))
    for a, b, ra, rb in zip(line, line[1:], radii, radii[1:], strict=False):
        body.cone(a, b, float(ra), float(rb), blend)


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector))


# ---- separate tubes ----


def tube_fingers(shape: Shape, hand: Hand, sides: int = 6) -> Made:
    """The tubes of `fit_bodies`; each finger is a tube of `sides` corners of its own."""
    h = shape.stature
    truth = with_fingers(truth_of(shape), shape, hand)
    # The palm of the plain hand, cut short: it reaches as far as the skin between the fingers does.
    short = tubes(replace(shape, hand=0.60 * shape.hand), sides=10)
    parts = [(short.vertices, [list(face) for face in short.faces])]
    for arm in (truth, mirror_of(truth)):
        for name, joints in arm.fingers.items():
            thick = (0.0070 if name == "thumb" else 0.0054) * h * hand.thick
            along = np.concatenate([np.linspace(a, b, 3)[:-1] for a, b in pairwise(joints)])
            line = np.concatenate([along, joints[-1:]])
            radii = np.linspace(thick, 0.72 * thick, len(line))[:, None] * np.ones((1, 2))
            radii[-1] *= 0.4
            parts.append(_loft(line, radii, arm.thumb, arm.palm, sides))
    faces, start = [], 0
    for points, polygons in parts:
        faces += [[start + corner for corner in polygon] for polygon in polygons]
        start += len(points)
    return Made(np.concatenate([points for points, _ in parts]), faces, {"L": truth, "R": mirror_of(truth)})


# ---- fewer polygons ----


def gathered(made: Made, cell: float) -> Made:
    """Vertices of one cell of a lattice become one: fewer and uneven polygons, some of them not manifold."""
    key = np.floor(made.vertices / cell).astype(int)
    _, where = np.unique(key, axis=0, return_inverse=True)
    where = np.asarray(where).reshape(-1)
    count = np.bincount(where)
    points = np.stack([np.bincount(where, made.vertices[:, k]) / count for k in range(3)], axis=1)
    faces = np.asarray(made.faces)
    triangles = where[np.concatenate([faces[:, [0, 1, 2]], faces[:, [0, 2, 3]]])]
    apart = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return replace(made, vertices=points, faces=triangles[apart])
