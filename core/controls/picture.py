"""The controls as drawings: wires at rest seen from one direction, the body behind them, numbers beside them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .model import Colour, Control, Limb

Array = NDArray[np.float64]

# Of a drawing, in its own units: a number's radius, the gap between two, what is left free around the drawing.
RADIUS, GAP, MARGIN = 13.0, 4.0, 34.0
# How far a number may be from what it names, tried from near to far, and in how many directions.
REACHES = (26.0, 36.0, 48.0, 62.0, 80.0, 102.0, 130.0, 165.0, 210.0)
DIRECTIONS = 24
# What a place costs: each point of a wire under a number, a leader across another, and the way itself.
COST_WIRE, COST_CROSS, COST_WAY = 3.0, 60.0, 0.35
# Distance of the points that stand for a wire.
STEP = 4.0
# Around controls that are shown from near, the part of their extent in which the body is drawn.
ROOM = 0.35
# Height of a row of the silhouette.
ROW = 1.4
MOST_SAMPLES = 48


@dataclass(frozen=True)
class View:
    """Where a drawing is seen from.

    Attributes:
        title: below it.
        right, up: (3,) units, armature space: the drawing's right and top.
        width: of the drawing.
        height: the most that it may be.
        close: whether it shows the controls and what of the body is at them, and not all of it.
    """

    title: str
    right: Array
    up: Array
    width: float
    height: float
    close: bool = False


@dataclass(frozen=True)
class Callout:
    """A number at `place`, (2,), about what is drawn at `anchor`, (2,)."""

    number: int
    place: Array
    anchor: Array
    colour: str


def drawing(
    view: View,
    controls: Sequence[Control],
    numbers: Mapping[str, int],
    limbs: Sequence[Limb],
    triangles: Array,
) -> str:
    """An SVG of `controls`; `numbers` by bone, for those that get one. Nothing in it comes from a name."""
    flat = {control.bone: [_flat(view, line) for line in control.lines] for control in controls}
    lines = [line for lines in flat.values() for line in lines]
    points = np.concatenate(lines if view.close else [*lines, _flat(view, _extent(limbs, triangles))])
    if view.close and len(triangles):
        # Limbs stand in for a mesh; here there is one, if not at these controls.
        limbs, triangles = (), _at(controls, triangles)
    low, high = points.min(axis=0), points.max(axis=0)
    scale = min(
        (view.width - 2.0 * MARGIN) / max(high[0] - low[0], 1e-9),
        (view.height - 2.0 * MARGIN) / max(high[1] - low[1], 1e-9),
    )
    size = (high - low) * scale + 2.0 * MARGIN
    size[0] = view.width
    middle = np.array([(low[0] + high[0]) / 2.0, high[1]])

    def on_paper(values: Array) -> Array:
        return np.asarray((values - middle) * (scale, -scale) + (size[0] / 2.0, MARGIN))

    drawn = {bone: [on_paper(line) for line in lines] for bone, lines in flat.items()}
    colours = {control.bone: ink(control.colour) for control in controls}
    out = [
        f'<svg viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" role="img" aria-label="{view.title}">',
        _body(view, limbs, triangles, on_paper, scale, size),
    ]
    for control in controls:
        path = "".join(_path(line) for line in drawn[control.bone])
        out.append(f'<path class="wire" style="--own:{colours[control.bone]}" d="{path}"/>')
    callouts = place_callouts(drawn, numbers, colours, size)
    for callout in callouts:
        (x, y), (ax, ay) = callout.place, callout.anchor
        way = callout.place - callout.anchor
        end = callout.place - way / max(float(np.linalg.norm(way)), 1e-9) * RADIUS
        out.append(f'<path class="leader" d="M{ax:.1f} {ay:.1f}L{end[0]:.1f} {end[1]:.1f}"/>')
        out.append(f'<circle class="spot" cx="{ax:.1f}" cy="{ay:.1f}" r="2.5"/>')
        out.append(
            f'<g class="number" style="--own:{callout.colour}"><circle cx="{x:.1f}" cy="{y:.1f}" r="{RADIUS:g}"/>'
            f'<text x="{x:.1f}" y="{y:.1f}" dy=".36em">{callout.number}</text></g>'
        )
    out.append("</svg>\n")
    return "".join(out)


def place_callouts(
    drawn: Mapping[str, Sequence[Array]], numbers: Mapping[str, int], colours: Mapping[str, str], size: Array
) -> list[Callout]:
    """A place for each number near what it names: none over another, on the paper, as few wires under them as can be.

    `drawn`: each bone's lines (K, 2) on the paper, which is `size` large.
    """
    wires = np.concatenate([_along(line) for lines in drawn.values() for line in lines])
    middle = wires.mean(axis=0)
    anchors = {bone: _anchor(drawn[bone], middle) for bone in numbers if bone in drawn}
    # The most crowded first: those have the fewest places.
    spots = np.array(list(anchors.values())).reshape(-1, 2)
    crowd = {bone: float(np.sum(np.linalg.norm(spots - at, axis=1) < 60.0)) for bone, at in anchors.items()}
    placed: list[Callout] = []
    for bone in sorted(anchors, key=lambda name: (-crowd[name], numbers[name], name)):
        at = anchors[bone]
        places = np.array(list(_places(at, middle)))
        costs = _still_costs(places, at, wires, spots, size)
        # In the order of what does not depend on the others, so that most places need not be compared with them.
        best, least = places[0], math.inf
        for index in np.argsort(costs, kind="stable"):
            if costs[index] >= least:
                break
            cost = costs[index] + _cost(places[index], at, placed)
            if cost < least:
                best, least = places[index], cost
        placed.append(Callout(numbers[bone], best, at, colours[bone]))
    return sorted(placed, key=lambda callout: (callout.number, callout.place[0]))


def _places(at: Array, middle: Array) -> Iterator[Array]:
    outward = math.atan2(at[1] - middle[1], at[0] - middle[0])
    for reach in REACHES:
        for turn in range(DIRECTIONS):
            angle = outward + math.pi * (turn + 1) // 2 * (1 if turn % 2 else -1) * 2.0 / DIRECTIONS
            yield at + reach * np.array([math.cos(angle), math.sin(angle)])


def _still_costs(places: Array, at: Array, wires: Array, spots: Array, size: Array) -> Array:
    """What each of the places (K, 2) costs whatever the other numbers do."""
    inside = ((places >= RADIUS + 1.0) & (places <= size - RADIUS - 1.0)).all(axis=1)
    costs = np.where(inside, 0.0, 1e6 + np.abs(places - size / 2.0).sum(axis=1))
    costs += COST_WAY * np.linalg.norm(places - at, axis=1)
    for points, clear, cost in ((wires, RADIUS + 2.0, COST_WIRE), (spots, RADIUS + 4.0, COST_CROSS)):
        near = points[np.abs(points - at).max(axis=1) < REACHES[-1] + clear]
        apart = (near[:, 0] - places[:, :1]) ** 2 + (near[:, 1] - places[:, 1:]) ** 2
        costs += cost * np.sum(apart < clear * clear, axis=1)
    return np.asarray(costs)


def _cost(place: Array, at: Array, placed: Sequence[Callout]) -> float:
    """What a place costs beside the numbers that are there already."""
    cost = 0.0
    for other in placed:
        apart = float(np.linalg.norm(other.place - place))
        if apart < 2.0 * RADIUS + GAP:
            cost += 1e5 * (2.0 * RADIUS + GAP - apart)
        if _crosses(place, at, other.place, other.anchor):
            cost += COST_CROSS
        cost += 2.0 * COST_CROSS * float(_covers(other.place, other.anchor, place))
        cost += 2.0 * COST_CROSS * float(_covers(place, at, other.place))
    return cost


def _crosses(a: Array, b: Array, c: Array, d: Array) -> bool:
    def side(p: Array, q: Array, r: Array) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0


def _covers(start: Array, end: Array, disc: Array) -> bool:
    """Whether the line from `start` to `end` runs under a number at `disc`."""
    way = end - start
    share = float(np.clip((disc - start) @ way / max(float(way @ way), 1e-9), 0.0, 1.0))
    return bool(np.linalg.norm(start + share * way - disc) < RADIUS + 1.0)


def _anchor(lines: Sequence[Array], middle: Array) -> Array:
    """The point of a control's wires that is furthest from the middle of the drawing."""
    points = np.concatenate([_along(line) for line in lines])
    return np.asarray(points[np.argmax(np.linalg.norm(points - middle, axis=1))])


