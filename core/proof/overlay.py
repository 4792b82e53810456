"""What the host's window draws over a worst pose, as plain shapes in pixels of a region; the host only paints them.

Pixels count from the region's lower left corner, as the host's do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .report.lens import LENS_SHARE, metric, times
from .report.summary import quantity
from .results import Check

Array = NDArray[np.float64]

RING, DOT, SPOT = 9.0, 4.0, 14.0
LENS_RADIUS, LENS_PLACE = 80.0, (120.0, 150.0)
# A slide of so many pixels shows without a lens.
PLAIN = 18.0
BAR_PIXELS, BAR_PLACE = 140.0, 40.0
LINE_HEIGHT, TEXT_PLACE = 18.0, (90.0, 125.0)


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


def overlay(
    check: Check,
    arm: Array,
    wanted: Array | None,
    found: Array | None,
    slide_m: float,
    pixels_per_metre: float,
    size: tuple[float, float],
) -> Overlay:
    """The shapes for a check.

    Args:
        arm: (4, 2) clavicle, shoulder, elbow and wrist, pixels.
        wanted, found: (2,), where the held point should be and where it is, pixels; None for a check without a point.
        slide_m: distance between both, metres.
        pixels_per_metre: at the held point.
        size: width and height of the region.
    """
    lines = [Line(_points(arm), "arm")]
    circles: list[Circle] = []
    labels = _words(check, size)
    if wanted is not None and found is not None:
        shapes = _slide(wanted, found, slide_m, pixels_per_metre)
        lines += shapes.lines
        circles += shapes.circles
        labels += shapes.labels
    bar = _bar(size[0] / 2.0, BAR_PLACE, pixels_per_metre, BAR_PIXELS)
    return Overlay((*lines, *bar.lines), tuple(circles), (*labels, *bar.labels))


def _slide(wanted: Array, found: Array, slide_m: float, pixels_per_metre: float) -> Overlay:
    whole = slide_m * pixels_per_metre
    way = found - wanted
    pair = _pair(wanted, found)
    if whole >= PLAIN or not whole > 0.0:
        return pair
    factor = LENS_RADIUS * LENS_SHARE / whole
    middle = np.array(LENS_PLACE)
    towards = wanted - middle
    rim = middle + towards / max(float(np.hypot(*towards)), 1e-9) * LENS_RADIUS
    inside = _pair(middle, middle + way * factor)
    bar = _bar(LENS_PLACE[0], LENS_PLACE[1] - LENS_RADIUS - 24.0, pixels_per_metre * factor, 0.9 * LENS_RADIUS)
    return Overlay(
        (Line(_points(np.stack([wanted, rim])), "leader"), *inside.lines, *bar.lines),
        (Circle(_point(wanted), SPOT, "spot"), Circle(LENS_PLACE, LENS_RADIUS, "lens"), *inside.circles),
        (Label(f"enlarged {times(factor)}", (LENS_PLACE[0], LENS_PLACE[1] + LENS_RADIUS + 10.0), True), *bar.labels),
    )


def _pair(wanted: Array, found: Array) -> Overlay:
    return Overlay(
        (Line(_points(np.stack([wanted, found])), "slide"),),
        (Circle(_point(wanted), RING, "wanted"), Circle(_point(found), DOT, "found")),
        (),
    )


def _bar(middle: float, height: float, pixels_per_metre: float, most: float) -> Overlay:
    """A scale bar of at most `most` pixels."""
    length, words = metric(most / pixels_per_metre)
    half = length * pixels_per_metre / 2.0
    ends = ((middle - half, height), (middle + half, height))
    ticks = tuple(Line(((x, height - 4.0), (x, height + 4.0)), "bar") for x, _ in ends)
    return Overlay((Line(ends, "bar"), *ticks), (), (Label(words, (middle, height - 20.0), True),))


def _words(check: Check, size: tuple[float, float]) -> list[Label]:
    value, limit = (quantity(number, check.unit, plain=True) for number in (check.value, check.limit))
    lines = (
        f"{check.requirement}: {check.measure} {value}, limit {limit}",
        f"{check.motion}, {check.case.mode}, {check.case.label}, arm {check.arm}, frame {check.worst_frame}",
        "ring: where it should be   dot: where it is   Esc: put everything back",
    )
    x, below = TEXT_PLACE
    return [Label(text, (x, size[1] - below - LINE_HEIGHT * row)) for row, text in enumerate(lines)]


def _points(points: Array) -> tuple[tuple[float, float], ...]:
    return tuple(_point(point) for point in points)


def _point(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])
