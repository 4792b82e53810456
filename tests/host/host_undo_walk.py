"""Two hundred operations in a row, drawn at random over every operator, undone to the first and redone to the last."""

from __future__ import annotations

import itertools
import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import undo_walk
from whole_file import changes, whole_file

SEED = int(os.environ.get("ARMWRIGHT_WALK_SEED", "3041"))
OPERATIONS = 200
# The host keeps no more steps of undo than this.
MOST_STEPS = 256


@pytest.fixture
def walked(empty_file: Any, tmp_path: Path) -> Iterator[None]:
    import bpy

    import armwright

    edit = bpy.context.preferences.edit
    kept = edit.undo_steps, edit.undo_memory_limit
    edit.undo_steps, edit.undo_memory_limit = MOST_STEPS, 0
    armwright.register()
    undo_walk.begin(tmp_path)
    yield
    armwright.unregister()
    edit.undo_steps, edit.undo_memory_limit = kept


def operators() -> set[str]:
    """The names of every operator that the extension registers."""
    from armwright.addon.registration import CLASSES

    return {entry.bl_idname.partition(".")[2] for entry in CLASSES if "_OT_" in entry.__name__}


def test_every_operator_is_in_the_walk_or_is_left_out_with_a_reason() -> None:
    assert undo_walk.MOVES.keys() | undo_walk.NOT_WALKED.keys() == operators()
    assert not undo_walk.MOVES.keys() & undo_walk.NOT_WALKED.keys()
    assert set(undo_walk.CHANGE_NOTHING) <= undo_walk.MOVES.keys()


def state() -> dict[str, Any]:
    """The file as its animation has it: a channel and its key may differ by a rounding until the frame is played."""
    import bpy

    bpy.context.scene.frame_set(bpy.context.scene.frame_current)
    bpy.context.view_layer.update()
    return whole_file()


def alter(kind: str) -> None:
    """One small change of what an arm is made of."""
    import bpy

    wren = bpy.data.objects["Wren"]
    bone = wren.pose.bones["aux.hand_space.L"]
    if kind == "influence":
        bone.constraints[0].influence = 0.5
    elif kind == "order":
        wren.pose.bones["ik.span.L"].constraints.move(0, 1)
    elif kind == "variable":
        driver = next(curve for curve in wren.animation_data.drivers if len(curve.driver.variables))
        driver.driver.variables[0].targets[0].bone_target = "head"
    elif kind == "expression":
        wren.animation_data.drivers[0].driver.expression = "0"
    elif kind == "handle":
        from armwright.addon.curves import curves_of

        next(iter(curves_of(wren.animation_data.action))).keyframe_points[0].handle_right[1] += 0.25
    elif kind == "dial":
        wren.pose.bones["fk.clavicle.L"]["lift"] = 0.5
    elif kind == "lock":
        wren.pose.bones["fk.hand.L"].lock_location[0] = not wren.pose.bones["fk.hand.L"].lock_location[0]
    elif kind == "collection":
        wren.data.collections_all[0].is_visible = not wren.data.collections_all[0].is_visible
    elif kind == "member":
        wren.data.collections_all[0].assign(wren.data.bones["head"])
        wren.data.collections_all[1].assign(wren.data.bones["head"])
    elif kind == "weight":
        sleeve = bpy.data.objects["Sleeve"]
        sleeve.vertex_groups.new(name="pins").add([1], 0.5, "REPLACE")
    elif kind == "point":
        bpy.data.objects["Sleeve"].data.vertices[0].co.x += 0.125
    elif kind == "marker":
        bpy.context.scene.timeline_markers.new("here", frame=3)
    elif kind == "colour":
        wren.pose.bones["fk.hand.L"].color.palette = "THEME05"
    elif kind == "setting":
        bpy.context.scene.armwright_build.stature = 1.25


KINDS = (
    *("influence", "order", "variable", "expression", "handle", "dial", "lock", "collection", "member"),
    *("weight", "point", "marker", "colour", "setting"),
)


def test_the_comparison_sees_every_kind_of_change(walked: None) -> None:
    before = state()
    assert changes(before, state()) == []
    for kind in KINDS:
        alter(kind)
        now = state()
        assert changes(before, now), kind
        before = now


def test_two_hundred_operations_are_undone_and_redone_step_by_step(walked: None) -> None:
    import bpy

    rng = np.random.default_rng(SEED)
    names = list(undo_walk.MOVES)
    weights = np.array([undo_walk.WEIGHT.get(name, 1.0) for name in names])
    bpy.ops.ed.undo_push(message="begin")
    states, said = [state()], ["begin"]
    done: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    reasons: Counter[str] = Counter()

    while done.total() < OPERATIONS:
        name = str(rng.choice(names, p=weights / weights.sum()))
        # The edits are no steps of their own: undo goes behind them, to what the operation before has left.
        edits = [getattr(undo_walk, edit) for edit in undo_walk.BEFORE.get(name, ("back_to_wren",)) if rng.integers(4)]
        if rng.integers(3) == 0:
            edits.append(undo_walk.EDITS[rng.integers(len(undo_walk.EDITS))])
        for edit in edits:
            edit(rng)
        options = undo_walk.MOVES[name](rng)
        operator = getattr(bpy.ops.armwright, name)
        if not operator.poll():
            refused[name] += 1
            continue
        before = state() if name in undo_walk.CHANGE_NOTHING or rng.integers(4) == 0 else None
        try:
            outcome = operator("EXEC_DEFAULT", True, **options)
        except (RuntimeError, TypeError) as problem:
            # An error that is reported, or a choice that is not offered.
            assert "Traceback" not in str(problem), f"seed {SEED}: {name} {options}: {problem}"
            outcome = {"CANCELLED"}
            reasons[f"{name}: {str(problem)[:70]}"] += 1
        is_step = outcome == {"FINISHED"} and name not in undo_walk.CHANGE_NOTHING
        done[name] += outcome == {"FINISHED"}
        refused[name] += outcome != {"FINISHED"}
        if is_step:
            states.append(state())
            said.append(f"{name} {options}")
        elif before is not None:
            now = state()
            assert now == before, f"seed {SEED}: {name} {options} {outcome}: {changes(before, now)}"
    print(f"seed {SEED}: {dict(done)}; refused: {dict(refused)}; {len(states)} steps")
    print("\n".join(f"{count} x {reason}" for reason, count in reasons.most_common(8)))
    assert sum(one != other for one, other in itertools.pairwise(states)) > 0.8 * len(states)
    for index in range(len(states) - 2, -1, -1):
        assert bpy.ops.ed.undo() == {"FINISHED"}
        now = state()
        assert now == states[index], f"seed {SEED}: undo of {said[index + 1]}: {changes(states[index], now)}"
    for index in range(1, len(states)):
        assert bpy.ops.ed.redo() == {"FINISHED"}
        now = state()
        assert now == states[index], f"seed {SEED}: redo of {said[index]}: {changes(states[index], now)}"
