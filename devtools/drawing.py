"""Line drawings as .svg text, in the colours of the window."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = Sequence[float] | Array

# As in the window: what travels with the body, what is held, the shoulder; and what is only construction.
BODY, HELD, SHOULDER, INK, PALE = "#1f8a84", "#c97a12", "#7a55b5", "#222222", "#9a9a9a"


class Drawing:
    """Shapes of an .svg: `scale` pixels a unit, y up, `origin` the pixel of (0, 0)."""

    def __init__(self, width: int, height: int) -> None:
        self.size, self.items = (width, height), [f'<rect width="{width}" height="{height}" fill="#ffffff"/>']
        self.origin, self.scale = np.array([0.0, 0.0]), 1.0

    def frame(self, x: float, y: float, scale: float) -> None:
        """What follows is drawn with its (0, 0) at this pixel and so large."""
        self.origin, self.scale = np.array([x, y]), scale

    def at(self, point: Point) -> tuple[float, float]:
        """The pixel of a point."""
        x, y = self.origin + np.array([point[0], -point[1]]) * self.scale
        return float(x), float(y)

    def path(
        self, points: Iterable[Point], colour: str = INK, width: float = 2.0, dash: str = "", fill: str = "none"
    ) -> None:
        """A line through points."""
        pixels = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(self.at, points))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.items.append(
            f'<polyline points="{pixels}" fill="{fill}" stroke="{colour}" stroke-width="{width:g}"{dashed} '
            'stroke-linecap="round" stroke-linejoin="round"/>'
        )

    def dot(self, point: Point, colour: str = INK, size: float = 5.0) -> None:
        """A joint."""
        x, y = self.at(point)
        self.items.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" fill="{colour}"/>')

    def square(self, point: Point, colour: str = HELD, size: float = 6.0) -> None:
        """A hold."""
        x, y = self.at(point)
        edge = 2.0 * size
        self.items.append(
            f'<rect x="{x - size:.1f}" y="{y - size:.1f}" width="{edge:g}" height="{edge:g}" fill="none" '
            f'stroke="{colour}" stroke-width="2.5"/>'
        )

    def words(
        self, point: Point, text: str, dx: float = 0.0, dy: float = 0.0, colour: str = INK, anchor: str = "middle",
        size: float = 15.0, italic: bool = False,
    ) -> None:  # fmt: skip
        """Words beside a point, moved by pixels to the right and down. `_` in front of a letter lowers it."""
        x, y = self.at(point)
        style = ' font-style="italic"' if italic else ""
        self.items.append(
            f'<text x="{x + dx:.1f}" y="{y + dy:.1f}" fill="{colour}" font-size="{size:g}" text-anchor="{anchor}"'
            f"{style}>{escape(text)}</text>"
        )

    def arrow(self, start: Point, end: Point, colour: str = INK, width: float = 2.0) -> None:
        """A line with a head at its end."""
        self.path([start, end], colour, width)
        a, b = np.array(self.at(start)), np.array(self.at(end))
        along = (b - a) / np.linalg.norm(b - a)
        aside = np.array([-along[1], along[0]])
        corners = [b + along * 3.0, b - along * 9.0 + aside * 5.0, b - along * 9.0 - aside * 5.0]
        pixels = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
        self.items.append(f'<polygon points="{pixels}" fill="{colour}"/>')

    def text(self, title: str) -> str:
        """The file."""
        width, height = self.size
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
            f'height="{height}" font-family="DejaVu Sans, Helvetica, Arial, sans-serif" role="img">'
        )
        return "\n".join([head, f"<title>{escape(title)}</title>", *self.items, "</svg>"]) + "\n"
