"""Run a proof on the active rig, a piece at a time so that the window stays alive; Esc stops it."""

from __future__ import annotations

from collections.abc import Callable, Generator
from functools import partial
from pathlib import Path
from typing import Any

import bpy

from ...core.errors import ArmwrightError
from ...core.pace import Pace
from ...core.proof import nearest
from ...core.proof.report.summary import share
from ...core.proof.results import FAIL, Results
from .. import interruptions, kept_results, prove
from ..subjects import Subject
from .common import PIECE, OnRig, piece, redraw_sidebars, redraw_views

STOPPED = "Stopped; everything is as it was"
INTERRUPTED = "Stopped by saving, loading, undo or a render; everything is as it was"
# Results of the last proof in this session, for the report.
_last: dict[str, Results] = {}


class ARMWRIGHT_OT_run_proof(OnRig, bpy.types.Operator):
    """Move torso, shoulder and holds in every mode, measure what the arms do and list the verdicts; Esc stops"""

    bl_idname = "armwright.run_proof"
    bl_label = "Run proof"
    bl_options = {"REGISTER"}

    _steps: Generator[prove.Progress | Results | bool, None, None] | None = None
    _timer: bpy.types.Timer | None = None
    _withdraw: Callable[[], None] | None = None

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        try:
            subject = self.subject(context)
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        manager = context.window_manager
        state: Any = manager.armwright_proof  # type: ignore[attr-defined]
        state.running, state.done, state.headline = True, 0.0, "Measuring"
        self._pace = Pace(PIECE)
        self._steps = proving(state, subject, self._pace)
        # Another window, or a script, could save or undo meanwhile.
        self._withdraw = interruptions.before(partial(self._stop, manager, INTERRUPTED))
        self._timer = manager.event_timer_add(0.01, window=context.window)
        manager.modal_handler_add(self)
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
            self.report({"ERROR"}, str(problem))
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
            subject = self.subject(context)
            results = prove.prove_whole(subject)
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        show(context.window_manager.armwright_proof, subject.armature.name, results)
        kept_results.keep(subject.armature, results)
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


def proving(state: Any, subject: Subject, pace: Pace) -> Generator[prove.Progress | Results | bool, None, None]:
    """A proof in steps, then its lists, then the keeping of its results."""
    for step in prove.prove(subject, pace=pace):
        yield step
    assert isinstance(step, Results)
    show(state, subject.armature.name, step)
    state.done = 1.0
    yield True
    yield from kept_results.keeping(subject.armature, step)


class ARMWRIGHT_OT_save_report(bpy.types.Operator):
    """Write the last proof as a page, with results.json and junit.xml beside it"""

    bl_idname = "armwright.save_report"
    bl_label = "Save report"

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", default="report.html")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default="*.html", options={"HIDDEN"})  # type: ignore[valid-type]
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if context.window_manager.armwright_proof.rig not in _last:
            cls.poll_message_set("Run a proof first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        from ..results_files import write_results

        path = Path(bpy.path.abspath(self.filepath)).with_suffix(".html")
        results = _last[context.window_manager.armwright_proof.rig]
        try:
            # Beside the page and called after it, so that they replace nobody else's.
            write_results(results, path.with_suffix(".results.json"), path.with_suffix(".junit.xml"), path)
        except OSError as problem:
            self.report({"ERROR"}, f"{path}: {problem.strerror}: choose another folder")
            return {"CANCELLED"}
        except ArmwrightError as problem:
            self.report({"ERROR"}, str(problem))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Report written to {path}")
        return {"FINISHED"}


def show(state: Any, rig_name: str, results: Results, *, older: bool = False) -> None:
    """Fill the verdict list: one line a requirement, its worst check."""
    _last[rig_name] = results
    state.rig, state.older = rig_name, older
    state.verdicts.clear()
    for check in nearest.worst_of_each(results):
        line = state.verdicts.add()
        line.requirement, line.verdict = check.requirement, check.verdict
        line.figure, line.limit = _figure(check.value, check.unit), _figure(check.limit, check.unit)
        line.share = nearest.share(check)
    state.headline = nearest.headline(results)
    # What failed is what somebody wants to see first.
    failed = [place for place, line in enumerate(state.verdicts) if line.verdict == FAIL]
    state.active = failed[0] if failed else 0
    list_checks(state)


def list_checks(state: Any) -> None:
    """Fill the list of checks of the requirement that is chosen, the worst first."""
    state.checks.clear()
    state.active_check = 0
    results = _last.get(state.rig)
    if results is None or not 0 <= state.active < len(state.verdicts):
        return
    checks = nearest.nearest(results, state.verdicts[state.active].requirement)
    for check, row in zip(checks, nearest.rows(checks), strict=True):
        line = state.checks.add()
        line.check, line.verdict, line.share, line.row = check.id, check.verdict, share(check), row
        # The whole of the chosen one is below the list.
        line.words = f"{check.arm} {check.motion}, {check.case.mode}"
        line.figure = f"{_figure(check.value, check.unit)} of {_figure(check.limit, check.unit)}"
        line.where = f"{check.measure}, frame {check.worst_frame}"
        line.dials = check.case.label.replace(",", ", ").replace("=", " ")


def last_of(rig_name: str) -> Results | None:
    """The results that the lists are of."""
    return _last.get(rig_name)


def _figure(value: float, unit: str) -> str:
    return f"{value:.2g}" if unit == "1" else f"{value:.2g} {unit}"
