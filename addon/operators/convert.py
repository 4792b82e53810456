"""Convert a range of frames to another way of holding, a piece at a time so that the window lives; Esc stops it."""

from __future__ import annotations

from typing import Any

import bpy

from .. import convert, rig, selection, subjects
from ..holds import MODES
from ..selection import BOTH
from .common import OnArms, attempt, set_by_button
from .stepping import Stepped, passed_on, shown_range

KEYS = [
    (convert.EVERY, "Every frame", "A key on every frame of the range"),
    (convert.FEWEST, "Only where needed", "As few keys as keep the pose within the tolerance"),
]


def _modes() -> list[tuple[str, str, str]]:
    return [(key, mode.label, mode.help) for key, mode in MODES.items()]


class _Range(OnArms):
    """What both operators ask for: the part of an operator that they share."""

    mode: bpy.props.EnumProperty(name="Hold", items=_modes(), default="hand")  # type: ignore[valid-type]
    first: bpy.props.IntProperty(name="First", default=1, description="First frame of the range")  # type: ignore[valid-type]
    last: bpy.props.IntProperty(name="Last", default=250, description="Last frame of the range")  # type: ignore[valid-type]
    keys: bpy.props.EnumProperty(name="Keys", items=KEYS)  # type: ignore[valid-type]
    tolerance: bpy.props.FloatProperty(  # type: ignore[valid-type]
        name="Tolerance",
        default=0.001,
        min=0.0,
        subtype="DISTANCE",
        precision=4,
        description="How far a joint may be off where there is no key; with keys only where needed",
    )

    def chosen(self) -> dict[str, Any]:
        """The options as they are."""
        return {name: getattr(self, name) for name in ("arm", "mode", "first", "last", "keys", "tolerance")}

    def request(self, subject: subjects.Subject) -> convert.Request:
        """The options, for the conversion."""
        return convert.Request(self.arms(subject), self.mode, self.first, self.last, self.keys, self.tolerance)


class ARMWRIGHT_OT_convert_range(_Range, Stepped, bpy.types.Operator):  # type: ignore[misc]
    """Change what the arms hold over a range of frames, with every pose kept; Esc stops and takes everything back"""

    bl_idname = "armwright.convert_range"
    bl_label = "Convert range"
    bl_options = {"REGISTER", "UNDO"}

    DONE = convert.Converted
    ESC = "stop, keep all as it was"
    STOPPED = "Stopped; everything is as it was"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """From beginning to end at once."""

        def work() -> str:
            subject = self.subject(context)
            return convert.convert_whole(subject, self.request(subject)).sentence()

        return attempt(self, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        def begin() -> Any:
            subject = self.subject(context)
            return convert.convert(subject, self.request(subject))

        return self.started(context, begin)


class ARMWRIGHT_OT_ask_range(_Range, bpy.types.Operator):
    """Change what the arms hold over a range of frames, with every pose kept; asks for the range first"""

    bl_idname = "armwright.ask_range"
    bl_label = "Convert range"
    bl_options = {"INTERNAL", "UNDO"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        self.first, self.last = shown_range(context.scene)
        armature = selection.armature_of(context)
        if not set_by_button(self, "arm") and not selection.selected_arms(armature, rig.read_record(armature)):
            self.arm = BOTH
        return context.window_manager.invoke_props_dialog(self)

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.prop(self, "arm")
        layout.prop(self, "mode")
        column = layout.column(align=True)
        column.prop(self, "first")
        column.prop(self, "last")
        layout.prop(self, "keys")
        row = layout.row()
        row.enabled = self.keys == convert.FEWEST
        row.prop(self, "tolerance")

    def execute(self, context: bpy.types.Context) -> set[str]:
        return passed_on(self, bpy.ops.armwright.convert_range, self.chosen())  # type: ignore[attr-defined]
