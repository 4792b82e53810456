"""Paints the shapes of core/proof/overlay.py over a 3D view."""

from __future__ import annotations

import math
from itertools import pairwise

import blf
import bpy
import gpu
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from ..core.proof.overlay import Circle, Line, Overlay, overlay
from ..core.proof.report.figures import held
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


def shapes(again: Again, matrix: Array, region: bpy.types.Region, view: bpy.types.RegionView3D) -> Overlay | None:
    """What to paint in a region for a check; None where the arm is not in front of the view.

    `matrix` (4, 4) takes the armature's space to the world.
    """
    points = [*again.trace.chain]
    wanted, found = held(again.trace)
    if wanted is not None and found is not None:
        points += [wanted, found]
    world = [Vector((matrix @ np.append(point, 1.0))[:3]) for point in points]
    flat = [location_3d_to_region_2d(region, view, point) for point in world]
    if any(point is None for point in flat):
        return None
    at = world[4] if len(world) > 4 else world[3]
    right = view.view_matrix.inverted().to_3x3().col[0]
    near = location_3d_to_region_2d(region, view, at)
    beside = location_3d_to_region_2d(region, view, at + right * 0.01)
    if near is None or beside is None:
        return None
    scale = (beside - near).length / 0.01
    pixels = np.array([list(point) for point in flat])
    slide = (world[5] - world[4]).length if len(world) > 4 else 0.0
    if not scale > 0.0:
        return None
    return overlay(
        again.check,
        pixels[:4],
        pixels[4] if len(pixels) > 4 else None,
        pixels[5] if len(pixels) > 4 else None,
        slide,
        scale,
        (float(region.width), float(region.height)),
    )


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
    scale = bpy.context.preferences.system.ui_scale
    blf.size(0, TEXT * scale)
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


__all__ = ["Line", "paint", "shapes"]
