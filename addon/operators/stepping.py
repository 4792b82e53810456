"""Work that runs a piece at a time so that the window lives, and what asks for its options first."""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from .. import prove
from .common import piece


class Stepped:
    """The modal part of an operator whose work yields its progress, and at last a result that has a sentence.

    The work puts everything back when it is closed early or fails. Subclasses name `DONE`, the result's type, and say
    what Esc does, `ESC`, and what it has done, `STOPPED`.
    """

    DONE: Any = None
    ESC = ""
    STOPPED = ""

    _steps: Generator[prove.Progress | Any, None, None] | None = None
    _timer: bpy.types.Timer | None = None

    def started(
        self, context: bpy.types.Context, begin: Callable[[], Generator[prove.Progress | Any, None, None]]
    ) -> set[str]:
        """Begin the work and keep the window's events, or say what is against it."""
        try:
            self._steps = begin()
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))  # type: ignore[attr-defined]
            return {"CANCELLED"}
        manager = context.window_manager
        manager.progress_begin(0.0, 1.0)
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.modal_handler_add(self)  # type: ignore[arg-type]
        return {"RUNNING_MODAL"}

    def step(self) -> Any:
        """The work's next piece."""
        return piece(self._steps, self.DONE)

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        report = self.report  # type: ignore[attr-defined]
        if event.type == "ESC":
            self._end(context)
            report({"INFO"}, self.STOPPED)
            return {"CANCELLED"}
        if event.type != "TIMER" or self._steps is None:
            # Nothing else may change the animation meanwhile.
            return {"RUNNING_MODAL"}
        try:
            step = self.step()
        except ArmwrightError as problem:
            self._end(context)
            report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        except Exception:
            # The work has put everything back; the window gets its mouse back as well.
            self._end(context)
            raise
        if isinstance(step, self.DONE):
            self._end(context)
            report({"INFO"}, step.sentence())
            return {"FINISHED"}
        context.window_manager.progress_update(step.done / step.total)
        context.workspace.status_text_set(f"{step.what}: {100 * step.done // step.total} %   Esc: {self.ESC}")
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


def shown_range(scene: bpy.types.Scene) -> tuple[int, int]:
    """First and last frame that the scene plays."""
    if scene.use_preview_range:
        return scene.frame_preview_start, scene.frame_preview_end
    return scene.frame_start, scene.frame_end


def passed_on(operator: bpy.types.Operator, work: Any, options: dict[str, Any]) -> set[str]:
    """Start the operator `work` with the options that `operator` has asked for; without a window from end to end.

    While it runs on, this one has changed nothing that could be undone.
    """
    call = "EXEC_DEFAULT" if bpy.app.background else "INVOKE_DEFAULT"
    try:
        return {"FINISHED"} & work(call, **options) or {"CANCELLED"}
    except RuntimeError as problem:
        # The host makes an exception of what the other operator reports.
        operator.report({"ERROR"}, str(problem).removeprefix("Error: ").strip())
        return {"CANCELLED"}
