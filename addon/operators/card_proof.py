"""Draft the rig card of arms that were built by other means, and prove them by one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from ...core.card import card_json
from ...core.card.draft import draft
from ...core.card.fit_check import check_fit, of_another
from ...core.card.found import LOW_CONFIDENCE
from ...core.card.model import RigCard
from ...core.errors import ArmwrightError, HostError
from ...core.pace import Pace
from .. import any_arm, any_arm_rig, selection, subjects
from ..card_sketch import sketch_of
from ..text_files import check_free, write_text, writing_to
from .common import attempt
from .proof_job import ProofJob, Steps

SUFFIX = ".json"


class _OnOtherRig:
    """An operator on the armature of other making that is active; greyed, with the reason, where that can not be."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        reason = selection.why_no_card(context)
        if reason:
            cls.poll_message_set(reason)  # type: ignore[attr-defined]
        return not reason


class ARMWRIGHT_OT_draft_card(_OnOtherRig, bpy.types.Operator):
    """Write a draft of the rig card, which says what plays which part in these arms, and list how sure each guess is"""

    bl_idname = "armwright.draft_card"
    bl_label = "Draft card"

    filepath: bpy.props.StringProperty(subtype="FILE_PATH")  # type: ignore[valid-type]
    filter_glob: bpy.props.StringProperty(default=f"*{SUFFIX}", options={"HIDDEN"})  # type: ignore[valid-type]
    # The file chooser then marks a name that is taken.
    check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})  # type: ignore[valid-type]
    replace: bpy.props.BoolProperty(  # type: ignore[valid-type]
        name="Replace", description="Replace the file if it is there already", options={"SKIP_SAVE"}
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if not self.filepath:
            name = bpy.path.clean_name(selection.other_rig(context).name)
            folder = "//" if bpy.data.filepath else ""
            self.filepath = bpy.path.abspath(f"{folder}{name}.card{SUFFIX}")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            armature = selection.other_rig(context)
            path = Path(bpy.path.abspath(self.filepath))
            if not path.name:
                raise HostError("name the file that the card is written to")
            if path.suffix.lower() != SUFFIX:
                path = path.with_name(f"{path.name}{SUFFIX}")
            check_free(path, replace=self.replace)
            card = draft(sketch_of(armature))
            with writing_to(path):
                write_text(path, card_json.to_text(card))
            list_guesses(context.window_manager.armwright_card, armature.name, path, card)
            return f"{path.name}: {len(card.arms)} arms; look at the least sure guesses, and correct the file"

        return attempt(self, work)


class CardProof(ProofJob):
    """The part of the operator that reads the card, and says what is wrong with it in the panel as well."""

    def begin(self, context: bpy.types.Context, pace: Pace) -> tuple[bpy.types.Object, Steps]:
        armature = selection.other_rig(context)
        state: Any = context.window_manager.armwright_card  # type: ignore[attr-defined]
        if state.rig != armature.name:
            state.guesses.clear()
        state.rig, state.problems, state.note = armature.name, "", ""
        subjects.check_shown(armature)
        subjects.check_posed(armature)
        given = card_json.read_file(Path(bpy.path.abspath(state.path)))
        check_fit(given, sketch_of(armature))
        # What two arms would fight over is refused before the window is asked to wait.
        any_arm_rig.subject_of_card(armature, given.card)
        for said in of_another(given.card, armature.name):
            state.note = selection.sentence(said)
            self.report({"WARNING"}, selection.sentence(said))  # type: ignore[attr-defined]
        return armature, any_arm.prove_card(armature, given.card, pace=pace)

    def refuse(self, context: bpy.types.Context, problem: ArmwrightError) -> None:
        context.window_manager.armwright_card.problems = str(problem)  # type: ignore[attr-defined]
        super().refuse(context, problem)


class ARMWRIGHT_OT_run_card_proof(CardProof, _OnOtherRig, bpy.types.Operator):  # type: ignore[misc]
    """Move torso, shoulder and what is held in every mode that the rig card names, measure what the arms do and list
    the verdicts; Esc stops"""

    bl_idname = "armwright.run_card_proof"
    bl_label = "Run proof"
    bl_options = {"REGISTER"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not super().poll(context):
            return False
        if context.window_manager.armwright_card.path:
            return True
        cls.poll_message_set("Name the rig card's file, or draft a card")
        return False


def list_guesses(state: Any, rig_name: str, path: Path, card: RigCard) -> None:
    """Name a draft's file, and fill the list of its guesses, the least sure first."""
    # The path first: another one empties the list.
    state.path, state.rig, state.problems, state.note = str(path), rig_name, "", ""
    state.guesses.clear()
    least = min((guess.confidence for guess in card.guesses), default=0.0)
    for guess in sorted(card.guesses, key=lambda guess: guess.confidence):
        line = state.guesses.add()
        line.part = f"{guess.arm} {guess.role}".strip()
        line.found, line.sure, line.why = guess.found or "none", f"{guess.confidence:.2f}", guess.why
        line.is_low = guess.confidence < LOW_CONFIDENCE or guess.confidence == least
    state.active = 0
