"""What panels share: the rig that the selection is about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import blf
import bpy

from ...core import arm_words
from ...core.errors import HostError
from ...core.rig_record import RigRecord
from .. import rig, selection

# The host's own font, and what a panel, and a box in it, leaves free beside a label, pixels at a scale of 1.
FONT, MARGIN, BOX_MARGIN = 0, 56, 72


def shown_rig(context: bpy.types.Context) -> tuple[bpy.types.Object, RigRecord] | None:
    """The armature with arms that the selection is about; None if there is none."""
    try:
        armature = selection.armature_of(context)
        return armature, rig.read_record(armature)
    except HostError:
        return None


class RigPanel:
    """A panel of the sidebar about the shown rig; without one it is not there. Panels give `draw_rig`."""

    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = "Armwright"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return shown_rig(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        shown = shown_rig(context)
        if shown is None:
            return
        armature, record = shown
        lost = next((role.bone for role in record.roles if role.bone not in armature.pose.bones), None)
        if lost is not None:
            layout: bpy.types.UILayout = self.layout  # type: ignore[attr-defined]
            layout.label(text=f"The bone {lost} is gone", icon="ERROR")
            layout.label(text="Undo its removal, or build again")
            return
        self.draw_rig(context, armature, record)

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        """Draw the panel for `armature`."""
        raise AssertionError("a panel draws its rig")


def each_pair(
    layout: bpy.types.UILayout, record: RigRecord, panel: str, chosen: tuple[str, ...] = ()
) -> Iterator[tuple[bpy.types.UILayout, tuple[str, ...]]]:
    """Where to draw each pair of arms, and the pair. Of several each has a part that folds, the first open.

    A pair with one of the `chosen` arms is marked, so that it is found when it is folded.
    """
    pairs = arm_words.pairs(record.arms)
    if len(pairs) == 1:
        yield layout, pairs[0]
        return
    for number, pair in enumerate(pairs):
        words = arm_words.pair_words(pair)
        head, body = layout.panel(f"{panel}.{words}", default_closed=number > 0)
        is_chosen = any(arm in chosen for arm in pair)
        head.label(text=selection.sentence(words), icon="RESTRICT_SELECT_OFF" if is_chosen else "NONE")
        if body is not None:
            yield body, pair


def paragraphs(
    layout: bpy.types.UILayout, context: bpy.types.Context, sentences: Sequence[str], margin: int = MARGIN
) -> None:
    """Sentences, in as many lines as the sidebar's width without its margin makes of them."""
    column = layout.column(align=True)
    column.scale_y = 0.8
    for sentence in sentences:
        for line in lines_of(sentence, context, margin):
            column.label(text=line)


def lines_of(sentence: str, context: bpy.types.Context, margin: int = MARGIN) -> list[str]:
    """A sentence in lines that fit into the region's width by the host's own font."""
    scale = context.preferences.system.ui_scale
    blf.size(FONT, context.preferences.ui_styles[0].widget.points * scale)
    room = context.region.width - margin * scale
    out: list[str] = []
    for word in sentence.split(" "):
        longer = f"{out[-1]} {word}" if out else word
        if out and blf.dimensions(FONT, longer)[0] <= room:
            out[-1] = longer
        else:
            out.append(word)
    return out
