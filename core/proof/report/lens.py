"""What drawings of a slide share: ring, dot and the way between, a lens where it is too small to see, a scale bar."""

from __future__ import annotations

import html
import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from .summary import quantity

Array = NDArray[np.float64]

# Part of the lens's radius that the slide takes up.
LENS_SHARE = 0.72
# A lens that enlarges less than this explains nothing.
LEAST_FACTOR = 1.5


def slide(
    spot: Array,
    there: Array,
    middle: Array,
    radius: float,
    words: Callable[[float], tuple[float, str]],
    scale: float,
    whole: float,
) -> str:
    """A slide from `spot` to `there`, (2,) on the page, as parts of an SVG; with a lens if it is too small to see.

    Args:
        middle, radius: of the lens; what is in it is round the spot.
        words: the length of a bar, in units of what is drawn, of at most the length given, and its label.
        scale: page units of one of those units.
        whole: the slide in page units, with the part of it that goes along the view.
    """
    way = there - spot
    factor = radius * LENS_SHARE / whole if whole > 0.0 else math.inf
    if factor < LEAST_FACTOR or not math.isfinite(factor):
        return pair(spot, there)
    size, label = words(0.9 * radius / (factor * scale))
    # From the small ring to the lens's rim, on the side that looks at it.
    towards = spot - middle
    rim = middle + towards / max(float(np.hypot(*towards)), 1e-9) * radius
    width = size * scale * factor
    return (
        f'<path class="leader" d="M{spot[0]:.1f} {spot[1]:.1f}L{rim[0]:.1f} {rim[1]:.1f}"/>'
        f'<circle class="spot" cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="8"/>'
        f'<circle class="lens" cx="{middle[0]:g}" cy="{middle[1]:g}" r="{radius:g}"/>'
        + pair(middle, middle + way * factor)
        + f'<text class="part" x="{middle[0]:g}" y="{middle[1] - radius - 8:g}" text-anchor="middle">'
        f"enlarged {times(factor)}</text>" + bar(middle[0] - width / 2.0, middle[1] + radius + 18.0, width, label)
    )


def pair(wanted: Array, found: Array) -> str:
    """Ring, dot and the way from one to the other, on the page."""
    return (
        f'<path class="slide" d="M{wanted[0]:.1f} {wanted[1]:.1f}L{found[0]:.1f} {found[1]:.1f}"/>'
        f'<circle class="wanted" cx="{wanted[0]:.1f}" cy="{wanted[1]:.1f}" r="6"/>'
        f'<circle class="found" cx="{found[0]:.1f}" cy="{found[1]:.1f}" r="4"/>'
    )


def times(factor: float) -> str:
    """How much the lens enlarges, one digit: the bar is exact, this is for the eye."""
    if factor >= 1e6:
        return f"{quantity(float(f'{factor:.0e}'), '1')}×"
    return f"{float(f'{factor:.1g}' if factor >= 1 else f'{factor:.2g}'):,g}×"


def bar(x: float, y: float, width: float, label: str) -> str:
    """A scale bar with its label underneath."""
    return (
        f'<path class="bar" d="M{x:.1f} {y - 4:.1f}v8m0 -4h{width:.1f}m0 -4v8"/>'
        f'<text class="part" x="{x + width / 2:.1f}" y="{y + 15:.1f}" text-anchor="middle">{html.escape(label)}</text>'
    )


def nice(value: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten that is not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(factor * power for factor in (1.0, 2.0, 5.0) if factor * power <= value * (1.0 + 1e-9))


def metric(most: float) -> tuple[float, str]:
    """A bar of at most `most` metres: its length in metres, and in words of a rigger (`5 cm`, `0.2 mm`)."""
    size = nice(most)
    unit, metres = next(
        ((unit, metres) for unit, metres in (("m", 1.0), ("cm", 0.01), ("mm", 0.001)) if size >= 0.999 * metres),
        ("mm", 0.001),
    )
    return size, quantity(float(f"{size / metres:.6g}"), unit)