def _along(line: Array) -> Array:
    """Points along a polyline, STEP apart."""
    if len(line) < 2:
        return line
    parts = []
    for start, end in itertools.pairwise(line):
        count = max(1, math.ceil(float(np.linalg.norm(end - start)) / STEP))
        parts.append(start + (end - start) * np.linspace(0.0, 1.0, count + 1)[:, None])
    return np.concatenate(parts)


def _extent(limbs: Sequence[Limb], triangles: Array) -> Array:
    """Points that the body reaches to, (K, 3)."""
    if len(triangles):
        return triangles.reshape(-1, 3)
    return np.array([point for limb in limbs for point in (limb.head, limb.tail)]).reshape(-1, 3)


def _at(controls: Sequence[Control], triangles: Array) -> Array:
    """The triangles (T, 3, 3) that lie about `controls`, all of their corners in the room around them."""
    points = np.concatenate([line for control in controls for line in control.lines])
    low, high = points.min(axis=0), points.max(axis=0)
    room = ROOM * float((high - low).max())
    return np.asarray(triangles[((triangles > low - room) & (triangles < high + room)).all(axis=(1, 2))])


def _flat(view: View, points: Array) -> Array:
    return np.stack([points @ view.right, points @ view.up], axis=-1)


def _path(line: Array) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line)


