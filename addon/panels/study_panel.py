"""Sidebar: what the arms do in the active action, as phases; mark them, jump to them, hold them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import blf
import bpy

from ...core.errors import HostError
from ...core.study.phases import ELBOW, HAND, HELD, ROLL, SWING
from .. import rig, selection

ICONS = {SWING: "FORCE_CURVE", HAND: "PINNED", ELBOW: "PINNED", ROLL: "FILE_REFRESH", HELD: "LINKED"}
# Lines that the list shows at least and at most.
FEWEST, MOST = 3, 8
# The host's own font, and what a panel leaves free beside a label, pixels at a scale of 1.
FONT, MARGIN = 0, 56


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
    _text(layout, context, (state.reach, state.torso))
    notes = [note for note in state.notes.split("\n") if note]
    if notes:
        head, body = layout.panel("armwright_study_notes")
        head.label(text=f"Notes ({len(notes)})", icon="INFO")
        if body is not None:
            _text(body, context, notes)
    if rig.has_arms(armature):
        layout.operator("armwright.hold_phases", icon="PINNED")


def _text(layout: bpy.types.UILayout, context: bpy.types.Context, sentences: Sequence[str]) -> None:
    """Sentences, in as many lines as the sidebar's width makes of them."""
    column = layout.column(align=True)
    column.scale_y = 0.8
    for sentence in sentences:
        for line in lines_of(selection.sentence(sentence), context):
            column.label(text=line)


def lines_of(sentence: str, context: bpy.types.Context) -> list[str]:
    """A sentence in lines that fit into the region's width by the host's own font."""
    scale = context.preferences.system.ui_scale
    blf.size(FONT, context.preferences.ui_styles[0].widget.points * scale)
    room = context.region.width - MARGIN * scale
    out: list[str] = []
    for word in sentence.split(" "):
        longer = f"{out[-1]} {word}" if out else word
        if out and blf.dimensions(FONT, longer)[0] <= room:
            out[-1] = longer
        else:
            out.append(word)
    return out


def _armature(context: bpy.types.Context) -> bpy.types.Object | None:
    try:
        return rig.require(context.object)
    except HostError:
        return None
