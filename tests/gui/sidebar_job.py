"""Runs in the full graphical host, started by click_sidebar.py: builds Wren and a lantern, opens the sidebar and
answers the driver's questions. It never presses a button itself: that is done by the driver's mouse.

Arguments after `--`: the folder of questions and answers, and a folder that holds this checkout as `armwright`.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import traceback
from typing import Any

import bpy
import numpy as np

sys.dont_write_bytecode = True
HERE = pathlib.Path(__file__).resolve()
EXCHANGE, PARENT = (pathlib.Path(text) for text in sys.argv[sys.argv.index("--") + 1 :][:2])
sys.path[:0] = [str(PARENT), str(HERE.parents[1] / "host")]
# How often questions are looked for, seconds.
EVERY = 0.02

_marked: dict[str, Any] = {}


def _places() -> dict[str, Any]:
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    regions = {region.type: region for region in area.regions}
    return {"window": window, "area": area, "sidebar": regions["UI"], "view": regions["WINDOW"]}


def _build() -> None:
    from characters import wren_on_own_armature
    from keepers import activate
    from props import lantern

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    armature = wren_on_own_armature()
    lantern("Lantern")
    bones = armature.pose.bones
    for name, turn in {
        "torso.1": (0.1, 0.0, 0.1),
        "torso.2": (0.15, 0.1, -0.2),
        "fk.clavicle.L": (0.1, 0.0, 0.05),
        "fk.upper_arm.L": (0.5, 0.2, -0.4),
        "fk.forearm.L": (1.1, 0.4, 0.0),
        "fk.hand.L": (0.2, -0.1, 0.3),
        "fk.upper_arm.R": (-0.3, -0.3, 0.5),
        "fk.forearm.R": (0.8, -0.5, 0.0),
        "fk.hand.R": (-0.3, 0.2, 0.1),
    }.items():
        bones[name].rotation_mode = bones[name].rotation_mode if name.startswith("fk") else "XYZ"
        bones[name].rotation_euler = turn
    activate(armature, "POSE")


def answer_geometry(_: dict[str, Any]) -> dict[str, Any]:
    """Where sidebar and view are, in pixels from the window's upper left corner."""
    from armwright.addon import host

    places = _places()
    height = places["window"].height

    def box(region: bpy.types.Region) -> list[int]:
        return [region.x, height - region.y - region.height, region.width, region.height]

    return {"sidebar": box(places["sidebar"]), "view": box(places["view"]), "host": host.version_name()}


def answer_hover(_: dict[str, Any]) -> dict[str, Any]:
    """The button under the mouse as the host itself names it: a command, or the path of a property."""
    places, manager = _places(), bpy.context.window_manager
    out = {"command": "", "path": ""}
    with bpy.context.temp_override(window=places["window"], area=places["area"], region=places["sidebar"]):
        if bpy.ops.ui.copy_python_command_button.poll():
            bpy.ops.ui.copy_python_command_button()
            out["command"] = manager.clipboard.replace("'", '"')
        elif bpy.ops.ui.copy_data_path_button.poll():
            manager.clipboard = ""
            bpy.ops.ui.copy_data_path_button(full_path=True)
            out["path"] = manager.clipboard
    return out


def answer_select(question: dict[str, Any]) -> dict[str, Any]:
    """Select objects (the armature stays active) and bones."""
    from armwright.addon import host

    armature = bpy.data.objects["Wren"]
    for item in bpy.context.view_layer.objects:
        item.select_set(item == armature or item.name in question.get("objects", ()))
    wanted = question.get("bones", ())
    for bone in armature.pose.bones:
        host.select(bone, bone.name in wanted)
        assert host.is_selected(bone) == (bone.name in wanted)
    armature.data.bones.active = armature.data.bones[wanted[-1]] if wanted else None
    _places()["area"].tag_redraw()
    return {}


