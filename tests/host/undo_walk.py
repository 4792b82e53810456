"""What a random walk over the operators does: each move is an operator with options, or an edit of a user's between."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from keepers import activate
from shots import LAST, set_in_motion

sys.path.insert(0, str(Path(__file__).parent.parent / "core"))

Call = tuple[str, dict[str, Any]]
Rng = np.random.Generator

# Operators that are no moves of the walk, and why.
NOT_WALKED = {
    "run_proof": "no step of the undo by design: what it found survives one; host_kept_results.py undoes around it",
    "save_report": "needs a proof, and writes other files only",
    "recall_proof": "needs a proof, and fills a list of the session only",
    "show_check": "for a window only; host_show_check.py puts its pose back",
    "draft_card": "writes another file, and fills a list of the session only",
    "run_card_proof": "no step of the undo, as run_proof; host_card_proof.py undoes around it",
    "ask_hand_over": "passes its options on to hand_over, which is walked",
}
# Those that change nothing in the file: nothing may differ after them, and they are no step of the undo.
CHANGE_NOTHING = ("run_study", "save_controls_page", "hand_over")


def begin(folder: Path) -> None:
    """Wren in motion, somebody's armature with a torso, a body and a sleeve, two things to hold; keying is on.

    An undo behind an edit of bones, also one by hand, has the host play the animation again: what was posed without a
    key on a channel that has keys is lost there. Single steps without keying are undone in host_undo.py.
    """
    import bpy
    from characters import torso_armature, wren_on_own_armature
    from fit_bodies import Shape, tubes
    from tubes import joints_of, tube

    wren = wren_on_own_armature()
    set_in_motion(wren)
    torso_armature("Keeper").location = (2.0, 0.0, 0.0)
    tube("Sleeve", joints_of(wren, "L"), 0.04, 3, 6)
    made = tubes(Shape(flexion=20.0))
    data = bpy.data.meshes.new("Body")
    data.from_pydata([tuple(map(float, p)) for p in made.vertices], [], [tuple(map(int, f)) for f in made.faces])
    body = bpy.data.objects.new("Body", data)
    body.location = (-2.0, 0.0, 0.0)
    bpy.context.scene.collection.objects.link(body)
    for name in ("Lantern", "Rope"):
        new_prop(name)
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = True
    bpy.context.scene["walk_folder"] = str(folder)
    activate(wren, "POSE")
    bpy.context.scene.frame_set(10)


def new_prop(name: str) -> None:
    """A thing to hold that moves."""
    import bpy

    prop = bpy.data.objects.new(name, None)
    bpy.context.scene.collection.objects.link(prop)
    for frame, place in ((1, (0.3, -0.3, 1.1)), (LAST, (0.35, -0.25, 1.0))):
        prop.location = place
        prop.keyframe_insert("location", frame=frame)


# --- moves: options by chance -------------------------------------------------------------------------------------


def pick(rng: Rng, choices: Any) -> Any:
    return choices[int(rng.integers(len(choices)))]


def an_arm(rng: Rng) -> str:
    return str(pick(rng, ("L", "R", "BOTH", "SELECTED", "L", "R")))


def _range(rng: Rng) -> dict[str, int]:
    first = int(rng.integers(1, LAST - 4))
    return {"first": first, "last": first + int(rng.integers(1, 12))}


def _space(rng: Rng) -> dict[str, Any]:
    return {
        "arm": str(pick(rng, ("L", "R"))),
        "hold": str(pick(rng, ("hand", "elbow"))),
        "space": str(pick(rng, ("world", "torso", "head", "hand.R", "hand.L", "Lantern", "Rope"))),
    }


def _unused_space(rng: Rng) -> dict[str, Any]:
    """One that was added and carries nothing, if there is one."""
    import bpy

    from armwright.addon import selection, spaces, subjects
    from armwright.core.errors import HostError

    try:
        subject = subjects.subject_of(selection.armature_of(bpy.context))
    except HostError:
        return _space(rng)
    found = [
        {"arm": arm, "hold": hold, "space": space.key}
        for arm in subject.arms
        for hold in ("hand", "elbow")
        for space in spaces.spaces_of(subject, arm, hold)
        if space.key in ("Lantern", "Rope") and not space.active
    ]
    return dict(pick(rng, found)) if found else _space(rng)


def _grab(rng: Rng) -> dict[str, Any]:
    parts, into = str(pick(rng, ("hand", "elbow", "both"))), str(pick(rng, ("SELECTION", "SELECTION", "WORLD")))
    return {"arm": an_arm(rng), "parts": parts, "into": into}


def _convert(rng: Rng) -> dict[str, Any]:
    keys = str(pick(rng, ("every", "fewest")))
    return {"arm": an_arm(rng), "mode": str(pick(rng, ("none", "hand", "elbow", "both"))), "keys": keys, **_range(rng)}


def _file(name: str) -> str:
    import bpy

    return str(Path(bpy.context.scene["walk_folder"]) / name)


MOVES: dict[str, Callable[[Rng], dict[str, Any]]] = {
    "hold": lambda rng: {"arm": an_arm(rng), "mode": str(pick(rng, ("none", "hand", "elbow", "both")))},
    "flip_dial": lambda rng: {"arm": an_arm(rng), "dial": str(pick(rng, ("isolate", "lift", "stretch")))},
    "set_space": _space,
    "take_off_space": _unused_space,
    "grab": _grab,
    "release": lambda rng: {"arm": an_arm(rng)},
    "hold_range": lambda rng: {**_grab(rng), **_range(rng)},
    "mend_spaces": lambda rng: {},
    "convert_range": _convert,
    "ask_range": _convert,
    "make_hand_poses": lambda rng: {},
    "place_markers": lambda rng: {},
    "measure_mesh": lambda rng: {},
    "read_joints": lambda rng: {"again": bool(rng.integers(2))},
    "build_arms": lambda rng: {},
    "remove_arms": lambda rng: {"anyway": bool(rng.integers(2))},
    "bind_skin": lambda rng: {"way": str(pick(rng, ("auto", "names")))},
    "run_study": lambda rng: {},
    "mark_phases": lambda rng: {},
    "clear_phase_marks": lambda rng: {},
    "hold_phases": lambda rng: {},
    "save_controls_page": lambda rng: {"filepath": _file("controls.html"), "replace": True},
    "hand_over": lambda rng: {"filepath": _file("skin.glb"), "first": 1, "last": 2, "replace": True},
}
# How often a move is tried for each time that the others are.
WEIGHT = {
    "hand_over": 0.1,
    "read_joints": 0.2,
    "remove_arms": 0.3,
    "measure_mesh": 0.3,
    "place_markers": 0.4,
    "save_controls_page": 0.2,
    "run_study": 0.5,
}
# What has to be so for most tries of a move to come to something: edits that are made before it now and then.
BEFORE: dict[str, tuple[str, ...]] = {
    "place_markers": ("take_markers_away",),
    "measure_mesh": ("select_body",),
    "read_joints": ("select_body",),
    "bind_skin": ("select_sleeve",),
    "build_arms": ("choose_what_to_build",),
    "mend_spaces": ("lose_a_prop",),
    "grab": ("select_a_prop",),
    "hold_range": ("select_a_prop",),
    "take_off_space": ("offer_a_space",),
    "hold_phases": ("tick_a_phase",),
}


# --- edits: what a user does between ------------------------------------------------------------------------------


def armatures() -> list[Any]:
    import bpy

    return [item for item in bpy.data.objects if item.type == "ARMATURE" and "armwright" in item]


def _object_mode() -> None:
    import bpy

    if bpy.context.object is not None and bpy.context.object.mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")


def _select(*names: str) -> None:
    """In object mode, the last one active."""
    import bpy

    _object_mode()
    for item in bpy.context.view_layer.objects:
        item.select_set(item.name in names)
    bpy.context.view_layer.objects.active = bpy.data.objects.get(names[-1])


def take_markers_away(rng: Rng) -> None:
    from armwright.addon import marker_objects

    if rng.integers(2):
        marker_objects.take_away()


def select_body(rng: Rng) -> None:
    _select("Body")


def select_sleeve(rng: Rng) -> None:
    found = armatures()
    _select("Sleeve", *([pick(rng, found).name] if found else []))


def select_a_prop(rng: Rng) -> None:
    import bpy

    props = [item.name for item in bpy.data.objects if item.type == "EMPTY" and item.name in ("Lantern", "Rope")]
    found = armatures()
    if props and found:
        _select(str(pick(rng, props)), str(pick(rng, found).name))


def back_to_wren(rng: Rng) -> None:
    """Pose mode of one that has arms, a control of an arm selected."""
    import bpy

    from armwright.addon import host

    found = armatures()
    if not found:
        return
    item = pick(rng, found)
    _select(item.name)
    bpy.ops.object.mode_set(mode="POSE")
    chosen = str(pick(rng, ("fk.hand.L", "hold.hand.R", "fk.forearm.R", "")))
    for bone in item.pose.bones:
        host.select(bone, bone.name == chosen)
    if chosen:
        item.data.bones.active = item.data.bones[chosen]


def choose_what_to_build(rng: Rng) -> None:
    import bpy

    _object_mode()
    settings = bpy.context.scene.armwright_build
    names = [name for name in ("Wren", "Keeper") if name in bpy.data.objects]
    # A new armature only while there are few, or the walk would get slower with every step.
    if len(armatures()) < 2:
        names.append("")
    name = str(pick(rng, names))
    settings.armature = bpy.data.objects[name] if name else None
    settings.torso = {"Keeper": "chest", "Wren": "torso.2", "": ""}[name]
    settings.stature = float(pick(rng, (1.7, 1.6, 1.8)))
    settings.fingers = bool(rng.integers(3) == 0)
    settings.source = str(pick(rng, ("stature", "stature", "markers", *(("rig",) if settings.armature else ()))))


def lose_a_prop(rng: Rng) -> None:
    import bpy

    for name in ("Rope", "Lantern"):
        if name in bpy.data.objects:
            if rng.integers(2):
                bpy.data.objects.remove(bpy.data.objects[name])
        else:
            new_prop(name)
    bpy.context.scene.frame_set(bpy.context.scene.frame_current)


def offer_a_space(rng: Rng) -> None:
    """A thing that a hold can be held in, and is not yet."""
    import bpy

    from armwright.addon import spaces, subjects

    back_to_wren(rng)
    props = [bpy.data.objects[name] for name in ("Rope", "Lantern") if name in bpy.data.objects]
    if props and bpy.context.object in armatures():
        subject = subjects.subject_of(bpy.context.object)
        spaces.ensure_space(subject, str(pick(rng, ("L", "R"))), str(pick(rng, ("hand", "elbow"))), pick(rng, props))


def tick_a_phase(rng: Rng) -> None:
    import bpy

    lines = [line for line in bpy.context.window_manager.armwright_study.phases if line.holdable]
    for line in lines:
        line.ticked = False
    if lines:
        pick(rng, lines).ticked = True


def go_to_a_frame(rng: Rng) -> None:
    import bpy

    bpy.context.scene.frame_set(int(rng.integers(1, LAST + 1)))


def pose_something(rng: Rng) -> None:
    import bpy

    for item in armatures():
        bone = item.pose.bones.get(str(pick(rng, ("fk.upper_arm.L", "fk.forearm.R", "torso.2", "chest"))))
        if bone is not None and bone.rotation_mode != "QUATERNION":
            bone.rotation_euler = rng.uniform(-0.4, 0.4, 3).tolist()
            bone.keyframe_insert("rotation_euler", frame=bpy.context.scene.frame_current)
    bpy.context.view_layer.update()


def add_something_of_ones_own(rng: Rng) -> None:
    """A bone's constraint, or a note, where a build must keep it."""
    for item in armatures():
        bone = item.pose.bones.get(str(pick(rng, ("fk.hand.L", "hold.hand.R", "fk.upper_arm.R"))))
        if bone is None:
            continue
        if rng.integers(2):
            bone.constraints.new("LIMIT_SCALE").name = f"mine {int(rng.integers(100))}"
        else:
            bone["note"] = int(rng.integers(100))


EDITS: tuple[Callable[[Rng], None], ...] = (
    back_to_wren,
    go_to_a_frame,
    pose_something,
    add_something_of_ones_own,
    select_a_prop,
)
