"""Every operator is one step of the host's undo: back to what was, and forward to the same keys, byte for byte.

The host's undo works without a window too: an operator called with "EXEC_DEFAULT" and True pushes its step as a click
does. What only a window does, the pieces of a conversion under a timer, `tests/gui/undo_job.py` undoes there.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import lantern, swing
from shots import character, override_character, save_character, set_in_motion

RANGE = {"arm": "BOTH", "mode": "hand", "first": 8, "last": 20}
# Operator, options, what is prepared: name of a function below; "" for nothing.
STEPS: list[tuple[str, dict[str, Any], str]] = [
    ("hold", {"arm": "L", "mode": "none"}, "held_both"),
    *(("hold", {"arm": "L", "mode": mode}, "") for mode in ("hand", "elbow", "both")),
    *(("flip_dial", {"arm": "L", "dial": dial}, "held") for dial in ("isolate", "lift", "stretch")),
    *(
        ("set_space", {"arm": "L", "hold": hold, "space": space}, "held_both_on_a_prop")
        for hold in ("hand", "elbow")
        for space in ("world", "torso", "head", "hand.R")
    ),
    ("set_space", {"arm": "L", "hold": "hand", "space": "Lantern"}, "a_space_to_spare"),
    ("take_off_space", {"arm": "L", "hold": "hand", "space": "Lantern"}, "a_space_to_spare"),
    *(("grab", {"arm": "L", "parts": parts}, "a_prop_selected") for parts in ("hand", "elbow", "both")),
    ("release", {"arm": "L"}, "held_both_on_a_prop"),
    *(
        ("hold_range", {"arm": "L", "parts": parts, "into": "SELECTION", "first": 8, "last": 20}, "a_prop_selected")
        for parts in ("hand", "elbow", "both")
    ),
    ("convert_range", RANGE, ""),
    ("convert_range", {**RANGE, "mode": "both", "keys": "fewest"}, ""),
    ("ask_range", RANGE, ""),
    ("mend_spaces", {}, "a_prop_lost"),
    ("remove_arms", {}, ""),
    ("build_arms", {}, "no_armature_chosen"),
    ("place_markers", {}, ""),
]


@pytest.fixture
def animated(wren: Any) -> Iterator[Any]:
    """A character in motion at frame 10, in pose mode, with the extension registered."""
    import bpy

    import armwright

    set_in_motion(wren)
    armwright.register()
    activate(wren, "POSE")
    bpy.context.scene.frame_set(10)
    yield wren
    armwright.unregister()


@pytest.fixture
def overridden(wren: Any, tmp_path: Path) -> Iterator[Any]:
    """The same with a character that is linked and overridden."""
    import bpy

    import armwright

    save_character(wren, tmp_path / "keeper.blend")
    over = override_character(tmp_path / "keeper.blend")
    set_in_motion(over)
    armwright.register()
    activate(over, "POSE")
    bpy.context.scene.frame_set(10)
    yield over
    armwright.unregister()


def call(operator: str, **options: Any) -> None:
    import bpy

    assert getattr(bpy.ops.armwright, operator)("EXEC_DEFAULT", True, **options) == {"FINISHED"}


def held() -> None:
    call("hold", arm="L", mode="hand")


def held_both() -> None:
    call("hold", arm="L", mode="both")


def a_prop_selected() -> None:
    import bpy

    prop = lantern()
    swing(prop)
    prop.select_set(True)
    bpy.context.scene.frame_set(10)


def held_both_on_a_prop() -> None:
    import bpy

    a_prop_selected()
    bpy.context.scene.frame_set(6)
    call("grab", arm="L", parts="both")
    bpy.context.scene.frame_set(10)


def a_space_to_spare() -> None:
    from armwright.addon import spaces, subjects

    held()
    spaces.ensure_space(subjects.subject_of(character()), "L", "hand", lantern())


def a_prop_lost() -> None:
    import bpy

    held_both_on_a_prop()
    bpy.data.objects.remove(bpy.data.objects["Lantern"])


def no_armature_chosen() -> None:
    import bpy

    bpy.ops.object.mode_set(mode="OBJECT")


def everything() -> dict[str, Any]:
    """The file, every key of every action, every constraint and every note on a bone, as data that compares."""
    import bpy
    from deep_snapshot import deep_snapshot

    from armwright.addon.convert_splice import read_keys
    from armwright.addon.curves import curves_of

    return {
        "file": deep_snapshot(),
        "keys": {
            f"{action.name} {curve.data_path} {curve.array_index}": (
                read_keys(curve).tobytes(),
                curve.extrapolation,
                curve.group.name if curve.group else "",
            )
            for action in bpy.data.actions
            for curve in curves_of(action)
        },
        "bones": {
            f"{item.name} {bone.name}": (
                [_constraint(entry) for entry in bone.constraints],
                {key: list(value) for key, value in bone.items() if hasattr(value, "__len__")},
            )
            for item in bpy.data.objects
            if item.type == "ARMATURE"
            for bone in item.pose.bones
        },
    }


def _constraint(entry: Any) -> dict[str, str]:
    out = {}
    for known in entry.bl_rna.properties:
        value = getattr(entry, known.identifier)
        if known.type == "POINTER":
            out[known.identifier] = value.name_full if hasattr(value, "name_full") else str(value is None)
        elif known.type == "COLLECTION":
            out[known.identifier] = repr([(item.target.name_full, item.subtarget, item.weight) for item in value])
        else:
            out[known.identifier] = repr(np.array(value).tolist())
    return out


@pytest.mark.parametrize("auto", [False, True], ids=["keying off", "keying on"])
@pytest.mark.parametrize(
    ("operator", "options", "prepare"),
    STEPS,
    ids=[" ".join([name, *(str(value) for value in options.values())]) for name, options, _ in STEPS],
)
def test_one_undo_takes_back_an_operator_and_one_redo_brings_it_again(
    animated: Any, operator: str, options: dict[str, Any], prepare: str, auto: bool
) -> None:
    undone_and_redone(operator, options, prepare, auto)


@pytest.mark.parametrize("auto", [False, True], ids=["keying off", "keying on"])
@pytest.mark.parametrize(
    ("operator", "options", "prepare"),
    [step for step in STEPS if step[0] not in ("remove_arms", "build_arms", "place_markers", "ask_range")],
    ids=[
        " ".join([name, *(str(value) for value in options.values())])
        for name, options, _ in STEPS
        if name not in ("remove_arms", "build_arms", "place_markers", "ask_range")
    ],
)
def test_it_is_one_step_on_a_linked_and_overridden_character_too(
    overridden: Any, operator: str, options: dict[str, Any], prepare: str, auto: bool
) -> None:
    undone_and_redone(operator, options, prepare, auto)


def undone_and_redone(operator: str, options: dict[str, Any], prepare: str, auto: bool) -> None:
    """Undo and redo one operator, and compare everything."""
    import bpy
    from deep_snapshot import differences

    if prepare:
        globals()[prepare]()
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = auto
    bpy.context.view_layer.update()
    bpy.ops.ed.undo_push(message="before")
    before, shown = everything(), poses()
    call(operator, **options)
    after, changed = everything(), poses()
    assert differences(before, after) != [], "nothing to undo: the test would prove nothing"
    assert bpy.ops.ed.undo() == {"FINISHED"}
    assert differences(before, everything()) == []
    assert poses() == shown
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert differences(after, everything()) == []
    assert poses() == changed


def poses() -> dict[str, list[list[float]]]:
    """Where every bone is now."""
    import bpy

    return {
        f"{item.name} {bone.name}": [list(row) for row in bone.matrix]
        for item in bpy.data.objects
        if item.type == "ARMATURE"
        for bone in item.pose.bones
    }


def test_a_refused_operator_leaves_no_step_of_undo(animated: Any) -> None:
    import bpy

    bpy.ops.ed.undo_push(message="before")
    held()
    after = everything()
    with pytest.raises(RuntimeError, match="nothing to hold"):
        bpy.ops.armwright.hold_range("EXEC_DEFAULT", True, arm="L", parts="hand", into="WORLD", first=9, last=5)
    from deep_snapshot import differences

    assert differences(after, everything()) == []
    # One undo goes back behind the hold that succeeded.
    bpy.ops.ed.undo()
    assert bpy.data.objects["Wren"].pose.bones["fk.clavicle.L"]["ik"] == 0.0


def test_undo_of_several_switches_goes_back_one_at_a_time(animated: Any) -> None:
    import bpy
    from deep_snapshot import differences

    bpy.ops.ed.undo_push(message="before")
    a_prop_selected()
    bpy.ops.ed.undo_push(message="prop")
    states = [everything()]
    for operator, options in (
        ("grab", {"arm": "L", "parts": "both"}),
        ("flip_dial", {"arm": "L", "dial": "lift"}),
        ("set_space", {"arm": "L", "hold": "elbow", "space": "torso"}),
        ("convert_range", RANGE),
        ("release", {"arm": "L"}),
    ):
        call(operator, **options)
        states.append(everything())
    for state in reversed(states[:-1]):
        assert bpy.ops.ed.undo() == {"FINISHED"}
        assert differences(state, everything()) == []
    for state in states[1:]:
        assert bpy.ops.ed.redo() == {"FINISHED"}
        assert differences(state, everything()) == []