def answer_script(question: dict[str, Any]) -> dict[str, Any]:
    """A change that is no click: prepare what is tested."""
    what = question["what"]
    if what == "lose the lantern":
        bpy.data.objects.remove(bpy.data.objects["Lantern"])
    elif what == "range":
        bpy.context.scene.frame_start, bpy.context.scene.frame_end = question["first"], question["last"]
        armature = bpy.data.objects["Wren"]
        for arm in "LR":
            # What was clicked before would be held already, and a conversion would have nothing to do.
            armature.pose.bones[f"fk.clavicle.{arm}"]["ik"] = 0.0
            armature.pose.bones[f"fk.clavicle.{arm}"]["elbow_hold"] = 0.0
        for frame, turn in ((question["first"], 0.2), (question["last"], 0.7)):
            armature.pose.bones["fk.upper_arm.L"].rotation_euler[0] = turn
            armature.pose.bones["fk.upper_arm.L"].keyframe_insert("rotation_euler", frame=frame)
        bpy.context.scene.frame_set(question["first"])
    elif what == "scroll to the proof":
        places = _places()
        with bpy.context.temp_override(window=places["window"], area=places["area"], region=places["sidebar"]):
            # A notch of the wheel each, more of them than it goes: the proof is the last but one.
            for _ in range(80):
                bpy.ops.view2d.scroll_down("EXEC_DEFAULT")
    elif what == "break a hand":
        _break_a_hand()
    elif what == "mend the hand":
        bone = bpy.data.objects["Wren"].pose.bones["hold.hand.L"]
        bone.constraints.remove(bone.constraints[BROKEN])
    else:
        raise ValueError(what)
    return {}


def _break_a_hand() -> None:
    """The left hand's hold follows the torso a little; what the proof says of one run is listed as it lists it."""
    from dataclasses import replace

    from armwright.addon import host, prove, sample
    from armwright.addon.operators.verdict_lists import show
    from armwright.addon.prove_runs import run
    from armwright.core.proof import verdicts
    from armwright.core.proof.results import Results
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = _subject()
    armature = subject.armature
    follow = armature.pose.bones["hold.hand.L"].constraints.new("COPY_LOCATION")
    follow.name, follow.target, follow.subtarget, follow.influence = BROKEN, armature, subject.record.torso, 0.01
    bpy.context.view_layer.update()
    wanted = ("torso-wiggle", "hand")
    spec = next(entry for entry in planned_runs(standard_motions(1)) if (entry.motion, entry.case.mode) == wanted)
    with sample.borrowed(armature) as stage:
        found = tuple(check for made in run(subject, spec, stage) for check in verdicts.checks(spec, made)[0])
    lengths = tuple((arm, g.upper_length + g.forearm_length) for arm, g in subject.geometries.items())
    digest = subject.record.plan_digest
    results = Results(host.version_name(), armature.name, digest, 1, lengths, found)
    results = replace(results, made_with=prove.made_with())
    show(bpy.context.window_manager.armwright_proof, armature.name, results)


BROKEN = "broken on purpose"


def answer_mark(_: dict[str, Any]) -> dict[str, Any]:
    """From here on movement and differences count; one undo leads back to here."""
    from deep_snapshot import deep_snapshot

    places = _places()
    with bpy.context.temp_override(window=places["window"], area=places["area"], region=places["view"]):
        bpy.ops.ed.undo_push(message="mark")
    _marked["joints"], _marked["file"] = _joints(), deep_snapshot()
    return {}


def answer_differences(_: dict[str, Any]) -> dict[str, Any]:
    """What is not as it was at the mark."""
    from deep_snapshot import deep_snapshot, differences

    return {"lines": differences(_marked["file"], deep_snapshot())}


