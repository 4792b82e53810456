"""Sidebar: prove arms that were built by other means, by their rig card."""

from __future__ import annotations

from typing import Any

import bpy

from ...core.errors import HostError
from .. import selection
from .common import BOX_MARGIN, paragraphs
from .proof_panel import draw_results, draw_running

# Lines that the list of guesses, and sentences that the box of problems shows at most; the report has them all.
MOST = 5


class ARMWRIGHT_UL_guesses(bpy.types.UIList):
    """One line a guess: the part, what was found for it, how sure that is."""

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0, flt_flag=0) -> None:  # type: ignore[no-untyped-def]
        split = layout.row().split(factor=0.8)
        split.label(text=f"{item.part}: {item.found}", icon="QUESTION" if item.is_low else "BLANK1")
        sure = split.row()
        sure.alignment = "RIGHT"
        sure.label(text=item.sure)


class ARMWRIGHT_PT_card_proof(bpy.types.Panel):
    """Proof by card: the card's file, a draft with its guesses, what is wrong with it; button, progress, verdicts."""

    bl_label = "Proof by card"
    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = "Armwright"
    bl_order = 2

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return _armature(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        layout, manager, armature = self.layout, context.window_manager, _armature(context)
        if armature is None:
            return
        if manager.armwright_proof.running:
            draw_running(layout, manager.armwright_proof)
            return
        layout.operator_context = "INVOKE_DEFAULT"
        card = manager.armwright_card
        column = layout.column()
        row = column.row()
        row.use_property_split = True
        row.prop(card, "path")
        column.operator("armwright.draft_card", icon="FILE_NEW")
        if card.rig == armature.name:
            _guesses(layout, context, card)
            _problems(layout, context, card)
        column = layout.column()
        column.scale_y = 1.4
        column.operator("armwright.run_card_proof", icon="PLAY")
        draw_results(layout, manager.armwright_proof, armature)


def _guesses(layout: bpy.types.UILayout, context: bpy.types.Context, card: Any) -> None:
    """The guesses of a draft, the least sure first, and why the chosen one was made."""
    if not len(card.guesses):
        return
    layout.label(text="Guesses, the least sure first")
    rows = min(len(card.guesses), MOST)
    layout.template_list("ARMWRIGHT_UL_guesses", "", card, "guesses", card, "active", rows=rows)
    if 0 <= card.active < len(card.guesses):
        chosen = card.guesses[card.active]
        reasons = map(selection.sentence, chosen.why.split("; "))
        paragraphs(layout.box(), context, (f"{chosen.part}: {chosen.found}", *reasons), BOX_MARGIN)


def _problems(layout: bpy.types.UILayout, context: bpy.types.Context, card: Any) -> None:
    """What to know of the card, and why there was no proof."""
    if card.note:
        layout.label(text="Note", icon="INFO")
        paragraphs(layout, context, (card.note,))
    lines = [line for line in card.problems.split("\n") if line]
    if not lines:
        return
    box = layout.box()
    box.label(text="The proof did not run", icon="ERROR")
    more = len(lines) - MOST
    paragraphs(box, context, lines if more <= 0 else [*lines[:MOST], f"and {more} more"], BOX_MARGIN)


def _armature(context: bpy.types.Context) -> bpy.types.Object | None:
    try:
        return selection.other_rig(context)
    except HostError:
        return None
