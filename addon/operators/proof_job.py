"""A proof as an operator runs it: a piece at a time so that the window stays alive, or from beginning to end."""

from __future__ import annotations

from collections.abc import Callable, Generator
from contextlib import closing
from functools import partial
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from ...core.pace import UNBROKEN, Pace
from ...core.proof.results import Results
from .. import interruptions, kept_results, prove
from .common import PIECE, piece, redraw_sidebars, redraw_views
from .verdict_lists import show

Steps = Generator[prove.Progress | Results, None, None]

STOPPED = "Stopped; everything is as it was"
INTERRUPTED = "Stopped by saving, loading, undo or a render; everything is as it was"


class ProofJob:
    """The part of an operator that proves an armature, lists the verdicts and keeps them; Esc gives everything back.

    Operators give `begin`.
    """

    _steps: Generator[prove.Progress | Results | bool, None, None] | None = None
    _timer: bpy.types.Timer | None = None
    _withdraw: Callable[[], None] | None = None

    def begin(self, context: bpy.types.Context, pace: Pace) -> tuple[bpy.types.Object, Steps]:
        """What is proved, and its proof in steps. Raises ArmwrightError for what is against it."""
        raise AssertionError("an operator says what it proves")

    def refuse(self, context: bpy.types.Context, problem: ArmwrightError) -> None:
        """Tell the user why there are no results."""
        self.report({"ERROR"}, str(problem))  # type: ignore[attr-defined]

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        self._pace = Pace(PIECE)
        try:
            armature, steps = self.begin(context, self._pace)
        except ArmwrightError as problem:
            self.refuse(context, problem)
            return {"CANCELLED"}
        manager = context.window_manager
        state: Any = manager.armwright_proof  # type: ignore[attr-defined]
        state.running, state.done, state.headline = True, 0.0, "Measuring"
        self._steps = listed(state, armature, steps)
        # Another window, or a script, could save or undo meanwhile.
        self._withdraw = interruptions.before(partial(self._stop, manager, INTERRUPTED))
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.modal_handler_add(self)  # type: ignore[arg-type]
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if self._steps is None:
            # It was interrupted.
            return {"CANCELLED"}
        if event.type == "ESC":
            self._stop(context.window_manager, STOPPED)
            return {"CANCELLED"}
        if event.type != "TIMER":
            # Nothing else may change the rig while it is borrowed.
            return {"RUNNING_MODAL"}
        state = context.window_manager.armwright_proof
        try:
            step = piece(self._steps, Results, self._pace)
        except StopIteration:
            self._stop(context.window_manager, state.headline)
            return {"FINISHED"}
        except ArmwrightError as problem:
            self.refuse(context, problem)
            self._stop(context.window_manager, str(problem))
            return {"CANCELLED"}
        except Exception:
            # The proof has put everything back; the window gets its mouse back as well.
            self._stop(context.window_manager, "Stopped by an error; everything is as it was")
            raise
        if isinstance(step, prove.Progress):
            state.done = step.done / step.total
            state.headline = f"{100 * step.done // step.total} %: {step.what}"
            redraw_sidebars(context)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Without a window: from beginning to end."""
        try:
            armature, steps = self.begin(context, UNBROKEN)
            for _ in listed(context.window_manager.armwright_proof, armature, steps):
                pass
        except ArmwrightError as problem:
            self.refuse(context, problem)
            return {"CANCELLED"}
        return {"FINISHED"}

    def cancel(self, context: bpy.types.Context) -> None:
        self._stop(context.window_manager, STOPPED)

    def _stop(self, manager: bpy.types.WindowManager, headline: str) -> None:
        """Give everything back, whatever is left to do; harmless once there is nothing."""
        if self._steps is None:
            return
        steps, self._steps = self._steps, None
        steps.close()
        if self._withdraw is not None:
            self._withdraw()
        if self._timer is not None:
            manager.event_timer_remove(self._timer)
            self._timer = None
        state = manager.armwright_proof  # type: ignore[attr-defined]
        # Results are there as soon as they are listed, also where they could not be kept any more.
        state.running, state.headline = False, state.headline if state.done >= 1.0 else headline
        redraw_views(bpy.context)


def listed(
    state: Any, armature: bpy.types.Object, steps: Steps
) -> Generator[prove.Progress | Results | bool, None, None]:
    """A proof in steps, then its lists, then the keeping of its results."""
    with closing(steps):
        for step in steps:
            yield step
    assert isinstance(step, Results)
    show(state, armature.name, step)
    state.done = 1.0
    yield True
    yield from kept_results.keeping(armature, step)
