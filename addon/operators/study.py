"""Study the active action, mark its phases on the timeline, hold those that are ticked."""

from __future__ import annotations

from collections.abc import Generator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy

from ...core.card import card_json
from ...core.errors import ArmwrightError, HostError
from .. import hold_phases, rig, selection, study_action, study_actor, study_list, study_markers
from ..prove import Progress
from .common import OnRig, attempt
from .stepping import Stepped


@dataclass(frozen=True)
class Studied:
    """How many phases a study found in how many frames."""

    phases: int
    frames: int

    def sentence(self) -> str:
        """For people."""
        return f"{self.frames} frames: {self.phases} phases found"


class ARMWRIGHT_OT_run_study(Stepped, bpy.types.Operator):  # type: ignore[misc]
    """Study the active action: when hands and elbows stand, roll, hold on or swing, and how far they reach; Esc stops.

    The other selected objects are things that the hands may hold on to"""

    bl_idname = "armwright.run_study"
    bl_label = "Study the action"
    bl_options = {"REGISTER"}

    DONE = Studied
    ESC = "stop, keep all as it was"
    STOPPED = "Stopped; everything is as it was"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        reason = why_no_study(context)
        if reason:
            cls.poll_message_set(reason)
        return not reason

    def execute(self, context: bpy.types.Context) -> set[str]:
        """From beginning to end at once."""

        def work() -> str:
            return next(step for step in _studied(context) if isinstance(step, Studied)).sentence()

        return attempt(self, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.started(context, lambda: _studied(context))


class _OnStudy:
    """An operator on the phases that are listed."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if len(context.window_manager.armwright_study.phases):
            return True
        cls.poll_message_set("Run a study first")  # type: ignore[attr-defined]
        return False


class ARMWRIGHT_OT_mark_phases(_OnStudy, bpy.types.Operator):
    """Set markers on the timeline where something begins to stand and where it is free again"""

    bl_idname = "armwright.mark_phases"
    bl_label = "Mark phases"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        count = study_markers.mark(context.scene, context.window_manager.armwright_study.phases)
        self.report({"INFO"}, f"{count} markers set on the timeline")
        return {"FINISHED"}


class ARMWRIGHT_OT_clear_phase_marks(bpy.types.Operator):
    """Remove the markers that were set for phases; those that you have moved, renamed or bound to a camera stay"""

    bl_idname = "armwright.clear_phase_marks"
    bl_label = "Clear marks"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if study_markers.KEY in context.scene:
            return True
        cls.poll_message_set("No markers of phases are set")  # type: ignore[attr-defined]
        return False

    def execute(self, context: bpy.types.Context) -> set[str]:
        self.report({"INFO"}, f"{study_markers.clear(context.scene)} markers removed from the timeline")
        return {"FINISHED"}


class ARMWRIGHT_OT_hold_phases(OnRig, Stepped, bpy.types.Operator):  # type: ignore[misc]
    """Hold what is ticked: what nearly stands still in the recording stands still, keyed; Esc takes everything back"""

    bl_idname = "armwright.hold_phases"
    bl_label = "Hold these phases"
    bl_options = {"REGISTER", "UNDO"}

    DONE = hold_phases.PhasesHeld
    ESC = "stop, keep all as it was"
    STOPPED = "Stopped; everything is as it was"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return super().poll(context) and cls.usable(_why_not_held(context))

    def execute(self, context: bpy.types.Context) -> set[str]:
        """From beginning to end at once."""

        def work() -> str:
            return next(step for step in self._work(context) if isinstance(step, self.DONE)).sentence()

        return attempt(self, work)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.started(context, lambda: self._work(context))

    def _work(self, context: bpy.types.Context) -> Generator[Progress | hold_phases.PhasesHeld, None, None]:
        state = context.window_manager.armwright_study
        # What is begun here is put back before the operator goes on, whatever stops it.
        with closing(hold_phases.hold_phases(self.subject(context), study_list.wanted(state))) as steps:
            for step in steps:
                if isinstance(step, hold_phases.PhasesHeld):
                    for line in state.phases:
                        line.ticked = False
                yield step


def why_no_study(context: bpy.types.Context) -> str:
    """Why nothing can be studied, a sentence; "" if it can."""
    try:
        armature = study_actor.armature_in(context.object)
        study_actor.active_action(armature)
    except HostError as problem:
        return selection.sentence(str(problem))
    if context.mode not in selection.MODES_OF_WORK or armature.mode not in selection.MODES_OF_WORK:
        return "Go to pose mode or object mode first"
    if context.window_manager.armwright_proof.running:
        return "A proof is running: press Esc in the viewport to stop it"
    return ""


def _studied(context: bpy.types.Context) -> Generator[Progress | Studied, None, None]:
    """Read the active action, study it, fill the list."""
    manager = context.window_manager
    armature, state = rig.require(context.object), manager.armwright_study
    card = None
    if state.card and not rig.has_arms(armature):
        card = card_json.read(Path(bpy.path.abspath(state.card)))
    actor = study_actor.actor_of(armature, card)
    things = selection.selected_besides(context, armature)
    motion = None
    with closing(study_action.motion_steps(actor, None, things)) as steps:
        for step in steps:
            if isinstance(step, Progress):
                yield Progress(step.done, 2 * step.total, step.what)
            else:
                motion = step
    assert motion is not None
    first = study_action.action_frames(armature, armature.animation_data.action).first
    for found in study_list.study_steps(motion):
        if isinstance(found, Progress):
            yield found
            continue
        study_list.fill(state, armature.name, found, first, rig.has_arms(armature))
        for area in (area for window in manager.windows for area in window.screen.areas):
            area.tag_redraw()
        yield Studied(len(found.phases), found.motion.frames)


def _why_not_held(context: bpy.types.Context) -> str:
    state = context.window_manager.armwright_study
    try:
        armature = selection.armature_of(context)
    except ArmwrightError as problem:
        return selection.sentence(str(problem))
    if state.rig != armature.name or not len(state.phases):
        return "Study this character's action first"
    action: Any = armature.animation_data.action if armature.animation_data is not None else None
    if action is None or action.name != state.action:
        return "The phases are of another action: study this one"
    return "" if study_list.wanted(state) else "Tick the phases that are to be held"
