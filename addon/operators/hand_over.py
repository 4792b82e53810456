"""Hand the skin's skeleton over as a glTF file, a piece at a time so that the window lives; Esc stops it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from .. import hand_over, selection
from .common import OnRig, attempt
from .stepping import Stepped, passed_on, shown_range

FORMS = [
    (hand_over.TREE, "Tree", "Joints below joints, as the arm goes on; places and turns are exact, scale is left out"),
    (hand_over.FLAT, "Flat", "No joint below another; places, turns and the scale of a stretch are exact"),
]


class _Options(OnRig):
    """What both operators ask for."""

    filepath: bpy.props.StringProperty(subtype="FILE_PATH")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default="*.glb", options={"HIDDEN"})  # type: ignore[valid-type]
    # The file chooser then marks a name that is taken.
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]
    first: bpy.props.IntProperty(name="First", default=1, description="First frame of the range")  # type: ignore[valid-type]
    last: bpy.props.IntProperty(name="Last", default=250, description="Last frame of the range")  # type: ignore[valid-type]
    form: bpy.props.EnumProperty(name="Joints", items=FORMS)  # type: ignore[valid-type]
    arms_only: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Arms only", description="Leave the character's other bones out"
    )
    with_mesh: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Meshes", description="The meshes that the armature moves come along, with their weights"
    )
    replace: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Replace", description="Replace the file if it is there already", options={"SKIP_SAVE"}
    )

    def chosen(self) -> dict[str, Any]:
        """The options as they are."""
        names = ("filepath", "first", "last", "form", "arms_only", "with_mesh", "replace")
        return {name: getattr(self, name) for name in names}

    def request(self) -> hand_over.Request:
        """The options, for the work."""
        path = Path(bpy.path.abspath(self.filepath))
        return hand_over.Request(
            path if path.suffix else path.with_suffix(hand_over.SUFFIX),
            self.first,
            self.last,
            self.form,
            self.arms_only,
            self.with_mesh,
            self.replace,
        )


class ARMWRIGHT_OT_hand_over(_Options, Stepped, bpy.types.Operator):  # type: ignore[misc]
    """Write the bones that carry skin, baked on every frame of a range, as a glTF file; Esc stops"""

    bl_idname = "armwright.hand_over"
    bl_label = "Export skeleton"
    bl_options = {"REGISTER"}

    DONE = hand_over.HandedOver
    ESC = "stop, write nothing"
    STOPPED = "Stopped; nothing was written"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """From beginning to end at once."""
        return attempt(
            self, lambda: _told(lambda: hand_over.hand_over_whole(self.subject(context), self.request()).sentence())
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.started(context, lambda: hand_over.hand_over(self.subject(context), self.request()))

    def step(self) -> Any:
        return _told(super().step)


class ARMWRIGHT_OT_ask_hand_over(_Options, bpy.types.Operator):
    """Write the bones that carry skin, baked on every frame of a range, as a glTF file; asks for the file first"""

    bl_idname = "armwright.ask_hand_over"
    bl_label = "Export skeleton"
    bl_options = {"INTERNAL"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        self.first, self.last = shown_range(context.scene)
        if not self.filepath:
            name = bpy.path.clean_name(selection.armature_of(context).name)
            self.filepath = (
                bpy.path.abspath(f"//{name}{hand_over.SUFFIX}") if bpy.data.filepath else (f"{name}{hand_over.SUFFIX}")
            )
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        layout.use_property_split = True
        column = layout.column(align=True)
        column.prop(self, "first")
        column.prop(self, "last")
        layout.prop(self, "form")
        row = layout.row()
        row.enabled = not self.with_mesh
        row.prop(self, "arms_only")
        row = layout.row()
        row.enabled = not self.arms_only
        row.prop(self, "with_mesh")
        layout.prop(self, "replace")

    def execute(self, context: bpy.types.Context) -> set[str]:
        return passed_on(self, bpy.ops.armwright.hand_over, self.chosen())  # type: ignore[attr-defined]


def _told(work: Any) -> Any:
    """Run `work`; what the disk has against it becomes an error for people."""
    try:
        return work()
    except OSError as problem:
        raise ArmwrightError(f"{problem.filename}: {problem.strerror}: choose another folder") from problem
