"""What the host's window draws over a worst pose, as plain shapes in pixels of a region; the host only paints them.

Pixels count from the region's lower left corner, as the host's do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .report.figures import held
from .report.lens import LENS_SHARE, metric, times
from .report.summary import clean, quantity
from .results import Check, Trace

Array = NDArray[np.float64]

# Sizes in pixels of a screen of usual density.
RING, DOT, SPOT, BARB = 9.0, 4.0, 14.0, 6.0
LENS_RADIUS, EDGE = 80.0, 24.0
# A slide of so many pixels shows without a lens.
PLAIN = 18.0
BAR_PIXELS = 140.0
LINE_HEIGHT, TICK = 19.0, 4.0
# A point nearer to the viewer's own plane than this, in its depth, is not in front.
LEAST_DEPTH = 1e-9


@dataclass(frozen=True)
class View:
    """A region of the window that looks at the world.

    Attributes:
        matrix: (4, 4) from the world to the screen, columns act; x and y from -1 to 1 after division by w.
        size: width and height, pixels.
        zoom: of the interface, 1 on a screen of usual density.
        free: (left, bottom, right, top), pixels, of the part that no other region lies over; None for all of it.
    """

    matrix: Array
    size: tuple[float, float]
    zoom: float = 1.0
    free: tuple[float, float, float, float] | None = None


@dataclass(frozen=True)
class Line:
    """A way through points, pixels; `kind` is "arm", "slide", "leader" or "bar"."""

    points: tuple[tuple[float, float], ...]
    kind: str


@dataclass(frozen=True)
class Circle:
    """`kind` is "wanted" (a ring), "found" (a dot), "spot" (a ring round both) or "lens"."""

    centre: tuple[float, float]
    radius: float
    kind: str


@dataclass(frozen=True)
class Label:
    """Words that start at `place`, or are centred on it."""

    words: str
    place: tuple[float, float]
    centred: bool = False


@dataclass(frozen=True)
class Overlay:
    """Everything to paint, in order: lines, then circles, then labels."""

    lines: tuple[Line, ...]
    circles: tuple[Circle, ...]
    labels: tuple[Label, ...]


def laid_out(check: Check, trace: Trace, world: Array, view: View) -> Overlay | None:
    """The shapes for a check in a view; None where the arm is not in front of the viewer, or has no numbers.

    Args:
        trace: the check's.
        world: (4, 4) from the armature's space to the world, whose unit is the metre.
    """
    chain = _moved(world, np.asarray(trace.chain, float))
    wanted, found = held(trace)
    ends = None if wanted is None or found is None else (_moved(world, wanted), _moved(world, found))
    at = chain[-1] if ends is None else ends[0]
    arm = [_on_screen(point, view) for point in chain]
    spot, across = _on_screen(at, view), _across(at, view)
    if spot is None or across is None or any(place is None for place in arm):
        return None
    scale = float(np.linalg.norm(across, 2))
    if not np.isfinite(scale) or not scale > 0.0 or not np.isfinite(np.array(arm)).all():
        return None
    left, bottom, right, _ = view.free or (0.0, 0.0, *view.size)
    edge, zoom = EDGE * view.zoom, view.zoom
    lines = [Line(_points(np.array(arm)), "arm")]
    circles: list[Circle] = []
    labels = _words(check, left + edge, bottom + edge, zoom)
    if ends is not None:
        away = ends[1] - ends[0]
        # Next to each other both ends round to one pixel: the way between is followed by its derivative.
        near = spot + across @ away
        whole = float(np.linalg.norm(away)) * scale
        there = near if whole < PLAIN * zoom else _on_screen(ends[1], view)
        middle = np.array([right - edge - LENS_RADIUS * zoom, bottom + 2.0 * edge + LENS_RADIUS * zoom])
        shapes = _slide(spot, near if there is None else there, whole, scale, middle, zoom)
        lines += shapes.lines
        circles += shapes.circles
        labels += shapes.labels
    size, said = metric(BAR_PIXELS * zoom / scale)
    height = bottom + edge + (len(WORDS) + 1.0) * LINE_HEIGHT * zoom
    bar = _bar(left + edge + size * scale / 2.0, height, size * scale, said, zoom)
    return Overlay((*lines, *bar.lines), tuple(circles), (*labels, *bar.labels))


def _on_screen(point: Array, view: View) -> Array | None:
    """Pixels (2,) of a point (3,) of the world; None where it is not in front of the viewer."""
    place = view.matrix @ np.append(point, 1.0)
    if not place[3] > LEAST_DEPTH:
        return None
    return np.asarray((place[:2] / place[3] + 1.0) * 0.5 * np.array(view.size))


def _across(point: Array, view: View) -> Array | None:
    """(2, 3): pixels a metre of a way from `point`; None where it is not in front of the viewer."""
    place = view.matrix @ np.append(point, 1.0)
    if not place[3] > LEAST_DEPTH:
        return None
    slopes = (view.matrix[:2, :3] - np.outer(place[:2] / place[3], view.matrix[3, :3])) / place[3]
    return np.asarray(slopes * 0.5 * np.array(view.size)[:, None])


def _slide(wanted: Array, found: Array, whole: float, scale: float, middle: Array, zoom: float) -> Overlay:
    """Ring, dot and the way between; in a lens round `middle` where `whole`, its pixels, are too few to see."""
    if whole >= PLAIN * zoom or not whole > 0.0:
        return _pair(wanted, found, zoom)
    radius = LENS_RADIUS * zoom
    factor = radius * LENS_SHARE / whole
    towards = wanted - middle
    rim = middle + towards / max(float(np.hypot(*towards)), 1e-9) * radius
    inside = _pair(middle, middle + (found - wanted) * factor, zoom)
    size, said = metric(1.8 * radius / (scale * factor))
    bar = _bar(float(middle[0]), float(middle[1]) - radius - EDGE * zoom * 1.6, size * scale * factor, said, zoom)
    name = Label(f"enlarged {times(factor)}", (float(middle[0]), float(middle[1]) + radius + 10.0 * zoom), True)
    return Overlay(
        (Line(_points(np.stack([wanted, rim])), "leader"), *inside.lines, *bar.lines),
        (Circle(_point(wanted), SPOT * zoom, "spot"), Circle(_point(middle), radius, "lens"), *inside.circles),
        (name, *bar.labels),
    )


def _pair(wanted: Array, found: Array, zoom: float) -> Overlay:
    return Overlay(
        (Line(_points(np.stack([wanted, found])), "slide"), *_head(wanted, found, zoom)),
        (Circle(_point(wanted), RING * zoom, "wanted"), Circle(_point(found), DOT * zoom, "found")),
        (),
    )


def _head(wanted: Array, found: Array, zoom: float) -> tuple[Line, ...]:
    """An arrow's head half way, which neither ring nor dot covers; nothing where there is no room between them."""
    way = found - wanted
    reach = float(np.hypot(*way))
    if not reach > 2.0 * (RING + DOT) * zoom:
        return ()
    along = way / reach * BARB * zoom
    across = np.array([-along[1], along[0]]) * 0.6
    tip = wanted + way * 0.5 + along
    return (Line(_points(np.stack([tip - 1.6 * along + across, tip, tip - 1.6 * along - across])), "slide"),)