def answer_state(_: dict[str, Any]) -> dict[str, Any]:
    """What the arms hold and in what, as evaluated, and how far they have moved since the mark."""
    from armwright.addon import spaces
    from armwright.addon.curves import curves_of
    from armwright.addon.holds import mode_of

    subject = _subject()
    armature, action = subject.armature, subject.armature.animation_data.action
    arms = {}
    for arm in subject.arms:
        dials = armature.pose.bones[subject.record.bone(arm, "dials")]
        arms[arm] = {
            "mode": mode_of(armature, subject.record, arm),
            "dials": {key: float(value) for key, value in dials.items() if isinstance(value, float)},
            "spaces": {hold: spaces.active_space(subject, arm, hold).key for hold in spaces.HOLDS},
            "known": {hold: [item.key for item in spaces.spaces_of(subject, arm, hold)] for hold in spaces.HOLDS},
        }
    proof = bpy.context.window_manager.armwright_proof
    return {
        "arms": arms,
        "moved": _moved(subject),
        "keys": sum(len(curve.keyframe_points) for curve in curves_of(action)) if action is not None else 0,
        "keyed": sorted({curve.data_path for curve in curves_of(action)}) if action is not None else [],
        "modal": [item.bl_idname for item in bpy.context.window_manager.windows[0].modal_operators],
        "shown": _shown(),
        "proof": {
            "running": proof.running,
            "done": proof.done,
            "headline": proof.headline,
            "verdicts": [[line.requirement, line.verdict, line.figure, line.limit] for line in proof.verdicts],
        },
    }


def _shown() -> dict[str, Any]:
    """The check that is shown on the rig, its figure, and how far the wrist is off its trace; or nothing."""
    from armwright.addon import shown_check

    showing = shown_check.showing()
    if showing is None:
        return {}
    check, subject = showing.again.check, _subject()
    wrist = np.array(subject.armature.pose.bones[subject.record.bone(check.arm, "wrist")].matrix)[:3, 3]
    off = float(np.linalg.norm(wrist - showing.again.trace.chain[3]))
    return {"check": check.id, "verdict": check.verdict, "value": check.value, "off": off}


def _subject() -> Any:
    from armwright.addon import subjects

    return subjects.subject_of(bpy.data.objects["Wren"])


def _joints() -> dict[str, Any]:
    from armwright.addon.switch import joints

    subject = _subject()
    return {arm: joints(subject, arm) for arm in subject.arms}


def _moved(subject: Any) -> list[float]:
    """Largest way of a joint (arm lengths) and turn of a segment (degrees) over both arms since the mark."""
    from armwright.core.rotations import angle_between

    ways, turns = [], []
    for arm, now in _joints().items():
        before, geometry = _marked["joints"][arm], subject.geometries[arm]
        length = geometry.upper_length + geometry.forearm_length
        ways.append(np.linalg.norm(now[:, :3, 3] - before[:, :3, 3], axis=1).max() / length)
        turns.append(np.degrees(angle_between(before[:, :3, :3], now[:, :3, :3]).max()))
    return [float(max(ways)), float(max(turns))]


ANSWERS = {name.removeprefix("answer_"): work for name, work in globals().items() if name.startswith("answer_")}


def _serve() -> float:
    question_file, answer_file = EXCHANGE / "question.json", EXCHANGE / "answer.json"
    if question_file.exists():
        question = json.loads(question_file.read_text())
        question_file.unlink()
        try:
            answer = ANSWERS[question["ask"]](question)
        except Exception:
            answer = {"error": traceback.format_exc()}
        draft = EXCHANGE / "answer.part"
        draft.write_text(json.dumps({**answer, "number": question["number"]}))
        draft.replace(answer_file)
    return EVERY


def _start() -> None:
    import armwright

    armwright.register()
    _build()
    _places()["area"].spaces.active.show_region_ui = True
    bpy.app.timers.register(_open_tab, first_interval=1.0)


def _open_tab() -> None:
    _places()["sidebar"].active_panel_category = "Armwright"
    _places()["area"].tag_redraw()
    answer_mark({})
    bpy.app.timers.register(_serve)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()


if bpy.app.background:
    print("These clicks need a window: start the host without --background, on a display.", flush=True)
    sys.exit(2)
bpy.app.timers.register(_start, first_interval=1.5)
