"""Paints the shapes of core/proof/overlay.py over a 3D view."""

from __future__ import annotations

import math
from itertools import pairwise

import blf
import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader
from numpy.typing import NDArray

from ..core.proof.overlay import Circle, Overlay, View, laid_out
from . import host
from .one_check import Again

Array = NDArray[np.float64]
Colour = tuple[float, float, float, float]

COLOURS: dict[str, Colour] = {
    "arm": (0.93, 0.91, 0.84, 0.9),
    "slide": (0.86, 0.24, 0.16, 1.0),
    "leader": (0.93, 0.91, 0.84, 0.5),
    "bar": (0.93, 0.91, 0.84, 1.0),
    "wanted": (0.16, 0.62, 0.46, 1.0),
    "found": (0.86, 0.24, 0.16, 1.0),
    "spot": (0.93, 0.91, 0.84, 0.8),
    "lens": (0.93, 0.91, 0.84, 0.9),
}
FILL: Colour = (0.1, 0.12, 0.13, 0.82)
FILLED = ("found",)
STEPS = 48
TEXT = 13.0


def shapes(again: Again, matrix: Array, area: bpy.types.Area, region: bpy.types.Region) -> Overlay | None:
    """What to paint in a 3D view's region for a check; None where the arm is not in front of the view.

    `matrix` (4, 4) takes the armature's space to the world.
    """
    seen = host.matrix_to_numpy(region.data.perspective_matrix)
    view = View(seen, (float(region.width), float(region.height)), _zoom(), _free(area, region))
    return laid_out(again.check, again.trace, matrix, view)


def _free(area: bpy.types.Area, region: bpy.types.Region) -> tuple[float, float, float, float]:
    """What the toolbar and the sidebar leave of a region that they lie over."""
    left, right = 0.0, float(region.width)
    for other in area.regions:
        # One that is folded away is a pixel wide.
        if other.type == "TOOLS" and other.width > 1 and other.x < region.x + region.width // 2:
            left = max(left, float(other.x + other.width - region.x))
        if other.type == "UI" and other.width > 1 and other.x > region.x + region.width // 2:
            right = min(right, float(other.x - region.x))
    return left, 0.0, right, float(region.height)


def _zoom() -> float:
    return float(bpy.context.preferences.system.ui_scale)


def paint(made: Overlay) -> None:
    """Paint in the region that the host draws now, in its pixels."""
    gpu.state.blend_set("ALPHA")
    gpu.state.line_width_set(2.0)
    # The lens is over the arm, and what is in it over the lens.
    for circle in made.circles:
        if circle.kind == "lens":
            _disc(circle, FILL)
    for line in made.lines:
        _way(line.points, COLOURS[line.kind])
    for circle in made.circles:
        if circle.kind in FILLED:
            _disc(circle, COLOURS[circle.kind])
        else:
            _way(_round(circle), COLOURS[circle.kind])
    blf.size(0, TEXT * _zoom())
    for label in made.labels:
        x, y = label.place
        if label.centred:
            x -= blf.dimensions(0, label.words)[0] / 2.0
        for offset, colour in (((1.0, -1.0), (0.0, 0.0, 0.0, 0.8)), ((0.0, 0.0), COLOURS["bar"])):
            blf.color(0, *colour)
            blf.position(0, x + offset[0], y + offset[1], 0.0)
            blf.draw(0, label.words)
    gpu.state.line_width_set(1.0)
    gpu.state.blend_set("NONE")


def _way(points: tuple[tuple[float, float], ...], colour: Colour) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    batch = batch_for_shader(shader, "LINE_STRIP", {"pos": [(x, y, 0.0) for x, y in points]})
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _disc(circle: Circle, colour: Colour) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    rim = [(x, y, 0.0) for x, y in _round(circle)]
    middle = (*circle.centre, 0.0)
    corners = [corner for first, second in pairwise(rim) for corner in (middle, first, second)]
    batch = batch_for_shader(shader, "TRIS", {"pos": corners})
    shader.uniform_float("color", colour)
    batch.draw(shader)


def _round(circle: Circle) -> tuple[tuple[float, float], ...]:
    x, y = circle.centre
    angles = [2.0 * math.pi * step / STEPS for step in range(STEPS + 1)]
    return tuple((x + circle.radius * math.cos(angle), y + circle.radius * math.sin(angle)) for angle in angles)
