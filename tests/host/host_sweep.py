"""`sweep` and `proof --case` as a pipeline uses them: exit codes, files, an interruption, a defect in the rig."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from host_cli import refused, run, worked

SMALL = ("--poses", "1200", "--seed", "3", "--rounds", "1", "--workers", "1")


@pytest.fixture(scope="module")
def rig(tmp_path_factory: Any) -> Path:
    """A .blend with Wren's arms."""
    import bpy
    from characters import wren_on_own_armature

    bpy.ops.wm.read_factory_settings(use_empty=True)
    wren_on_own_armature()
    path = tmp_path_factory.mktemp("rig") / "wren.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture(scope="module")
def cases(rig: Path) -> Path:
    """The cases of a small sweep of it."""
    folder = rig.parent / "cases"
    said = worked("sweep", rig, *SMALL, "--json", rig.parent / "sweep.json", "--cases", folder)
    assert "elbow-speed" in said and "pass" in said
    return folder


def test_a_sweep_writes_its_outcome_and_a_case_for_each_measure_and_arm(rig: Path, cases: Path) -> None:
    data = json.loads((rig.parent / "sweep.json").read_text(encoding="utf-8"))
    assert data["format"] == "armwright.sweep" and data["poses"] == 1200 and data["seed"] == 3
    names = {f"{item['measure']}.{item['arm']}.json" for item in data["worst"]}
    assert {path.name for path in cases.iterdir()} == names
    assert {item["arm"] for item in data["worst"]} == {"L", "R"}


@pytest.mark.parametrize(
    "name", ["elbow-speed.L", "jump.R", "held-wrist-slide.L", "held-elbow-missing.R", "pivot-slide.L"]
)
def test_a_case_is_replayed_with_both_numbers_and_exit_code_0(rig: Path, cases: Path, name: str) -> None:
    before = rig.read_bytes()
    said = worked("proof", rig, "--case", cases / f"{name}.json")
    lines = dict(line.split(maxsplit=1) for line in said.splitlines() if line and " " in line)
    host, solver = (float(lines[key].split()[0]) for key in ("host", "solver"))
    assert host == pytest.approx(solver, rel=0.02, abs=2e-6)
    assert lines["verdict"] == "pass" and lines["difference"]
    assert rig.read_bytes() == before


def test_a_defect_in_the_rig_is_exit_code_1(rig: Path, cases: Path) -> None:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(rig))
    armature = next(item for item in bpy.data.objects if item.type == "ARMATURE")
    for bone, name in (("ik.forearm", "hand"), ("ik.forearm", "exact"), ("ik.span", "hand")):
        armature.pose.bones[f"{bone}.L"].constraints[name].mute = True
    broken = rig.with_name("broken.blend")
    bpy.ops.wm.save_as_mainfile(filepath=str(broken), copy=True)
    done = run("proof", broken, "--case", cases / "held-wrist-slide.L.json")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "fail: over the limit" in done.stdout


def test_bad_cases_and_bad_calls_are_exit_code_2(rig: Path, cases: Path, tmp_path: Path) -> None:
    newer = tmp_path / "newer.json"
    newer.write_text((cases / "jump.L.json").read_text(encoding="utf-8").replace('"version": 1', '"version": 9'))
    assert "written by a newer Armwright" in refused("proof", rig, "--case", newer)
    half = tmp_path / "half.json"
    half.write_text((cases / "jump.L.json").read_text(encoding="utf-8")[:900])
    said = refused("proof", rig, "--case", half)
    assert "half.json" in said and "line" in said and "column" in said
    assert "can not be read" in refused("proof", rig, "--case", tmp_path / "none.json")
    assert "--poses 0" in refused("sweep", "--poses", "0")
    assert "one of them" in refused("sweep", rig, "--stature", "1.7")
    assert "give the file as well" in refused("sweep", "--armature", "Wren")
    assert "no scheduler answers there" in refused("sweep", "--poses", "100", "--cluster", "tcp://127.0.0.1:9")
    other = worked("sweep", "--stature", "1.5", *SMALL, "--cases", tmp_path / "other")
    assert "Wren" not in other
    assert "sweep this rig, or open that one" in refused("proof", rig, "--case", tmp_path / "other" / "jump.L.json")


def test_an_interrupted_command_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    whole = ("--poses", "60000", "--seed", "4", "--rounds", "0", "--workers", "2")
    worked("sweep", *whole, "--json", tmp_path / "alone.json")
    shards = tmp_path / "shards"
    command = [sys.executable, "-m", "armwright", "sweep", *whole, "--resume", str(shards), "--json"]
    begun = subprocess.Popen(
        [*command, str(tmp_path / "never.json")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    # Not a measured time: it waits for the first finished shards, for as long as that takes.
    while begun.poll() is None and len(list(shards.glob("shard-*.json"))) < 2:
        time.sleep(0.02)
    begun.send_signal(signal.SIGINT)
    _, error = begun.communicate(timeout=200)
    assert begun.returncode == 130, error
    assert "Traceback" not in error
    assert "the same command goes on from there" in error
    assert not (tmp_path / "never.json").exists()
    kept = {path: path.stat().st_mtime_ns for path in shards.glob("shard-*.json")}
    assert 2 <= len(kept) < 15
    done = subprocess.run(
        [*command, str(tmp_path / "on.json")], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "a second" in done.stderr and "left" in done.stderr
    assert (tmp_path / "on.json").read_bytes() == (tmp_path / "alone.json").read_bytes()
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
