"""A measure over the frames of a motion as an inline SVG: the limit as a line, the worst frame marked."""

from __future__ import annotations

import html
import math

import numpy as np
from numpy.typing import NDArray

from ..results import Check, Trace
from .summary import clean, quantity, superscript

Array = NDArray[np.float64]

WIDTH, HEIGHT = 480, 220
LEFT, RIGHT, TOP, BOTTOM = 56, 10, 40, 30
# More points than these can not be told apart at this width.
MOST_COLUMNS = 420
# A linear axis hides what is smaller than this part of the largest.
LINEAR_SPAN = 50.0
UNIT_NAMES = {"L": "arm lengths, L", "deg": "degrees", "1": "as a factor"}
# Decades shown below the smaller of the limit and the largest value; rounding noise further down says nothing.
MOST_DECADES = 3
# Smaller is drawn as 0: below it quotients run out of digits, and then out of doubles.
LEAST_SHOWN = 1e-290


def plot(check: Check, trace: Trace) -> str:
    """The `<svg>` of `trace.values`, which are of `check`; sizes are user units, the page scales it."""
    values = np.abs(np.asarray(trace.values, float))
    if not len(values):
        return ""
    logarithmic, low, high = _axis(values, check.limit)
    ticks = _ticks(logarithmic, low, high)
    label = clean(
        f"{check.measure} over {len(values)} frames: worst {quantity(check.value, check.unit)} at frame "
        f"{check.worst_frame}, limit {quantity(check.limit, check.unit)}"
    )
    return "".join(
        (
            f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{html.escape(label)}">',
            *(_grid(tick, logarithmic, _y(tick, logarithmic, low, high)) for tick in ticks),
            _unit(check.unit),
            _frames(len(values)),
            _limit(check, _y(check.limit, logarithmic, low, high)),
            _curve(values, logarithmic, low, high),
            _worst(check, values, logarithmic, low, high),
            "</svg>",
        )
    )


def _axis(values: Array, limit: float) -> tuple[bool, float, float]:
    """Whether the axis is logarithmic, and its ends, so that values and limit are inside."""
    finite = values[np.isfinite(values)]
    shown = np.append(finite, limit)
    positive = shown[shown > LEAST_SHOWN]
    if not len(positive):
        return False, 0.0, 1.0
    top = float(positive.max())
    # Above the square root of the largest double a decade more would overflow.
    if top / float(positive.min()) < LINEAR_SPAN or top > 1e150:
        return False, 0.0, min(top * 1.15, 1e300)
    deepest = min(limit or top, float(finite.max(initial=0.0)) or top) * 10.0**-MOST_DECADES
    least = max(float(positive.min()), deepest, LEAST_SHOWN)
    low, high = 10.0 ** math.floor(math.log10(least)), 10.0 ** math.ceil(math.log10(top * 1.2))
    return True, low, high


def _ticks(logarithmic: bool, low: float, high: float) -> list[float]:
    if logarithmic:
        first, last = round(math.log10(low)), round(math.log10(high))
        every = max(1, math.ceil((last - first) / 5))
        return [10.0**power for power in range(first, last + 1, every)]
    raw = high / 4.0
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw)
    return [step * index for index in range(int(high / step) + 1)]


def _y(value: float, logarithmic: bool, low: float, high: float) -> float:
    if logarithmic:
        # Quotients of the far ends of what a double holds would overflow.
        part = (math.log(max(value, low)) - math.log(low)) / (math.log(high) - math.log(low))
    else:
        part = (value - low) / (high - low)
    return TOP + (1.0 - min(max(part, 0.0), 1.0)) * (HEIGHT - TOP - BOTTOM)


def _x(index: float, count: int) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * (index / (count - 1) if count > 1 else 0.5)


def _grid(value: float, logarithmic: bool, y: float) -> str:
    # On the logarithmic axis ticks are powers of ten; small and large ones are shortest as such.
    power = round(math.log10(value)) if logarithmic else 0
    label = f"10{superscript(power)}" if not -2 <= power <= 3 else quantity(value, "1")
    return (
        f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
        f'<text class="tick" x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{label}</text>'
    )


def _unit(unit: str) -> str:
    """What the ticks count, over the axis."""
    name = UNIT_NAMES.get(unit, clean(unit))
    return f'<text class="tick" x="4" y="14">{html.escape(name)}</text>'


def _frames(count: int) -> str:
    """The frame axis: first and last frame, and what it is."""
    base = HEIGHT - BOTTOM
    middle = (LEFT + WIDTH - RIGHT) / 2
    last = f'<text class="tick" x="{WIDTH - RIGHT}" y="{base + 18}" text-anchor="end">{count - 1}</text>'
    return (
        f'<path class="axis" d="M{LEFT} {base}H{WIDTH - RIGHT}"/>'
        f'<text class="tick" x="{LEFT}" y="{base + 18}">0</text>{last if count > 1 else ""}'
        f'<text class="tick" x="{middle:g}" y="{base + 18}" text-anchor="middle">frame</text>'
    )


def _limit(check: Check, y: float) -> str:
    """The line, and over the plot, where no curve runs, what it stands for."""
    label = html.escape(f"limit {quantity(check.limit, check.unit)}")
    right = WIDTH - RIGHT
    return (
        f'<path class="limit" d="M{LEFT} {y:.1f}H{right}"/>'
        f'<text class="limit-text" x="{right}" y="14" text-anchor="end">- - {label}</text>'
    )


def _curve(values: Array, logarithmic: bool, low: float, high: float) -> str:
    """The curve, interrupted where there is no number; of many frames the largest of each column."""
    count = len(values)
    step = math.ceil(count / MOST_COLUMNS)
    parts: list[str] = []
    holes: list[str] = []
    pen = "M"
    for start in range(0, count, step):
        column = values[start : start + step]
        if not np.isfinite(column).all():
            x = _x(start + int(np.argmin(np.isfinite(column))), count)
            holes.append(f"M{x:.1f} {TOP}V{HEIGHT - BOTTOM}")
            pen = "M"
            continue
        at = start + int(np.argmax(column))
        place = f"{_x(at, count):.1f} {_y(float(values[at]), logarithmic, low, high):.1f}"
        # A move and a line to the same place draws a dot where a frame stands alone.
        parts.append(f"M{place}L{place}" if pen == "M" else f"L{place}")
        pen = "L"
    curve = f'<path class="curve" d="{"".join(parts)}"/>' if parts else ""
    return (f'<path class="hole" d="{"".join(holes)}"/>' if holes else "") + curve


def _worst(check: Check, values: Array, logarithmic: bool, low: float, high: float) -> str:
    """Mark and label of the worst frame; at the top if its value is no number."""
    if not 0 <= check.worst_frame < len(values):
        return ""
    value = float(values[check.worst_frame])
    x = _x(check.worst_frame, len(values))
    y = _y(value, logarithmic, low, high) if math.isfinite(value) else float(TOP)
    anchor, side = ("end", -9.0) if x > (LEFT + WIDTH - RIGHT) / 2 else ("start", 9.0)
    text_y = max(y - 9.0, 30.0)
    label = html.escape(f"frame {check.worst_frame}: {quantity(value, check.unit)}")
    return (
        f'<path class="drop" d="M{x:.1f} {y:.1f}V{HEIGHT - BOTTOM}"/>'
        f'<circle class="mark" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
        f'<text class="mark-text" x="{x + side:.1f}" y="{text_y:.1f}" text-anchor="{anchor}">{label}</text>'
    )
