"""Joints of one finger on its centre line: where it bends, or by the lengths of the phalanges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..hand_proportions import FINGERS, THUMB
from .line import Line, along_line, straight
from .surface import Array

# The part of a finger that stands free of its neighbours, over its bones from the knuckle (common practice: the skin
# between fingers reaches half along the first phalanx).
FREE = 0.72
# The middle finger's bones over their sum, and the thumb's without its metacarpal (sources: hand_proportions.py).
SHARES = tuple(np.cumsum(FINGERS[1][3])[:-1] / sum(FINGERS[1][3]))
THUMB_SHARE = THUMB[2][1] / (THUMB[2][1] + THUMB[2][2])
# A joint is sought as far from its place by proportion as this, over the bones' sum.
SEARCH = 0.12
STEPS = 9
# A bend below this is noise of the line.
LEAST_BEND = math.radians(12.0)
# Sections at the root, in radii of the finger, are drawn aside by the skin between the fingers.
ROOT_RADII = 1.0


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


def finger_chain(line: Line, tip: Array) -> Chain:
    """Knuckle, two joints and `tip` of the finger with the centre line `line`, from its tip to the skin between."""
    path, free = _path(line, tip)
    begin = path[0] + _inwards(line) * free * (1.0 / FREE - 1.0)
    path = np.concatenate([begin[None], path])
    places, bends = _bends(path, SHARES)
    read = min(bends) > LEAST_BEND
    inner = places[1:-1] if read else _at(path, SHARES)
    joints = np.concatenate([path[:1], inner, path[-1:]])
    sure = 0.8 if read else 0.5
    curl, bend = _curl(joints if read else places)
    return Chain(joints, (True, not read, not read, False), (0.6, sure, sure, 0.95), curl, bend)


def thumb_chain(line: Line, tip: Array, root: Array) -> Chain:
    """Root, two joints and `tip` of a thumb; `root`, next to the wrist, is inside the palm and given."""
    path, _ = _path(line, tip)
    places, bends = _bends(path, (THUMB_SHARE,))
    read = bends[0] > LEAST_BEND
    inner = places[1:-1] if read else _at(path, (THUMB_SHARE,))
    joints = np.concatenate([root[None], path[:1], inner, path[-1:]])
    curl, bend = _curl(joints[1:] if read else places)
    return Chain(joints, (True, True, not read, False), (0.4, 0.6, 0.8 if read else 0.5, 0.95), curl, bend)


def _path(line: Line, tip: Array) -> tuple[Array, float]:
    """Points of the centre line from the free part's root to the tip, and the free part's length."""
    radius = float(np.median(0.5 * (line.broad + line.thin)))
    # The line's first sections are through the finger's round end, whose centres the tip replaces.
    free = float(line.along[-1])
    inside = (line.along > 0.8 * radius) & (line.along < free - ROOT_RADII * radius)
    points = line.points[inside] if inside.sum() >= 3 else line.points
    root = points[-1] + _inwards(line) * max(0.0, free - float(line.along[inside][-1] if inside.sum() >= 3 else free))
    return np.concatenate([root[None], points[::-1], tip[None]]), free


def _inwards(line: Line) -> Array:
    """Direction of the free part's inner half, unit, towards the hand."""
    free = float(line.along[-1])
    radius = float(np.median(0.5 * (line.broad + line.thin)))
    inner = (line.along > 0.5 * free) & (line.along < free - ROOT_RADII * radius)
    return straight(line.points[inner] if inner.sum() >= 3 else line.points[-4:])[1]


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
    angles = tuple(math.acos(min(1.0, max(-1.0, float(a @ b)))) for a, b in zip(ways, ways[1:], strict=False))
    return found, angles


def _curl(corners: Array) -> tuple[Array | None, float]:
    """Where the corners close to, and by how much in all."""
    ways = np.diff(corners, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    bend = math.acos(min(1.0, max(-1.0, float(ways[0] @ ways[-1]))))
    if bend < LEAST_BEND:
        return None, bend
    middle = ways.mean(axis=0)
    middle /= np.linalg.norm(middle)
    turn = ways[-1] - ways[0]
    turn = turn - middle * float(turn @ middle)
    return np.asarray(turn / np.linalg.norm(turn)), bend
