"""A character file, and a shot that links and overrides the character as the host's menu does, for the host tests."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np

LAST = 40
JOINTS = ("skin.upper_arm", "skin.forearm", "skin.hand")


def save_character(armature: Any, path: Path) -> None:
    """Put a character and a coat that it deforms into a collection of their own, and save them."""
    import bpy

    coat = bpy.data.objects.new("Coat", bpy.data.meshes.new("Coat"))
    coat.parent = armature
    coat.modifiers.new("Skin", "ARMATURE").object = armature
    collection = bpy.data.collections.new("Keeper")
    bpy.context.scene.collection.children.link(collection)
    for item in (armature, coat):
        for owner in item.users_collection:
            owner.objects.unlink(item)
        collection.objects.link(item)
    bpy.ops.wm.save_as_mainfile(filepath=str(path))


def link_character(path: Path) -> Any:
    """In an empty file: an instance of the character's collection, as File > Link makes it."""
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(path), link=True) as (_, wanted):
        wanted.collections = ["Keeper"]
    instance = bpy.data.objects.new("Keeper", None)
    instance.instance_type, instance.instance_collection = "COLLECTION", wanted.collections[0]
    bpy.context.scene.collection.objects.link(instance)
    bpy.context.view_layer.update()
    return instance


def override_character(path: Path) -> Any:
    """In an empty file: the armature of the linked character, made editable by the menu's own operator."""
    import bpy
    from keepers import activate

    activate(link_character(path))
    assert bpy.ops.object.make_override_library() == {"FINISHED"}
    armature = character()
    bpy.context.view_layer.update()
    assert armature.override_library is not None
    assert not armature.override_library.is_system_override
    activate(armature)
    return armature


def character() -> Any:
    """The armature with arms that is not linked."""
    import bpy

    return next(item for item in bpy.data.objects if "armwright" in item and not item.library)


def set_in_motion(armature: Any, seed: int = 9) -> None:
    """Keys at 1, the middle and the end: the torso leans and both arms swing."""
    rng = np.random.default_rng(seed)
    for frame in (1, LAST // 2, LAST):
        for side in "LR":
            for part, size in (("upper_arm", 0.3), ("hand", 0.3)):
                _key(armature, f"fk.{part}.{side}", rng.uniform(-size, size, 3), frame)
            bend = (rng.uniform(0.9, 1.4), rng.uniform(-0.5, 0.5), 0.0)
            _key(armature, f"fk.forearm.{side}", np.array(bend), frame)
        _key(armature, "torso.2", rng.uniform(-0.1, 0.1, 3), frame)


def _key(armature: Any, name: str, angles: np.ndarray, frame: int) -> None:
    bone = armature.pose.bones[name]
    bone.rotation_euler = angles.tolist()
    bone.keyframe_insert("rotation_euler", frame=frame)


def both_arms(armature: Any, frames: Any = range(1, LAST + 1)) -> np.ndarray:
    """Joints of both arms over frames, (N, 6, 4, 4), armature space."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        out.append([np.array(armature.pose.bones[f"{joint}.{side}"].matrix) for side in "LR" for joint in JOINTS])
    return np.array(out)


def arm_length(armature: Any) -> float:
    """Metres, armature space."""
    bones = armature.data.bones
    return float(bones["fk.upper_arm.L"].length + bones["fk.forearm.L"].length)


def in_plain_host(program: str, *arguments: str, executable: str = sys.executable) -> Any:
    """What `program` says in a new process of the host without the add-on, scripts off: its last line, as JSON.

    `program` sees `bpy`, `np`, `sys` and its `arguments`, and leaves its answer in `answer`.
    """
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    done = subprocess.run(
        [executable, "-I", "-c", f"{PREAMBLE}\n{program}\n{EPILOGUE}", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=300,
        env=clean,
        check=False,
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("ANSWER ")]
    assert lines, done.stdout[-3000:]
    assert done.returncode == 0, done.stdout[-3000:]
    assert "ependency cycle" not in done.stdout, done.stdout[-3000:]
    return json.loads(lines[-1].removeprefix("ANSWER "))


PREAMBLE = """
import json, os, sys
import bpy
import numpy as np
bpy.ops.wm.read_factory_settings(use_empty=True)
bpy.context.preferences.filepaths.use_scripts_auto_execute = False
bpy.ops.wm.open_mainfile(filepath=sys.argv[1], use_scripts=False)
"""
EPILOGUE = """
assert not [name for name in sys.modules if "armwright" in name.split(".")]
assert not bpy.context.preferences.filepaths.use_scripts_auto_execute
assert not bpy.app.autoexec_fail, bpy.app.autoexec_fail_message
print("ANSWER " + json.dumps(answer), flush=True)
os._exit(0)
"""
