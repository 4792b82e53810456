"""Sidebar: run a proof, read the verdicts."""

from __future__ import annotations

from typing import Any

import bpy

from ...core.rig_record import RigRecord
from ..kept_results import KEY
from .common import RigPanel

VERDICT_ICONS = {"pass": "CHECKMARK", "fail": "ERROR", "out_of_reach": "DRIVER_DISTANCE"}
VERDICT_WORDS = {"pass": "holds", "fail": "fails", "out_of_reach": "out of reach"}


class ARMWRIGHT_UL_verdicts(bpy.types.UIList):
    """One line a requirement: verdict, and how much of its limit the worst figure takes."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0, flt_flag=0) -> None:  # type: ignore[no-untyped-def]
        row = layout.row()
        row.alert = item.verdict == "fail"
        split = row.split(factor=0.55)
        split.label(text=item.requirement, icon=VERDICT_ICONS.get(item.verdict, "QUESTION"))
        share = split.row()
        share.alignment = "RIGHT"
        share.label(text=item.share)


class ARMWRIGHT_UL_checks(bpy.types.UIList):
    """The checks of the chosen requirement, the worst first."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0, flt_flag=0) -> None:  # type: ignore[no-untyped-def]
        row = layout.row()
        row.alert = item.verdict == "fail"
        split = row.split(factor=0.74)
        split.label(text=item.row)
        share = split.row()
        share.alignment = "RIGHT"
        share.label(text=item.share)


class ARMWRIGHT_PT_proof(RigPanel, bpy.types.Panel):
    """Proof: button, progress, verdicts."""

    bl_label = "Proof"
    bl_order = 2

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        layout, state = self.layout, context.window_manager.armwright_proof
        if state.running:
            draw_running(layout, state)
            return
        column = layout.column()
        column.scale_y = 1.4
        column.operator("armwright.run_proof", icon="PLAY")
        draw_results(layout, state, armature, "armwright.show_check")


def draw_running(layout: bpy.types.UILayout, state: Any) -> None:
    """How far a proof is."""
    layout.progress(factor=state.done, text=state.headline)
    layout.label(text="Esc stops and puts everything back", icon="INFO")


def draw_results(layout: bpy.types.UILayout, state: Any, armature: bpy.types.Object, look: str = "") -> None:
    """The verdicts of an armature's last proof, the checks of the chosen one, and its report; `look`: an operator that
    shows the chosen check.
    """
    if not state.headline or state.rig != armature.name:
        if KEY in armature:
            layout.operator("armwright.recall_proof")
        return
    layout.label(text=state.headline)
    if state.older:
        layout.label(text="Of an older build: run it again", icon="INFO")
    layout.template_list("ARMWRIGHT_UL_verdicts", "", state, "verdicts", state, "active", rows=len(state.verdicts))
    if 0 <= state.active < len(state.verdicts):
        rows = min(max(len(state.checks), 1), 5)
        layout.template_list("ARMWRIGHT_UL_checks", "", state, "checks", state, "active_check", rows=rows)
        if 0 <= state.active_check < len(state.checks):
            line = state.checks[state.active_check]
            box = layout.box()
            box.scale_y = 0.8
            requirement = state.verdicts[state.active].requirement
            box.label(text=f"{requirement} {VERDICT_WORDS.get(line.verdict, line.verdict)}: {line.figure}")
            for words in (line.where, line.words, line.dials):
                box.label(text=words)
        if look:
            layout.operator(look)
    layout.operator("armwright.save_report", icon="FILE_TICK")
