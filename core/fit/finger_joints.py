"""Joints of one finger on its centre line: where it bends, or by the lengths of the phalanges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..hand_proportions import FINGERS, THUMB
from .line import Line, along_line
from .surface import Array

# The part of a finger that stands free of its neighbours, over its bones from the knuckle (common practice: the skin
# between fingers reaches half along the first phalanx, and further next to a shorter finger).
FREE = 0.66
# A finger's bones over the way from the wrist to its tip (hand_proportions.py: 0.44 to 0.47).
BONES = 0.455
# The middle finger's bones over their sum, and the thumb's without its metacarpal (sources: hand_proportions.py).
SHARES = tuple(np.cumsum(FINGERS[1][3])[:-1] / sum(FINGERS[1][3]))
THUMB_SHARE = THUMB[2][1] / (THUMB[2][1] + THUMB[2][2])
# A joint is sought as far from its place by proportion as this, over the bones' sum.
SEARCH = 0.12
STEPS = 9
# A bend below the first is noise of the line; above the second, over the free part, the corners can be told.
LEAST_BEND, PLAIN_BEND = math.radians(12.0), math.radians(25.0)
# Sections nearer than this to the tip and to the skin between fingers, in radii of the finger, are not upright.
END_RADII, ROOT_RADII = 1.4, 0.6


@dataclass(frozen=True)
class Chain:
    """Joints from root to tip, (N, 3); for each whether it was guessed, and a confidence; where the finger closes to.

    `curl` is a unit, None where the finger is straight; `bend` is the angle of all its bends, radians.
    """

    joints: Array
    guessed: tuple[bool, ...]
    confidence: tuple[float, ...]
    curl: Array | None
    bend: float


def finger_chain(line: Line, surface: Array, wrist: Array) -> Chain:
    """Knuckle, two joints and tip of a finger.

    `line` is the centre line of its free part, `surface` its points, (N, 3). The knuckle is inside the
    palm: the mean of where the free part and the way from the wrist put it.
    """
    path, free, inwards, curve = _path(line, surface)
    bones = 0.5 * (free / FREE + BONES * (float(np.linalg.norm(path[0] - wrist)) + free))
    path = np.concatenate([path[:1] + inwards * max(bones - free, 0.1 * free), path])
    places, bends = _bends(path, SHARES)
    curl, bend = _curl(curve, free)
    read = bend > PLAIN_BEND and min(bends) > 0.5 * LEAST_BEND
    inner = places[1:-1] if read else _at(path, SHARES)
    joints = np.concatenate([path[:1], inner, path[-1:]])
    sure = 0.8 if read else 0.5
    return Chain(joints, (True, not read, not read, False), (0.6, sure, sure, 0.95), curl, bend)


def thumb_chain(line: Line, surface: Array, root: Array) -> Chain:
    """The same of a thumb, whose `root`, next to the wrist, is inside the palm and given."""
    path, free, _, curve = _path(line, surface)
    places, bends = _bends(path, (THUMB_SHARE,))
    curl, bend = _curl(curve, free)
    read = min(bend, bends[0]) > PLAIN_BEND
    inner = places[1:-1] if read else _at(path, (THUMB_SHARE,))
    joints = np.concatenate([root[None], path[:1], inner, path[-1:]])
    return Chain(joints, (True, True, not read, False), (0.4, 0.6, 0.8 if read else 0.5, 0.95), curl, bend)


def _path(line: Line, surface: Array) -> tuple[Array, float, Array, Array]:
    """Points of the centre line from the free part's root to the tip, the free part's length, where the bone at the
    root comes from (unit), and the line's curvature, (3,).

    Sections through the round end are aslant where the finger is closed, as are those at the skin between fingers:
    the line goes on as the parabola through the sections in between.
    """
    radius = float(np.median(0.5 * (line.broad + line.thin)))
    free = float(line.along[-1])
    inside = (line.along > END_RADII * radius) & (line.along < free - ROOT_RADII * radius)
    if inside.sum() < 4:
        inside = np.ones(len(line.along), bool)
    points, along = line.points[inside], line.along[inside]
    middle = 0.5 * (along[0] + along[-1])
    powers = np.stack([np.ones(len(along)), along - middle, (along - middle) ** 2], axis=1)
    _, slope, square = np.linalg.lstsq(powers, points, rcond=None)[0]

    def way(at: float) -> Array:
        direction = slope + 2.0 * square * (at - middle)
        return np.asarray(direction / np.linalg.norm(direction))

    outwards = -way(float(along[0]))
    tip = points[0] + outwards * float(((surface - points[0]) @ outwards).max())
    inwards = way(float(along[-1]))
    root = points[-1] + inwards * float(np.linalg.norm(line.points[-1] - points[-1]))
    path = np.concatenate([root[None], points[::-1], tip[None]])
    curve = 2.0 * square / float(slope @ slope)
    return path, float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum()), inwards, curve


def _at(path: Array, shares: tuple[float, ...]) -> Array:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    whole = Line(path, along, along, along)
    return np.array([along_line(whole, share * float(along[-1])) for share in shares])


def _bends(path: Array, shares: tuple[float, ...]) -> tuple[Array, tuple[float, ...]]:
    """Corners of the broken line nearest to `path`, its ends included, and the angle at each inner one.

    Every choice of corners near their places by proportion is tried; the corners' own places are a least-squares fit.
    """
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    along /= along[-1]
    # Even weight along the finger, however its sections are spaced.
    even = np.linspace(0.0, 1.0, 40)
    points = np.stack([np.interp(even, along, path[:, k]) for k in range(3)], axis=1)
    tries = [np.linspace(share - SEARCH, share + SEARCH, STEPS) for share in shares]
    best, found = math.inf, path[[0, -1]]
    for choice in np.stack(np.meshgrid(*tries, indexing="ij"), axis=-1).reshape(-1, len(shares)):
        knots = np.array([0.0, *choice, 1.0])
        if (np.diff(knots) < 0.08).any():
            continue
        hats = np.stack([np.interp(even, knots, np.eye(len(knots))[k]) for k in range(len(knots))], axis=1)
        corners = np.linalg.solve(hats.T @ hats, hats.T @ points)
        off = float(((hats @ corners - points) ** 2).sum())
        if off < best:
            best, found = off, corners
    ways = np.diff(found, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    angles = tuple(math.acos(min(1.0, max(-1.0, float(a @ b)))) for a, b in pairwise(ways))
    return found, angles


def _curl(curve: Array, free: float) -> tuple[Array | None, float]:
    """Where a finger with the curvature `curve` closes to, and by how much over its free part."""
    size = float(np.linalg.norm(curve))
    bend = size * free
    return (None, bend) if bend < LEAST_BEND else (curve / size, bend)
