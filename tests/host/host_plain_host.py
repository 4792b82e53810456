"""The demo's rig in a host that knows nothing of the add-on and runs no scripts of a file: it moves, and it obeys."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shots import arm_length, in_plain_host

# How far two processes of one host may be apart, arm lengths; axes of a bone without unit.
SAME = 1e-6
# Between two versions of the host, which do not add up in the same order.
ACROSS = 5e-6
DIALS: dict[str, float] = {
    "ik": 0.35,
    "elbow_hold": 0.6,
    "isolate": 0.7,
    "lift": 1.0,
    "stretch": 1.0,
    "soft": 0.8,
    "volume": 1.0,
    "upper_length": 1.3,
    "forearm_length": 0.75,
    "upper_roll": 0.5,
    "hand_roll": 0.9,
    "hand_side": 0.4,
    "hand_spin": -0.6,
    "finger_bend": 0.3,
}


@dataclass(frozen=True)
class Saved:
    """The demo's file, and what the process that built it shows."""

    path: Path
    frames: tuple[int, int]
    length: float
    played: np.ndarray
    changed: dict[str, np.ndarray]


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> Saved:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    from armwright.demo_blend_scripts.scene import build_scene

    armature = build_scene().character.armature
    path = tmp_path_factory.mktemp("demo") / "demo.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    scene = bpy.context.scene
    names: dict[str, Any] = {"bpy": bpy, "np": np, "sys": sys, "json": json}
    exec(PLAY, names)
    played = np.array(names["answer"])
    exec(CHANGE, {**names, "changes": changes(scene.frame_end)}, found := {})
    changed = {key: np.array(value) for key, value in found["answer"].items()}
    return Saved(path, (scene.frame_start, scene.frame_end), arm_length(armature), played, changed)


# What both processes do, in the same words.
BONES = """
armature = next(item for item in bpy.data.objects if item.type == "ARMATURE" and "fk.clavicle.L" in item.pose.bones)
joints = [bone.name for bone in armature.pose.bones if bone.name.startswith("skin.")]
joints += [f"aux.{part}.{side}" for part in ("upper_arm", "elbow", "wrist") for side in "LR"]
def shown():
    bpy.context.view_layer.update()
    return [[list(row) for row in armature.pose.bones[name].matrix] for name in joints]
"""
PLAY = (
    BONES
    + """
answer = []
for frame in range(bpy.context.scene.frame_start, bpy.context.scene.frame_end + 1):
    bpy.context.scene.frame_set(frame)
    answer.append(shown())
"""
)
CHANGE = (
    BONES
    + """
# By hand: without the action, on a pose in which every dial says something.
bpy.context.scene.frame_set((bpy.context.scene.frame_start + bpy.context.scene.frame_end) // 2)
armature.animation_data.action = None
answer = {}
def rest(side):
    bones = armature.pose.bones
    dials = bones[f"fk.clavicle.{side}"]
    for bone in bones:
        bone.matrix_basis.identity()
        bone.location, bone.scale = (0, 0, 0), (1, 1, 1)
        bone.rotation_quaternion, bone.rotation_euler = (1, 0, 0, 0), (0, 0, 0)
    for other in "LR":
        for hold in ("hand", "elbow"):
            for constraint in bones[f"aux.{hold}_space.{other}"].constraints:
                constraint.influence = 0.0
    bones["torso.2"].rotation_euler = (0.2, -0.3, 0.25)
    bones["head"].rotation_euler = (0.3, 0.2, -0.3)
    dials.rotation_euler = (0.1, 0.05, 0.1)
    bones[f"fk.upper_arm.{side}"].rotation_euler = (0.5, 0.3, 0.9)
    bones[f"fk.forearm.{side}"].rotation_euler = (1.1, 0.4, 0.0)
    bones[f"fk.hand.{side}"].rotation_euler = (0.3, 0.2, -0.2)
    bones[f"hold.elbow.{side}"].location = (0.05, -0.08, 0.12)
    for key, value in {"ik": 0.0, "elbow_hold": 0.0, "isolate": 0.0, "lift": 0.0, "stretch": 0.0, "soft": 0.0,
                       "volume": 0.0, "upper_length": 1.0, "forearm_length": 1.0, "upper_roll": 0.0,
                       "hand_roll": 0.0, "hand_side": 0.0, "hand_spin": 0.0, "finger_bend": 0.0}.items():
        dials[key] = value
    return dials
for side in "LR":
    for key, context, value in changes["dials"]:
        dials = rest(side)
        for other, amount in context.items():
            dials[other] = amount
        # A target that an arm of this length does not reach, for what only then shows.
        if key in ("stretch", "soft", "volume"):
            armature.pose.bones[f"hold.hand.{side}"].location = (0.1, 0.45, 0.1)
        armature.update_tag()
        answer[f"{key}.{side}.before"] = shown()
        dials[key] = value
        armature.update_tag()
        answer[f"{key}.{side}.after"] = shown()
    for hold, dial in (("hand", "ik"), ("elbow", "elbow_hold")):
        for space in ("torso", "head"):
            rest(side)[dial] = 1.0
            armature.update_tag()
            answer[f"{hold} in {space}.{side}.before"] = shown()
            armature.pose.bones[f"aux.{hold}_space.{side}"].constraints[space].influence = 1.0
            armature.update_tag()
            answer[f"{hold} in {space}.{side}.after"] = shown()
"""
)
DRIVERS = """
answer = {"drivers": [], "texts": len(bpy.data.texts), "handlers": 0, "owners": 0}
for kind in (bpy.data.objects, bpy.data.armatures, bpy.data.meshes, bpy.data.shape_keys, bpy.data.materials,
             bpy.data.scenes, bpy.data.worlds, bpy.data.lights, bpy.data.cameras, bpy.data.curves):
    for item in kind:
        for curve in (item.animation_data.drivers if item.animation_data else ()):
            driver = curve.driver
            plain = driver.type != "SCRIPTED" or driver.is_simple_expression
            answer["drivers"].append([item.name, curve.data_path, curve.is_valid and driver.is_valid, plain])
"""


