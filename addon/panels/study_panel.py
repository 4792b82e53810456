"""Sidebar: what the arms do in the active action, as phases; mark them, jump to them, hold them."""

from __future__ import annotations

from typing import Any

import bpy

from ...core.errors import HostError
from ...core.study.phases import ELBOW, HAND, HELD, ROLL, SWING
from .. import rig, selection
from .common import paragraphs

ICONS = {SWING: "FORCE_CURVE", HAND: "PINNED", ELBOW: "PINNED", ROLL: "FILE_REFRESH", HELD: "LINKED"}
# Lines that the list shows at least and at most.
FEWEST, MOST = 3, 8


class ARMWRIGHT_UL_phases(bpy.types.UIList):
    """One line a phase: whether to hold it, what the arm does on what, its frames."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0, flt_flag=0) -> None:  # type: ignore[no-untyped-def]
        split = layout.row(align=True).split(factor=0.68)
        left = split.row(align=True)
        if item.holdable:
            left.prop(item, "ticked", text="")
        else:
            left.label(text="", icon="BLANK1")
        left.label(text=item.words, icon=ICONS.get(item.kind, "NONE"))
        frames = split.row()
        frames.alignment = "RIGHT"
        frames.label(text=f"{item.first} - {item.last}")


class ARMWRIGHT_PT_study(bpy.types.Panel):
    """Study: button, phases, what the arms and the torso need, markers, holding."""

    bl_label = "Study"
    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = "Armwright"
    bl_order = 3

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return _armature(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        layout, state, armature = self.layout, context.window_manager.armwright_study, _armature(context)
        if armature is None:
            return
        layout.operator_context = "INVOKE_DEFAULT"
        if not rig.has_arms(armature):
            row = layout.row()
            row.use_property_split = True
            row.prop(state, "card")
        column = layout.column()
        column.scale_y = 1.4
        column.operator("armwright.run_study", icon="VIEWZOOM")
        if state.rig == armature.name and len(state.phases):
            _phases(context, layout, state, armature)
        # Marks outlive the session's list.
        row = layout.row(align=True)
        row.operator("armwright.mark_phases", icon="MARKER")
        row.operator("armwright.clear_phase_marks", icon="X")


def _phases(context: bpy.types.Context, layout: bpy.types.UILayout, state: Any, armature: bpy.types.Object) -> None:
    animation = armature.animation_data
    playing = animation.action.name if animation is not None and animation.action is not None else ""
    layout.label(text=f"Phases of {state.action}" + (" (not playing)" if playing != state.action else ""))
    rows = min(max(len(state.phases), FEWEST), MOST)
    layout.template_list("ARMWRIGHT_UL_phases", "", state, "phases", state, "active", rows=rows)
    paragraphs(layout, context, [selection.sentence(words) for words in (state.reach, state.torso)])
    notes = [note for note in state.notes.split("\n") if note]
    if notes:
        head, body = layout.panel("armwright_study_notes")
        head.label(text=f"Notes ({len(notes)})", icon="INFO")
        if body is not None:
            paragraphs(body, context, [selection.sentence(note) for note in notes])
    if rig.has_arms(armature):
        layout.operator("armwright.hold_phases", icon="PINNED")


def _armature(context: bpy.types.Context) -> bpy.types.Object | None:
    try:
        return rig.require(context.object)
    except HostError:
        return None
