"""Colours of joint markers in the viewport: read from the mesh, guessed, or a point that the hand rolls over."""

from __future__ import annotations

from typing import Any

import bpy

from .marker_objects import CONFIDENCE, GUESSED, find_markers, part_of

Colour = tuple[float, float, float, float]

# Blue and orange are told apart by nearly everybody; guesses have a shape of their own as well.
SURE: Colour = (0.10, 0.45, 0.95, 1.0)
UNSURE: Colour = (0.98, 0.80, 0.15, 1.0)
GUESS: Colour = (1.0, 0.42, 0.05, 1.0)
PIVOT: Colour = (0.60, 0.60, 0.65, 1.0)
# A joint read with less confidence than this is worth a look.
PLAIN = 0.6
POINT_SIZE = 9.0

_handle: Any = None


def colour_of(marker: bpy.types.Object) -> Colour | None:
    """The marker's colour; None for one that was not read from a mesh."""
    if CONFIDENCE not in marker:
        return PIVOT if part_of(marker).startswith("pivot.") else None
    if marker.get(GUESSED, False):
        return GUESS
    return SURE if float(marker[CONFIDENCE]) >= PLAIN else UNSURE


def points() -> tuple[list[tuple[float, float, float]], list[Colour]]:
    """Places and colours of the visible markers that have one."""
    shown = [marker for marker in find_markers().values() if marker.visible_get()]
    coloured = [(marker, colour_of(marker)) for marker in shown]
    return (
        [_place(marker) for marker, colour in coloured if colour is not None],
        [colour for _, colour in coloured if colour is not None],
    )


def _place(marker: bpy.types.Object) -> tuple[float, float, float]:
    at = marker.matrix_world.translation
    return at.x, at.y, at.z


def _draw() -> None:
    places, colours = points()
    if not places:
        return
    import gpu
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("FLAT_COLOR")
    gpu.state.point_size_set(POINT_SIZE)
    gpu.state.depth_test_set("NONE")
    batch_for_shader(shader, "POINTS", {"pos": places, "color": colours}).draw(shader)
    gpu.state.point_size_set(1.0)


def attach() -> None:
    """Draw in every viewport."""
    global _handle
    if not bpy.app.background:
        _handle = bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_VIEW")


def detach() -> None:
    """The mirror image of `attach`."""
    global _handle
    if _handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(_handle, "WINDOW")
    _handle = None