def changes(last: int) -> dict[str, Any]:
    """Which dials to turn: name, what else is turned before it, value."""
    ik = {"ik": 1.0}
    context = {"stretch": ik, "soft": ik, "volume": {**ik, "stretch": 1.0}, "upper_roll": ik}
    context |= {"hand_roll": ik, "hand_side": ik, "hand_spin": ik, "finger_bend": {**ik, "hand_roll": 1.2}}
    return {"dials": [[key, context.get(key, {}), value] for key, value in DIALS.items()]}


def apart(first: np.ndarray, second: np.ndarray, length: float) -> float:
    """Largest difference of places, arm lengths, and of axes."""
    difference = np.abs(first - second)
    return float(max((difference[..., :3, 3] / length).max(), difference[..., :3, :3].max()))


def test_the_whole_action_plays_the_same_without_the_add_on(saved: Saved) -> None:
    plain = np.array(in_plain_host(PLAY, str(saved.path)))
    assert len(plain) == saved.frames[1] - saved.frames[0] + 1
    worst = apart(plain, saved.played, saved.length)
    print(f"{len(plain)} frames, {plain.shape[1]} bones: {worst:.1e}")
    assert worst < SAME
    # The arms do move: every one of the shown bones of an arm travels or turns by more than rounding.
    moved = np.abs(np.diff(plain, axis=0)).max(axis=(0, 2, 3))
    assert moved.min() > 1e-3


def test_every_dial_and_space_obeys_the_hand_without_the_add_on(saved: Saved) -> None:
    program = f"import json\nchanges = json.loads(sys.argv[2])\n{CHANGE}"
    found = in_plain_host(program, str(saved.path), json.dumps(changes(saved.frames[1])))
    assert found.keys() == saved.changed.keys()
    worst, least = 0.0, np.inf
    for name in sorted({key.rsplit(".", 1)[0] for key in found}):
        before, after = (np.array(found[f"{name}.{when}"]) for when in ("before", "after"))
        for when, value in (("before", before), ("after", after)):
            worst = max(worst, apart(value, saved.changed[f"{name}.{when}"], saved.length))
        turned = apart(before, after, saved.length)
        assert turned > 1e-3, f"{name} changes nothing"
        least = min(least, turned)
    print(
        f"{len(found) // 2} changes by hand: {worst:.1e} from the process with the add-on; the least moves {least:.1e}"
    )
    assert worst < SAME


def test_every_driver_is_simple_and_valid_and_nothing_needs_python(saved: Saved) -> None:
    found = in_plain_host(DRIVERS, str(saved.path))
    assert len(found["drivers"]) > 40
    assert [entry for entry in found["drivers"] if not (entry[2] and entry[3])] == []
    assert found["texts"] == 0


def other_host() -> str | None:
    """The environment of a newer host beside this one, as the developers' setup lays them out; None without it."""
    newer = Path(sys.prefix).parent / "3.13" / "bin" / "python"
    return str(newer) if newer.exists() and sys.version_info < (3, 13) else None


@pytest.mark.skipif(other_host() is None, reason="needs the environment of a newer host beside this one")
def test_a_newer_host_plays_a_file_of_an_older_one_the_same(saved: Saved) -> None:
    executable = other_host()
    assert executable is not None
    import bpy

    assert tuple(in_plain_host("answer = list(bpy.app.version)", str(saved.path), executable=executable)) > tuple(
        bpy.app.version
    )
    plain = np.array(in_plain_host(PLAY, str(saved.path), executable=executable))
    worst = apart(plain, saved.played, saved.length)
    print(f"a newer host: {worst:.1e}")
    assert worst < ACROSS
