"""Convert a range of frames to another way of holding, a piece at a time so that the window lives; Esc stops it."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from .. import convert, prove, rig, selection, subjects
from ..holds import MODES
from ..selection import BOTH
from .common import OnArms, attempt, piece, set_by_button

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


class ARMWRIGHT_OT_convert_range(_Range, bpy.types.Operator):
    """Change what the arms hold over a range of frames, with every pose kept; Esc stops and takes everything back"""

    bl_idname = "armwright.convert_range"
    bl_label = "Convert range"
    bl_options = {"REGISTER", "UNDO"}

    _steps: Generator[prove.Progress | convert.Converted, None, None] | None = None
    _timer: bpy.types.Timer | None = None

    def execute(self, context: bpy.types.Context) -> set[str]:
        """From beginning to end at once."""

        def work() -> str:
            subject = self.subject(context)
            return convert.convert_whole(subject, self.request(subject)).sentence()

        return attempt(self, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        try:
            subject = self.subject(context)
            request = self.request(subject)
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        self._steps = convert.convert(subject, request)
        manager = context.window_manager
        manager.progress_begin(0.0, 1.0)
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if event.type == "ESC":
            self._end(context)
            self.report({"INFO"}, "Stopped; everything is as it was")
            return {"CANCELLED"}
        if event.type != "TIMER" or self._steps is None:
            # Nothing else may change the animation meanwhile.
            return {"RUNNING_MODAL"}
        try:
            step = piece(self._steps, convert.Converted)
        except ArmwrightError as problem:
            self._end(context)
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        except Exception:
            # The conversion has taken everything back; the window gets its mouse back as well.
            self._end(context)
            raise
        if isinstance(step, convert.Converted):
            self._end(context)
            self.report({"INFO"}, step.sentence())
            return {"FINISHED"}
        context.window_manager.progress_update(step.done / step.total)
        context.workspace.status_text_set(
            f"{step.what}: {100 * step.done // step.total} %   Esc: stop, keep all as it was"
        )
        return {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        self._end(context)

    def _end(self, context: bpy.types.Context) -> None:
        if self._steps is not None:
            self._steps.close()
            self._steps = None
        if self._timer is not None:
            manager = context.window_manager
            manager.event_timer_remove(self._timer)
            manager.progress_end()
            context.workspace.status_text_set(None)
            self._timer = None


class ARMWRIGHT_OT_ask_range(_Range, bpy.types.Operator):
    """Change what the arms hold over a range of frames, with every pose kept; asks for the range first"""

    bl_idname = "armwright.ask_range"
    bl_label = "Convert range"
    bl_options = {"INTERNAL", "UNDO"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        scene = context.scene
        preview = scene.use_preview_range
        self.first = scene.frame_preview_start if preview else scene.frame_start
        self.last = scene.frame_preview_end if preview else scene.frame_end
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
        # While the conversion runs on, this one has changed nothing that could be undone.
        call = "EXEC_DEFAULT" if bpy.app.background else "INVOKE_DEFAULT"
        convert_range: Any = bpy.ops.armwright.convert_range  # type: ignore[attr-defined]
        try:
            return {"FINISHED"} & convert_range(call, **self.chosen()) or {"CANCELLED"}
        except RuntimeError as problem:
            # The host makes an exception of what the other operator reports.
            self.report({"ERROR"}, str(problem).removeprefix("Error: ").strip())
            return {"CANCELLED"}
