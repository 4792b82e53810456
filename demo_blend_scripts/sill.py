"""The lookout's sill: a deep slab under the lamp room's window that faces the sea, where two palms find room."""

from __future__ import annotations

from .shaping import Sheet, add_box

# The slab's top over the floor, its front edge and back (world Y, as the window faces -Y), its half width; metres.
TOP = 0.90
FRONT, BACK = 0.640, 0.900
HALF_WIDTH = 0.46
THICKNESS = 0.060
BRACKETS = (-0.34, 0.34)


def add_sill(sheet: Sheet, paint: int, below: int) -> None:
    """The slab in material `paint`, on two stone brackets in material `below`."""
    depth = BACK - FRONT
    add_box(
        sheet,
        (0.0, 0.5 * (FRONT + BACK), TOP - 0.5 * THICKNESS),
        (2.0 * HALF_WIDTH, depth, THICKNESS),
        paint,
    )
    for side in BRACKETS:
        add_box(
            sheet,
            (side, BACK - 0.36 * depth, TOP - THICKNESS - 0.09),
            (0.08, 0.72 * depth, 0.18),
            below,
        )
