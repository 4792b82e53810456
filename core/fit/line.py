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
# Where a limb meets the torso its sections are cut aslant, and their thickness over breadth drops below this part of
# what it is in the limb's middle, between these parts of its length.
WHOLE_SECTION = 0.88
MIDDLE = (0.35, 0.75)
# Sectors that a section is looked at in, and how much farther than the radius a sector's surface may be.
SECTORS = 8
OPEN = 1.5
# Added sections after which a line's direction is its own.
SETTLED = 3


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

    The area weighs each patch, so an uneven mesh does not pull the line. `distance`, (P,), grows towards the tip.
    """
    own = limb.patches
    points, areas, levels = net.points[own], net.areas[own], distance[own]
    step = net.width
    count = max(4, int(limb.length / step))
    edges = np.linspace(levels.max(), limb.base, count + 1)
    band = np.clip(np.searchsorted(-edges, -levels, side="right") - 1, 0, count - 1)
    mass = np.bincount(band, areas, count)
    full = mass > 0.0
    sums = [np.bincount(band, areas * points[:, k], count) for k in range(3)]
    centres: Array = np.stack(sums, axis=1)[full].astype(np.float64) / mass[full][:, None]
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
        return np.asarray(line.points[-1] + (where - float(line.along[-1])) * directions_of(line.points)[-1])
    return np.array([np.interp(where, line.along, line.points[:, k]) for k in range(3)])


def whole_part(line: Line) -> Line:
    """The part of the line, from the tip, whose sections are whole: not yet cut aslant by the torso."""
    shape = line.thin / np.maximum(line.broad, 1e-30)
    middle = (line.along > MIDDLE[0] * line.along[-1]) & (line.along < MIDDLE[1] * line.along[-1])
    whole = shape >= WHOLE_SECTION * float(np.median(shape[middle])) if middle.any() else np.ones(len(shape), bool)
    end = len(whole)
    # From the torso outwards: further out, an elbow's sections may be aslant as well.
    while end > 4 and not (whole[end - 1] and whole[end - 2]):
        end -= 1
    # From the tip inwards: a thickness that drops all at once. Each is too early at times, neither too late.
    for index in range(5, len(whole)):
        usual = float(np.median(line.thin[index - 4 : index]))
        if line.along[index] > MIDDLE[0] * line.along[-1] and line.thin[index] < WHOLE_SECTION * usual:
            end = max(end, index)
            break
    # The last section's neighbourhood holds part of the cut already.
    keep = slice(0, max(4, end - 1))
    return Line(line.points[keep], line.along[keep], line.broad[keep], line.thin[keep])


def continued(net: Net, line: Line, whole: Line, longest: float) -> Line:
    """The part `whole` of `line` carried on inwards until a section opens into the torso, at most by `longest`.

    It starts in the direction of the whole part, or, where an elbow is just at its end, in that of the line beyond:
    a wrong direction soon leaves the arm, so the longer way is the right one.
    """
    ways = [_carried(net, whole, longest, None)]
    first = len(whole.along)
    for ahead in (first + 1, first + 3):
        if ahead < len(line.along):
            way = line.points[ahead] - whole.points[-1]
            ways.append(_carried(net, whole, longest, way / max(float(np.linalg.norm(way)), 1e-30)))
    return max(ways, key=lambda way: float(way.along[-1]))


def _carried(net: Net, line: Line, longest: float, towards: Array | None) -> Line:
    """The line carried on, at first in the direction `towards`.

    Each next section takes, in each sector around the axis, the surface nearest to it; all patches count, whatever
    limb they are of.
    """
    step = net.width
    points, radii = list(line.points), list(0.5 * (line.broad + line.thin))
    along = list(line.along)
    radius = float(np.median(radii[-5:]))
    while along[-1] - line.along[-1] < longest:
        # An elbow may be just behind: at first over few sections, then over more of those that were added.
        back = points[-1 - min(len(points) - 1, 2 + len(points) - len(line.points), 6)]
        direction = (points[-1] - back) / np.linalg.norm(points[-1] - back)
        added = len(points) - len(line.points)
        if towards is not None and added < SETTLED:
            share = added / SETTLED
            since = points[-1] - line.points[-1]
            direction = (1.0 - share) * towards + share * since / max(float(np.linalg.norm(since)), 1e-30)
            direction = direction / np.linalg.norm(direction)
        elif towards is not None:
            back = points[-1 - min(added, 6)]
            direction = (points[-1] - back) / np.linalg.norm(points[-1] - back)
        centre = points[-1] + step * direction
        offset = net.points - centre
        height = offset @ direction
        flat = offset - height[:, None] * direction
        away = np.linalg.norm(flat, axis=1)
        here = (np.abs(height) < 0.75 * step) & (away < 2.5 * radius)
        first = _across(direction)
        second = np.cross(direction, first)
        angle = np.arctan2(flat[here] @ second, flat[here] @ first)
        sector = np.floor((angle / (2.0 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
        ring = []
        for number in range(SECTORS):
            inside = sector == number
            nearest = float(away[here][inside].min()) if inside.any() else np.inf
            if nearest <= OPEN * radius:
                ring.append(flat[here][inside & (away[here] < nearest + 0.3 * radius)].mean(axis=0))
        if len(ring) < SECTORS:
            break
        moved = centre + np.mean(ring, axis=0)
        along.append(along[-1] + float(np.linalg.norm(moved - points[-1])))
        points.append(moved)
        radii.append(float(np.mean(np.linalg.norm(np.array(ring), axis=1))))
    rest = radii[len(line.points) :]
    return Line(
        np.array(points), np.array(along), np.concatenate([line.broad, rest]), np.concatenate([line.thin, rest])
    )


def _across(direction: Array) -> Array:
    """A unit at a right angle to `direction`."""
    axis = np.eye(3)[int(np.abs(direction).argmin())]
    across = axis - direction * float(axis @ direction)
    return np.asarray(across / np.linalg.norm(across))
