"""Change what an arm holds, without a pop."""

from __future__ import annotations

import bpy

from ...core import arm_words
from .. import selection
from ..holds import MODES
from .common import SKIP, OnArms, attempt, run_or_ask, whose
from .together import switch_all, target_for


class ARMWRIGHT_OT_hold(OnArms, bpy.types.Operator):
    """Change what the arm holds from this frame on; it stays where it is"""

    bl_idname = "armwright.hold"
    bl_label = "Hold"
    bl_options = {"REGISTER", "UNDO"}

    mode: bpy.props.EnumProperty(
        name="Hold", items=[(key, mode.label, mode.help) for key, mode in MODES.items()], options=SKIP
    )  # type: ignore[valid-type]

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        return f"{whose(properties)}, from this frame on, staying where it is.\n{MODES[properties.mode].help}"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return run_or_ask(self, context, "mode")

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work() -> str:
            subject = self.subject(context)
            arms = self.arms(subject)
            outcome = switch_all(subject, {arm: target_for(self.mode) for arm in arms})
            what = selection.sentence(arm_words.names(arms, subject.arms))
            return f"{what}: {MODES[self.mode].sentence.lower()}; {outcome.sentence()}"

        return attempt(self, work)
