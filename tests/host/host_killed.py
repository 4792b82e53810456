"""A command that is killed at any moment leaves the file that was there, or the new one, whole."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import struct
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

CHILD = Path(__file__).with_name("killed_child.py")
SEED = int(os.environ.get("ARMWRIGHT_KILL_SEED", "20"))
LIMIT_SECONDS = 120
# Moments over the whole command, and while it writes: 50 in all over five commands.
ANY, WRITING = 6, 4
OLD = b"the old file"
# Of a key's frame, value or handle: what single precision leaves of a pose that was solved twice.
ROUNDING = 1e-5


def child(when: str, seconds: float, arguments: tuple[str, ...]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(CHILD), when, repr(seconds), *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_SECONDS,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )


@dataclass(frozen=True, eq=False)
class Content:
    """What a file holds: of a .blend its bones, channels, keys and dials; of a .glb its whole structure.

    `structure`: as text. `numbers`: of the keys' places and handles, one row.
    """

    structure: str
    numbers: np.ndarray

    def is_like(self, other: Content) -> bool:
        """Whether nothing is missing or another. Numbers are solved, and a sum's last bit depends on where in memory
        the process has its arrays: the same command twice differs by some 1e-7."""
        return (
            self.structure == other.structure
            and self.numbers.shape == other.numbers.shape
            and np.allclose(self.numbers, other.numbers, rtol=ROUNDING, atol=ROUNDING)
        )


def content(path: Path) -> Content:
    """What is in a file, which is refused where it is not whole."""
    if path.suffix == ".glb":
        data = path.read_bytes()
        magic, _, length = struct.unpack("<4sII", data[:12])
        assert magic == b"glTF" and length == len(data), "a .glb that is not whole"
        size = struct.unpack("<I", data[12:16])[0]
        parts = json.loads(data[20 : 20 + size])
        kept = {name: parts[name] for name in ("nodes", "animations", "accessors")}
        return Content(json.dumps(kept, sort_keys=True), np.zeros(0))
    import bpy

    from armwright.addon.convert_splice import KEY, read_keys
    from armwright.addon.convert_write import curve_bag

    bpy.ops.wm.open_mainfile(filepath=str(path))
    found: dict[str, Any] = {}
    numbers: list[np.ndarray] = []
    for item in sorted(bpy.data.objects, key=lambda item: item.name):
        found[item.name] = [item.type]
        if item.type == "ARMATURE":
            found[item.name] += [
                [bone.name, [list(row) for row in bone.bone.matrix_local], sorted(bone.keys()), len(bone.constraints)]
                for bone in item.pose.bones
            ]
            if item.animation_data is not None and item.animation_data.action is not None:
                for curve in sorted(curve_bag(item).fcurves, key=lambda one: (one.data_path, one.array_index)):
                    keys = read_keys(curve)
                    kinds = [keys[name].tolist() for name in KEY.names if KEY[name].base.kind == "i"]
                    found[item.name].append([curve.data_path, curve.array_index, kinds])
                    numbers += [keys[name].ravel() for name in KEY.names if KEY[name].base.kind != "i"]
    return Content(json.dumps(found, default=list), np.concatenate([np.zeros(0), *numbers]))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A body, a rig, and a rig that acts, each in a .blend; and a recording."""
    import bpy
    from characters import torso_armature, wren_on_own_armature
    from swings import animated

    from armwright.demo_blend_scripts.recording import recording

    path = tmp_path_factory.mktemp("killed")
    (path / "recording.bvh").write_text(recording(24.0), encoding="utf-8")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    torso_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(path / "body.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    armature = wren_on_own_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(path / "rig.blend"))
    animated(armature)
    bpy.ops.wm.save_as_mainfile(filepath=str(path / "acted.blend"))
    return path


COMMANDS: dict[str, tuple[str, ...]] = {
    "build": ("build", "{0}/body.blend", "--out", "{1}/out.blend", "--torso", "chest", "--stature", "1.7"),
    "build again": ("build", "{0}/acted.blend", "--out", "{1}/out.blend", "--stature", "1.75"),
    "switch": ("switch", "{0}/acted.blend", "--out", "{1}/out.blend", "--arm", "L", "--mode", "hand",
               "--from", "1", "--to", "24"),
    "transfer": ("transfer", "{0}/recording.bvh", "{0}/rig.blend", "--out", "{1}/out.blend"),
    "export": ("export", "{0}/acted.blend", "--out", "{1}/out.glb", "--replace", "--from", "1", "--to", "24"),
}  # fmt: skip


@pytest.mark.parametrize("name", COMMANDS)
def test_a_killed_command_leaves_the_old_file_or_the_new_one(folder: Path, tmp_path: Path, name: str) -> None:
    inputs = {path: path.read_bytes() for path in folder.iterdir()}

    def begun(where: str) -> tuple[tuple[str, ...], Path]:
        """The arguments with a file of its own, which is there already, in a folder of its own."""
        (tmp_path / where).mkdir()
        found = tuple(part.format(folder, tmp_path / where) for part in COMMANDS[name])
        out = Path(found[found.index("--out") + 1])
        out.write_bytes(OLD)
        return found, out

    arguments, out = begun("undisturbed")
    for _ in range(2):  # the first one fills the caches
        done = child("never", 0.0, arguments)
        assert done.returncode == 0, done.stdout + done.stderr
    spent = {what: float(found) for what, found in re.findall(r"(wrote|ran) in (\S+)", done.stdout)}
    new = content(out)
    print(f"seed {SEED}; {name}: {spent['ran']:.2f} s, of which writing {spent['wrote']:.3f} s")
    rng = random.Random(f"{SEED} {name}")
    moments = [("any", rng.uniform(0.0, spent["ran"])) for _ in range(ANY)]
    moments += [("writing", rng.uniform(0.0, spent["wrote"])) for _ in range(WRITING)]

    def at(place: int) -> tuple[int, tuple[str, ...], Path]:
        arguments, out = begun(f"moment{place}")
        done = child(*moments[place], arguments)
        assert done.returncode in (0, -signal.SIGALRM), (moments[place], done.stdout, done.stderr)
        return done.returncode, arguments, out

    with ThreadPoolExecutor(2) as both:
        ended = list(both.map(at, range(len(moments))))
    killed = sum(code != 0 for code, _, _ in ended)
    whole = 0
    for moment, (code, _, out) in zip(moments, ended, strict=True):
        if out.read_bytes() == OLD:
            assert code != 0, f"{name}, {moment}: ended well and wrote nothing"
        else:
            whole += 1
            assert content(out).is_like(new), f"{name}, {moment}: neither the old file nor the new one"
    print(f"killed {killed} of {len(moments)}; {whole} had the new file, {len(moments) - whole} the old one")
    assert killed >= len(moments) // 3
    assert {path: path.read_bytes() for path in folder.iterdir()} == inputs, "what was read is as it was"
    # What a killed one left beside its file disturbs nobody: the command works there as before.
    _, arguments, out = next(item for item in ended if item[0] != 0)
    assert child("never", 0.0, arguments).returncode == 0
    assert content(out).is_like(new)


def test_a_key_that_is_missing_or_moved_is_another_content(folder: Path) -> None:
    import bpy
    from mathutils import Vector

    from armwright.addon.convert_write import curve_bag

    whole = content(folder / "acted.blend")
    assert whole.is_like(content(folder / "acted.blend")) and len(whole.numbers) > 1000

    def after(change: Any) -> Content:
        bpy.ops.wm.open_mainfile(filepath=str(folder / "acted.blend"))
        armature = next(item for item in bpy.data.objects if item.type == "ARMATURE")
        curve = next(one for one in curve_bag(armature).fcurves if len(one.keyframe_points) > 2)
        change(curve.keyframe_points)
        bpy.ops.wm.save_as_mainfile(filepath=str(folder / "changed.blend"))
        return content(folder / "changed.blend")

    assert not after(lambda points: points.remove(points[1])).is_like(whole)
    assert not after(lambda points: setattr(points[1], "co", points[1].co + Vector((0.0, 1e-3)))).is_like(whole)
