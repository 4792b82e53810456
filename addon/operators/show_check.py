"""Show a check: the rig in its worst pose with the slide drawn over it, and then everything as it was."""

from __future__ import annotations

from collections.abc import Callable, Generator
from functools import partial
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from ...core.pace import Pace
from .. import host, interruptions, overlay, prove, selection, shown_check
from ..subjects import Subject
from .common import PIECE, OnRig, piece, redraw_views
from .verdict_lists import last_of

# What moves the view and nothing else.
VIEWING = (
    *("MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE", "MOUSEMOVE", "INBETWEEN_MOUSEMOVE", "TRACKPADPAN"),
    *("TRACKPADZOOM", "MOUSEROTATE", "NDOF_MOTION", "TIMER", "TIMER_REPORT", "WINDOW_DEACTIVATE"),
    *(f"NUMPAD_{key}" for key in (*range(10), "PERIOD")),
)
ENDING = ("ESC", "RET", "NUMPAD_ENTER", "RIGHTMOUSE", "LEFTMOUSE")


class ARMWRIGHT_OT_show_check(OnRig, bpy.types.Operator):
    """Put the rig in the worst pose of this check and draw how far what is held has slid; Esc puts everything back"""

    bl_idname = "armwright.show_check"
    bl_label = "Show worst pose"
    bl_options = {"INTERNAL"}

    _handle: Any = None
    _steps: Generator[prove.Progress, None, shown_check.Showing] | None = None
    _timer: bpy.types.Timer | None = None
    _withdraw: Callable[[], None] | None = None

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        state = context.window_manager.armwright_proof
        if not 0 <= state.active_check < len(state.checks):
            return cls.usable("Run a proof and choose a check")
        return cls.usable(selection.why_not(context))

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        self._pace = Pace(PIECE)
        try:
            self._steps = beginning(context, self.subject(context), self._pace, self._take_off)
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        manager = context.window_manager
        manager.progress_begin(0.0, 1.0)
        self._withdraw = interruptions.before(partial(self._stop, manager))
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if self._steps is not None:
            return self._prepare(context, event)
        if shown_check.showing() is None or (event.type in ENDING and event.value == "PRESS"):
            self._end(context)
            return {"FINISHED"}
        # Nothing may change the rig meanwhile: it is not in the user's pose.
        return {"PASS_THROUGH"} if event.type in VIEWING else {"RUNNING_MODAL"}

    def _prepare(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """A piece of what has to be done before there is anything to show; Esc leaves it."""
        if event.type == "ESC":
            self._end(context)
            return {"CANCELLED"}
        if event.type != "TIMER" or self._steps is None:
            return {"RUNNING_MODAL"}
        try:
            step = piece(self._steps, shown_check.Showing, self._pace)
        except StopIteration as end:
            self._steps = None
            self._stop(context.window_manager)
            self._draw(context, end.value)
            return {"RUNNING_MODAL"}
        except ArmwrightError as problem:
            self._end(context)
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        except Exception:
            self._end(context)
            raise
        context.window_manager.progress_update(step.done / step.total)
        context.workspace.status_text_set(f"{step.what}: {100 * step.done // step.total} %   Esc: leave it")
        return {"RUNNING_MODAL"}

    @staticmethod
    def _draw(context: bpy.types.Context, showing: shown_check.Showing) -> None:
        """Draw over the views what the rig shows."""
        matrix = host.matrix_to_numpy(showing.armature.matrix_world)

        def draw() -> None:
            made = overlay.shapes(showing.again, matrix, bpy.context.area, bpy.context.region)
            if made is not None:
                overlay.paint(made)

        ARMWRIGHT_OT_show_check._handle = bpy.types.SpaceView3D.draw_handler_add(draw, (), "WINDOW", "POST_PIXEL")
        context.workspace.status_text_set("Esc, Enter or a click: put everything back   Middle mouse: look around")
        redraw_views(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Without a window there is nobody to look: refuse."""
        self.report({"ERROR"}, "A check is shown in a window: use the button in the sidebar")
        return {"CANCELLED"}

    def cancel(self, context: bpy.types.Context) -> None:
        self._end(context)

    def _end(self, context: bpy.types.Context) -> None:
        self._stop(context.window_manager)
        shown_check.put_back()
        context.workspace.status_text_set(None)
        redraw_views(context)

    def _stop(self, manager: bpy.types.WindowManager) -> None:
        """No longer prepare anything; what was borrowed for it is given back."""
        if self._steps is not None:
            steps, self._steps = self._steps, None
            steps.close()
        if self._withdraw is not None:
            self._withdraw()
        if self._timer is not None:
            manager.event_timer_remove(self._timer)
            manager.progress_end()
            self._timer = None

    @staticmethod
    def _take_off() -> None:
        """No longer draw; also where the file, and this operator with it, is about to go."""
        if ARMWRIGHT_OT_show_check._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(ARMWRIGHT_OT_show_check._handle, "WINDOW")
            ARMWRIGHT_OT_show_check._handle = None


def beginning(
    context: bpy.types.Context, subject: Subject, pace: Pace, until: Callable[[], object]
) -> Generator[prove.Progress, None, shown_check.Showing]:
    """Show the check that is chosen in the list, in steps. Raises ArmwrightError where it can not be shown."""
    state = context.window_manager.armwright_proof
    results = last_of(state.rig)
    wanted = state.checks[state.active_check].check
    found = None if results is None else next((item for item in results.checks if item.id == wanted), None)
    if results is None or found is None or state.rig != subject.armature.name:
        raise ArmwrightError("the list is of another rig: select its armature, or run the proof again")
    return shown_check.beginning(subject, found, results.seed, pace, until)
