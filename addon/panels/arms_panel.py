"""Sidebar: what each arm holds and what carries it, in one box an arm; above them the arm whose control is selected."""

from __future__ import annotations

from typing import Any

import bpy

from ...core import arm_words
from ...core.arm.names import ELBOW, IK
from ...core.errors import HostError
from ...core.rig_record import RigRecord
from .. import selection
from ..holds import CLOSE, MODES, mode_of
from ..operators.grab import PARTS
from ..spaces import HOLDS, KINDS, is_gone, label
from .common import RigPanel, each_pair

# Dials that say how far the hand and the elbow are held.
HELD_BY = {"hand": IK, "elbow": ELBOW}
# Shares of a box's width.
STATE, VERB = 0.5, 0.3
# Characters that fit on a line of the sidebar at its default width.
LINE = 34
# Characters that fit beside what stands on the same line.
NAME, GRAB = 11, 22


class ARMWRIGHT_PT_arms(RigPanel, bpy.types.Panel):
    """For each arm: four buttons, how hand and elbow are held and in what, and the buttons that grab and let go."""

    bl_label = "Arms"
    bl_order = 0

    def draw_rig(self, context: bpy.types.Context, armature: bpy.types.Object, record: RigRecord) -> None:
        layout: bpy.types.UILayout = self.layout
        reason = selection.why_not(context)
        if reason:
            _lines(layout, reason)
        chosen = selection.selected_arms(armature, record)
        driven = selection.driven_dials(armature, record)
        _selected(layout.column(align=True), context, armature, record, chosen)
        for part, arms in each_pair(layout, record, self.bl_idname, chosen):
            for arm in arms:
                _arm(part, armature, record, arm, arm in chosen, driven[arm])
        if _is_lost(armature, record):
            row = layout.row()
            row.alert = True
            row.operator("armwright.mend_spaces", icon="ERROR")
        column = layout.column(align=True)
        column.operator("armwright.hold_range", text="Hold over a range", icon="PINNED")
        column.operator("armwright.ask_range", text="Convert a range", icon="ACTION")


def _selected(
    column: bpy.types.UILayout,
    context: bpy.types.Context,
    armature: bpy.types.Object,
    record: RigRecord,
    chosen: tuple[str, ...],
) -> None:
    """The buttons for the arm whose control is selected."""
    words = arm_words.names(chosen, record.arms) if chosen else "no arm's control"
    column.label(text=f"Selected: {words}", icon="RESTRICT_SELECT_OFF" if chosen else "RESTRICT_SELECT_ON")
    column = column.column(align=True)
    column.enabled = bool(chosen)
    modes = {mode_of(armature, record, arm) for arm in chosen}
    _mode_buttons(column, selection.SELECTED, modes.pop() if len(modes) == 1 else None)
    words = _grab_words(context, armature)
    row = column.column(align=True) if len(words) > GRAB else column.split(factor=1.0 - VERB, align=True)
    grab = row.operator("armwright.grab", text=words)
    grab.arm, grab.parts = selection.SELECTED, "hand"
    end = row.row(align=True)
    end.enabled = bool(selection.holding(armature, record, chosen))
    end.operator("armwright.release").arm = selection.SELECTED


def _arm(
    layout: bpy.types.UILayout,
    armature: bpy.types.Object,
    record: RigRecord,
    arm: str,
    is_selected: bool,
    driven: tuple[str, ...],
) -> None:
    box = layout.box().column(align=True)
    blocked = tuple(key for key in driven if key in HELD_BY.values())
    head = box.split(factor=1.0 - VERB)
    head.label(
        text=selection.sentence(arm_words.name(arm)),
        icon="RESTRICT_SELECT_OFF" if is_selected else "BLANK1",
    )
    end = head.row()
    end.enabled = not blocked and bool(selection.holding(armature, record, (arm,)))
    end.operator("armwright.release").arm = arm
    if blocked:
        _lines(box, selection.driven_words(blocked))
    box.separator(factor=0.5)
    modes = box.column(align=True)
    modes.enabled = not blocked
    _mode_buttons(modes, arm, mode_of(armature, record, arm))
    box.separator(factor=0.5)
    for hold in HOLDS:
        _hold(box, armature, record, arm, hold)
    box.separator(factor=0.5)
    row = box.split(factor=VERB, align=True)
    row.enabled = not blocked
    row.label(text="Grab with")
    buttons = row.row(align=True)
    for parts, text, _ in PARTS:
        button = buttons.operator("armwright.grab", text=text)
        button.arm, button.parts = arm, parts


def _mode_buttons(column: bpy.types.UILayout, arm: str, now: str | None) -> None:
    row = column.row(align=True)
    for key, mode in MODES.items():
        button = row.operator("armwright.hold", text=mode.label, depress=key == now)
        button.arm, button.mode = arm, key


def _hold(column: bpy.types.UILayout, armature: bpy.types.Object, record: RigRecord, arm: str, hold: str) -> None:
    """How far hand or elbow is held, and in what: a menu."""
    held = float(armature.pose.bones[record.bone(arm, "dials")][HELD_BY[hold]])
    constraints = _constraints(armature, record, arm, hold)
    strongest = max(constraints, key=lambda item: item.influence, default=None)
    carrier = strongest if strongest is not None and strongest.influence > CLOSE else None
    gone = carrier is not None and is_gone(carrier)
    words = _carrier_words(record, carrier) + (" (gone)" if gone else "")
    # A long name gets a line of its own, so that it can be read to its end.
    row = column.column(align=True) if len(words) > NAME else column.split(factor=STATE, align=True)
    row.active = held > CLOSE
    row.alert = gone
    row.label(text=_state(hold.capitalize(), held), icon="ERROR" if gone else "PINNED" if held > CLOSE else "UNPINNED")
    menu = row.operator("armwright.set_space", text=words, icon="DOWNARROW_HLT")
    menu.arm, menu.hold = arm, hold


def _state(part: str, held: float) -> str:
    if held < CLOSE:
        return f"{part} free"
    return f"{part} held in" if held > 1.0 - CLOSE else f"{part} {held:.2f} in"


def _carrier_words(record: RigRecord, carrier: Any) -> str:
    if carrier is None:
        return "World"
    words = label(record.arms, carrier.name)
    return words if carrier.influence > 1.0 - CLOSE else f"{carrier.influence:.2f} {words}"


def _constraints(armature: bpy.types.Object, record: RigRecord, arm: str, hold: str) -> list[Any]:
    bone = armature.pose.bones[record.bone(arm, f"{hold}_space")]
    return [item for item in bone.constraints if item.type in KINDS]


def _is_lost(armature: bpy.types.Object, record: RigRecord) -> bool:
    return any(
        is_gone(item) for arm in record.arms for hold in HOLDS for item in _constraints(armature, record, arm, hold)
    )


def _grab_words(context: bpy.types.Context, armature: bpy.types.Object) -> str:
    try:
        thing = selection.thing_to_hold(context, armature)
    except HostError:
        return "Grab: select one thing"
    return f"Grab {thing.label()}" if thing is not None else "Hold in the world"


def _lines(layout: bpy.types.UILayout, text: str) -> None:
    """A sentence over several lines: the host's labels do not wrap."""
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) >= LINE:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(lines):
        column.label(text=line, icon="BLANK1" if number else "INFO")
