"""Joints from the selected meshes: markers where they are, in one click."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import bpy

from ...core.fit.mesh import fit_mesh
from ...core.guide_check import check_guide
from .. import marker_objects
from ..read_mesh import character_surface
from .common import SKIP, attempt


class ARMWRIGHT_OT_read_joints(bpy.types.Operator):
    """Find arms, hands and fingers in the selected meshes and place a marker on every joint"""

    bl_idname = "armwright.read_joints"
    bl_label = "Find the joints in the mesh"
    bl_options = {"REGISTER", "UNDO"}

    again: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Replace the markers",
        description="Delete the markers that are there and place new ones",
        options=SKIP,
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if context.mode != "OBJECT" or not any(item.type == "MESH" for item in context.selected_objects):
            cls.poll_message_set("Select the character's mesh, or all its parts, in object mode")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        with _busy(context):
            return attempt(self, lambda: _read(context, self.again))


def _read(context: bpy.types.Context, again: bool) -> str:
    if not again:
        marker_objects.check_none()
    found = fit_mesh(*character_surface(context.selected_objects), "markers")
    # Nothing is touched before the guide is known to be good.
    warnings = (*found.warnings, *check_guide(found.guide))
    if again:
        marker_objects.take_away()
    marker_objects.place(found.guide, readings=found.readings, torso=True)
    context.scene.armwright_build.source = "markers"
    fingers = sum(len(arm.fingers) for arm in found.guide.arms)
    count = f"{len(found.guide.arms)} arms and {fingers} fingers found: look at the orange markers, then build"
    return count + "".join(f"; {warning}" for warning in warnings)


@contextmanager
def _busy(context: bpy.types.Context) -> Iterator[None]:
    """The busy cursor, where there is a window to show it in."""
    window = None if bpy.app.background else context.window
    if window is not None:
        window.cursor_modal_set("WAIT")
    try:
        yield
    finally:
        if window is not None:
            window.cursor_modal_restore()