def ink(colour: Colour | None) -> str:
    """A colour of the host as CSS; the paper's ink where there is none."""
    if colour is None or not all(math.isfinite(part) for part in colour):
        return "var(--ink)"
    return "#" + "".join(f"{round(255 * min(max(part, 0.0), 1.0)):02x}" for part in colour)


def _body(view: View, limbs: Sequence[Limb], triangles: Array, on_paper, scale: float, size: Array) -> str:  # type: ignore[no-untyped-def]
    if len(triangles):
        return _silhouette(on_paper(_flat(view, triangles.reshape(-1, 3))).reshape(-1, 3, 2), size)
    out = []
    for limb in limbs:
        (x, y), (tx, ty) = on_paper(_flat(view, np.stack([limb.head, limb.tail])))
        width = max(3.0, limb.width * scale)
        out.append(f'<path class="limb" stroke-width="{width:.1f}" d="M{x:.1f} {y:.1f}L{tx:.1f} {ty:.1f}"/>')
    return f"<g>{''.join(out)}</g>"


def _silhouette(triangles: Array, size: Array) -> str:
    """The body as rows of the paper that its triangles (T, 3, 2) cover."""
    rows, columns = (math.ceil(extent / ROW) + 1 for extent in (size[1], size[0]))
    mask = np.zeros((rows, columns), bool)
    longest = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=-1).max(axis=1)
    counts = np.clip(np.ceil(longest / (0.7 * ROW)), 1, MOST_SAMPLES).astype(int)
    for count in np.unique(counts):
        own = triangles[counts == count]
        first, second = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
        kept = first + second <= count
        a, b = first[kept] / count, second[kept] / count
        points = np.einsum("k,tc->tkc", 1.0 - a - b, own[:, 0])
        points += np.einsum("k,tc->tkc", a, own[:, 1]) + np.einsum("k,tc->tkc", b, own[:, 2])
        cells = np.floor(points.reshape(-1, 2) / ROW)
        inside = (cells >= 0).all(axis=1) & (cells < (columns, rows)).all(axis=1)
        at = cells[inside].astype(int)
        mask[at[:, 1], at[:, 0]] = True
    out = []
    for row, line in enumerate(mask):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        out += [
            f"M{start * ROW:g} {row * ROW:g}h{(end - start) * ROW:g}v{ROW:g}h-{(end - start) * ROW:g}z"
            for start, end in zip(edges[::2], edges[1::2], strict=True)
        ]
    return f'<path class="body" d="{"".join(out)}"/>'
