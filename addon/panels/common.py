"""What panels share: the rig that the selection is about."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy

from ...core import arm_words
from ...core.errors import HostError
from ...core.rig_record import RigRecord
from .. import rig, selection


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
