"""The centre line of a limb and its cross-sections, from the tip inwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .surface import Array, Net
from .walk import Limb

ROUNDS = 3
# Stations on each side that a station's direction is taken over.
SPAN = 2
# A cross-section has to hold this many patches to have a shape.
FEWEST_PATCHES = 4


@dataclass(frozen=True)
class Line:
    """Cross-sections of a limb, from the tip inwards.

    Attributes:
        points: centres, (N, 3).
        along: length of the line from the tip, (N,).
        broad, thin: half of the larger and of the smaller breadth, (N,).
    """

    points: Array
    along: Array
    broad: Array
    thin: Array


def centre_line(net: Net, limb: Limb, distance: Array) -> Line:
    """The centre line of `limb`: centroids of bands of equal distance from the torso, then of upright sections.

    The area weighs each patch, so an uneven mesh does not pull the line. `distance`, (P,), counts from the torso.
    """
    own = limb.patches
    points, areas, levels = net.points[own], net.areas[own], distance[own]
    step = net.width
    count = max(4, int(limb.length / step))
    edges = np.linspace(levels.max(), limb.base, count + 1)
    band = np.clip(np.searchsorted(-edges, -levels, side="right") - 1, 0, count - 1)
    mass = np.bincount(band, areas, count)
    full = mass > 0.0
    centres = np.stack([np.bincount(band, areas * points[:, k], count) for k in range(3)], axis=1)[full]
    centres /= mass[full][:, None]
    middles = (0.5 * (edges[1:] + edges[:-1]))[full]
    broad, thin = np.zeros(len(centres)), np.zeros(len(centres))
    for _ in range(ROUNDS):
        directions = directions_of(centres)
        moved = centres.copy()
        for index, (centre, direction, middle) in enumerate(zip(centres, directions, middles, strict=True)):
            near = np.abs(levels - middle) < 4.0 * step
            offset = points[near] - centre
            height = offset @ direction
            weight = areas[near] * np.clip(1.0 - np.abs(height) / (1.2 * step), 0.0, None)
            if np.count_nonzero(weight) < FEWEST_PATCHES:
                continue
            flat = offset - height[:, None] * direction
            mean = weight @ flat / weight.sum()
            moved[index] = centre + mean
            flat = flat - mean
            spread = np.linalg.eigvalsh((flat * weight[:, None]).T @ flat / weight.sum())
            # A ring of radius r has the variance r^2 / 2 along each axis of its plane.
            broad[index], thin[index] = np.sqrt(2.0 * np.clip(spread[[2, 1]], 0.0, None))
        centres = moved
    steps = np.linalg.norm(np.diff(centres, axis=0), axis=1)
    start = float(np.linalg.norm(centres[0] - net.points[limb.tip]))
    return Line(centres, start + np.concatenate([[0.0], np.cumsum(steps)]), broad, thin)


def directions_of(points: Array) -> Array:
    """Unit directions along a line of points, (N, 3), each over its neighbours."""
    last = len(points) - 1
    index = np.arange(len(points))
    span = points[np.minimum(index + SPAN, last)] - points[np.maximum(index - SPAN, 0)]
    return np.asarray(span / np.maximum(np.linalg.norm(span, axis=1), 1e-30)[:, None])


def straight(points: Array) -> tuple[Array, Array]:
    """Point and unit direction, first to last, of the straight line nearest to `points`, (N, 3)."""
    middle = points.mean(axis=0)
    axis = np.linalg.svd(points - middle, full_matrices=False)[2][0]
    return middle, np.asarray(axis if axis @ (points[-1] - points[0]) >= 0.0 else -axis)


def along_line(line: Line, where: float) -> Array:
    """The point of the line at a length from the tip, (3,); beyond its ends, straight on."""
    if where > line.along[-1]:
        return line.points[-1] + (where - float(line.along[-1])) * directions_of(line.points)[-1]
    return np.array([np.interp(where, line.along, line.points[:, k]) for k in range(3)])
