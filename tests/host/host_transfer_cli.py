"""The command `transfer`: its files whole or untouched, its messages, and the keys that its .blend then holds."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from host_cli import BVH, refused, worked

SLIDE = 2e-6


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with Wren's rig, the demo's recording, and odd files."""
    import bpy
    from characters import torso_armature, wren_on_own_armature

    from armwright.demo_blend_scripts.recording import recording

    folder = tmp_path_factory.mktemp("stage")
    (folder / "recording.bvh").write_text(recording(), encoding="utf-8")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    wren_on_own_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "keeper.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    torso_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "no_arms.blend"))
    names = [f"{arm}.{joint}.{axis}" for arm in "LR" for joint in ("shoulder", "elbow", "wrist") for axis in "xyz"]
    points = [0.2, 0, 1.4, 0.2, -0.1, 1.1, 0.2, -0.3, 1.0, -0.2, 0, 1.4, -0.2, -0.1, 1.1, -0.2, -0.3, 1.0]
    places = [f"{number:g}" for number in points]
    row = ",".join(places)
    gap = ",".join([*places[:6], "", "", "", *places[9:]])
    tables = {
        "single.csv": (24, [row]),
        "still.csv": (0, [row] * 40),
        "lost.csv": (24, [row] * 20 + [gap] * 20 + [row]),
    }
    for name, (rate, rows) in tables.items():
        head = [f"# rate = {rate}", '# unit = "m"', '# up = "Z"', '# facing = "-Y"', ",".join(names)]
        (folder / name).write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    return folder


def opened(path: Path) -> Any:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(path))
    return next(item for item in bpy.data.objects if item.type == "ARMATURE" and item.animation_data)


@pytest.mark.parametrize("keys", ["every", "fewest"])
def test_the_file_holds_what_the_report_says(stage: Path, keys: str) -> None:
    import bpy

    out, report = stage / f"{keys}.blend", stage / f"{keys}.json"
    before = (stage / "keeper.blend").read_bytes()
    said = worked("transfer", stage / "recording.bvh", stage / "keeper.blend", "--out", out, "--report", report,
                  "--keys", keys, "--tolerance", "0.01")  # fmt: skip
    assert (stage / "keeper.blend").read_bytes() == before
    assert not list(stage.glob(".*")), "a temporary file is left behind"
    data = json.loads(report.read_text(encoding="utf-8"))
    assert (data["format"], data["version"]) == ("armwright.transfer", 1)
    assert data["holds"] and f"{len(data['holds'])} holds" in said and "nothing pops" in said
    armature = opened(out)
    assert armature.animation_data.action.name == data["action"]
    length = 1.7 * (0.186 + 0.146)  # Winter, fig. 4.1: upper arm and forearm over stature
    # Every hold in the world that does not roll, on its evaluated bone.
    measured = 0
    for hold in data["holds"]:
        if hold["on"] != "world" or hold["rolls"] or hold["out_of_reach"]:
            continue
        bone = armature.pose.bones[f"skin.{'hand' if hold['part'] == 'hand' else 'forearm'}.{hold['arm']}"]
        places = []
        for frame in range(hold["first"], hold["last"] + 1):
            bpy.context.scene.frame_set(frame)
            places.append(list(bone.head))
        away = np.linalg.norm(np.array(places) - places[0], axis=1).max() / length
        assert away <= SLIDE, hold
        measured += 1
    # The left elbow on the rail, twice; the hands roll, and the right one is out of reach in a frame on the rope.
    assert measured == 2
    joints = {(item["arm"], item["joint"]) for item in data["differences"]}
    assert {(arm, joint) for arm in "LR" for joint in ("upper arm", "forearm", "hand", "wrist")} <= joints
    for item in data["differences"]:
        assert data["first"] <= item["worst"] <= data["last"]
        assert item["median"] <= item["most_frames"] <= item["most"] == max(item["free"], item["held"])
    if keys == "fewest":
        every = json.loads((stage / "every.json").read_text(encoding="utf-8"))
        print(f"keys {every['keys']} and {data['keys']}")
        assert data["keys"] < every["keys"]


def test_the_same_files_give_the_same_report(stage: Path) -> None:
    reports = []
    for name in ("one.json", "two.json"):
        worked("transfer", BVH, stage / "keeper.blend", "--out", stage / "again.blend", "--report", stage / name)
        reports.append((stage / name).read_bytes())
    assert reports[0] == reports[1]


def test_a_recording_in_which_nothing_is_held_says_so(stage: Path) -> None:
    said = worked("transfer", BVH, stage / "keeper.blend", "--out", stage / "swung.blend")
    assert re.search(r"nothing is held\s*$", said), said
    assert "0 holds" not in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("recording.bvh", "keeper.blend", "--out", "keeper.blend"), "--out names the input file"),
        (("recording.bvh", "keeper.blend", "--out", "x.txt"), "is not a .blend file"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--report", "."), "is a folder"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--report", "x.blend"), "the same file"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--report", "recording.bvh"), "input motion"),
        (("none.bvh", "keeper.blend", "--out", "x.blend"), "no file"),
        (("recording.bvh", "none.blend", "--out", "x.blend"), "no file"),
        (("recording.bvh", "no_arms.blend", "--out", "x.blend"), "build them first"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--armature", "Tern"), "no armature named 'Tern'"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--scale", "0"), "above 0"),
        (("recording.bvh", "keeper.blend", "--out", "x.blend", "--blend", "-1"), "0 or more"),
        (("single.csv", "keeper.blend", "--out", "x.blend"), "2 or more"),
        (("still.csv", "keeper.blend", "--out", "x.blend"), "rate"),
        (("lost.csv", "keeper.blend", "--out", "x.blend"), "gap"),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(stage: Path, arguments: tuple[str, ...], said: str) -> None:
    before = {path.name: path.read_bytes() for path in stage.iterdir()}
    plain = {"--armature", "--scale", "--blend"}
    given: list[str | Path] = []
    for index, item in enumerate(arguments):
        is_file = not item.startswith("-") and not (index and arguments[index - 1] in plain)
        given.append(stage / item if is_file else item)
    sentence = refused("transfer", *given)
    print(sentence)
    assert said in sentence
    assert {path.name: path.read_bytes() for path in stage.iterdir()} == before


def test_a_save_that_fails_leaves_the_older_file(
    stage: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import os

    from armwright.addon.cli import main

    out = tmp_path / "moved.blend"
    out.write_bytes(b"older")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device", str(out))

    monkeypatch.setattr(os, "replace", full)
    monkeypatch.setattr(main, "finish", lambda code: codes.append(code))
    codes: list[int] = []
    main.main(["transfer", str(BVH), str(stage / "keeper.blend"), "--out", str(out)])
    assert codes == [2] and "No space left" in capsys.readouterr().err
    assert out.read_bytes() == b"older" and [path.name for path in tmp_path.iterdir()] == ["moved.blend"]