def _bar(middle: float, height: float, width: float, said: str, zoom: float) -> Overlay:
    """A scale bar of `width` pixels with its length written over it."""
    ends = ((middle - width / 2.0, height), (middle + width / 2.0, height))
    ticks = tuple(Line(((x, height - TICK * zoom), (x, height + TICK * zoom)), "bar") for x, _ in ends)
    return Overlay((Line(ends, "bar"), *ticks), (), (Label(said, (middle, height + 9.0 * zoom), True),))


WORDS = (
    "{requirement}: {measure} {value}, limit {limit}",
    "{motion}, {mode}, {label}, arm {arm}, frame {frame}",
    "ring: where it should be   dot: where it is   Esc: put everything back",
)


def _words(check: Check, left: float, bottom: float, zoom: float) -> list[Label]:
    """What is shown, in lines that end at the bottom."""
    value, limit = (quantity(number, check.unit, plain=True) for number in (check.value, check.limit))
    case = check.case
    said = {"requirement": check.requirement, "measure": check.measure, "value": value, "limit": limit}
    said |= {"motion": check.motion, "mode": case.mode, "label": case.label, "arm": check.arm}
    rows = [clean(words.format(**said, frame=check.worst_frame)) for words in WORDS]
    return [Label(text, (left, bottom + LINE_HEIGHT * zoom * (len(rows) - 1 - row))) for row, text in enumerate(rows)]


def _moved(world: Array, points: Array) -> Array:
    """Points (..., 3) by a matrix (4, 4)."""
    return np.asarray(points @ world[:3, :3].T + world[:3, 3])


def _points(points: Array) -> tuple[tuple[float, float], ...]:
    return tuple(_point(point) for point in points)


def _point(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])
