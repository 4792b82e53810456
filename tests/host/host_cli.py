"""The command line as a pipeline uses it: exit codes, one sentence on bad input, files whole or untouched."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

LIMIT_SECONDS = 300
BVH = Path(__file__).parent.parent / "data" / "cmu_01_01_upper.bvh"
BAD_INPUT = 2


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run `python -m armwright` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "armwright", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_SECONDS,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )


def worked(*arguments: str | Path) -> str:
    done = run(*arguments)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout


def refused(*arguments: str | Path) -> str:
    """Run with bad input; one sentence comes back on standard error, with exit code 2."""
    done = run(*arguments)
    assert done.returncode == BAD_INPUT, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stdout + done.stderr
    said = [line for line in done.stderr.splitlines() if line.startswith("armwright: ")]
    assert len(said) == 1, done.stderr
    return said[0]


@pytest.fixture(scope="module")
def files(tmp_path_factory: Any) -> Path:
    """A folder with a mesh file, a .blend with a mesh, one with an armature, and one with arms."""
    import bpy
    from characters import torso_armature

    folder = tmp_path_factory.mktemp("files")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mesh = bpy.data.meshes.new("Coat")
    corners = [(x, y, z) for x in (-0.3, 0.3) for y in (-0.1, 0.1) for z in (0.0, 1.7)]
    mesh.from_pydata(corners, [], [(0, 1, 3, 2), (4, 5, 7, 6), (0, 2, 6, 4), (1, 3, 7, 5)])
    bpy.context.scene.collection.objects.link(bpy.data.objects.new("Coat", mesh))
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "coat.blend"))
    bpy.ops.wm.obj_export(filepath=str(folder / "coat.obj"))
    torso_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "body.blend"))
    torso_armature("Second")
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "two.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "empty.blend"))
    worked("build", folder / "body.blend", "--out", folder / "armed" / "wren.blend", "--torso", "chest")
    return folder


def guide_text(change: Callable[[dict[str, Any]], None] = lambda data: None) -> str:
    from armwright.core import guide_json
    from armwright.core.stature import guide_from_stature

    data = json.loads(guide_json.to_text(guide_from_stature(1.7, "Wren")))
    change(data)
    return json.dumps(data)


@pytest.mark.parametrize("command", ["", "build", "plan", "fit", "proof"])
def test_every_command_prints_help(command: str) -> None:
    text = worked(*filter(None, (command, "--help")))
    assert text.startswith("usage: armwright")
    assert len(text.splitlines()) > 5


@pytest.mark.parametrize(
    "arguments", [(), ("sing",), ("plan",), ("build",), ("plan", "--stature", "tall", "--out", "x")]
)
def test_wrong_arguments_end_with_code_2_and_the_usage(arguments: Sequence[str]) -> None:
    done = run(*arguments)
    assert done.returncode == BAD_INPUT
    assert done.stderr.startswith("usage: armwright")
    assert "Traceback" not in done.stderr


def test_a_plan_from_stature_and_one_from_its_guide_have_the_same_bytes(tmp_path: Path) -> None:
    from armwright.core.plan import json as plan_json

    guide = tmp_path / "guide.json"
    guide.write_text(guide_text(), encoding="utf-8")
    said = worked("plan", "--stature", "1.7", "--out", tmp_path / "a" / "plan.json")
    worked("plan", "--guide", guide, "--out", tmp_path / "b.json")
    assert (tmp_path / "a" / "plan.json").read_bytes() == (tmp_path / "b.json").read_bytes()
    assert plan_json.digest(plan_json.read(tmp_path / "b.json"))[:12] in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b.json", "guide.json"]


GUIDES = {
    "cut short": (guide_text()[:300], "joint guide"),
    "not JSON": ("once upon a time", "joint guide"),
    "newer": (guide_text(lambda data: data.update(version=7)), "version 7"),
    "no arms": (guide_text(lambda data: data.update(arms=[])), "no arm"),
    "not a number": (guide_text(lambda data: data["arms"][0].update(elbow=[float("nan"), 0, 1])), r"elbow"),
    "coincident joints": (
        guide_text(lambda data: data["arms"][1].update(elbow=data["arms"][1]["wrist"])),
        "right arm.*same place.*move them apart",
    ),
    "no torso": (guide_text(lambda data: data.update(torso=None)), "torso"),
}


@pytest.mark.parametrize("case", GUIDES.values(), ids=GUIDES.keys())
def test_a_bad_guide_gets_one_sentence_and_leaves_the_old_plan(tmp_path: Path, case: tuple[str, str]) -> None:
    import re

    text, words = case
    guide, out = tmp_path / "guide.json", tmp_path / "plan.json"
    guide.write_text(text, encoding="utf-8")
    out.write_text("the old plan", encoding="utf-8")
    assert re.search(words, refused("plan", "--guide", guide, "--out", out))
    assert out.read_text(encoding="utf-8") == "the old plan"
    assert guide.read_text(encoding="utf-8") == text
    assert sorted(path.name for path in tmp_path.iterdir()) == ["guide.json", "plan.json"]


@pytest.mark.parametrize("stature", ["170", "0", "-1.7", "nan", "inf"])
def test_a_stature_that_is_no_persons_is_refused(tmp_path: Path, stature: str) -> None:
    assert "stature" in refused("plan", f"--stature={stature}", "--out", tmp_path / "plan.json")
    assert list(tmp_path.iterdir()) == []


def test_an_output_that_can_not_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    refused("plan", "--stature", "1.7", "--out", tmp_path / "file" / "plan.json")
    refused("plan", "--stature", "1.7", "--out", tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("source", ["coat.blend", "coat.obj"])
def test_arms_are_built_to_the_height_that_was_given(files: Path, tmp_path: Path, source: str) -> None:
    from armwright.core.plan import json as plan_json

    before = (files / source).read_bytes()
    worked("build", files / source, "--stature", "1.7", "--out", tmp_path / "wren.blend")
    assert (files / source).read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan.json", "wren.blend"]
    plan = plan_json.read(tmp_path / "plan.json")
    heads = {bone.name: bone.rest[2][3] for bone in plan.bones}
    # Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1: shoulder height 0.818 of the stature.
    assert heads["skin.upper_arm.L"] == pytest.approx(0.818 * 1.7, abs=1e-5)


def test_arms_are_built_on_the_armature_and_bone_that_were_named(files: Path, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import rig
    from armwright.core.plan import json as plan_json

    before = (files / "two.blend").read_bytes()
    worked("build", files / "two.blend", "--out", tmp_path / "w.blend", "--armature", "Second", "--torso", "belly")
    assert (files / "two.blend").read_bytes() == before
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "w.blend"), use_scripts=False)
    (armature,) = rig.find_rigs()
    assert armature.name == "Second"
    record = rig.read_record(armature)
    assert (record.torso, record.arms) == ("belly", ("L", "R"))
    assert record.plan_digest == plan_json.digest(plan_json.read(tmp_path / "plan.json"))


def test_building_twice_gives_the_same_plan_bytes(files: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        worked("build", files / "body.blend", "--out", tmp_path / name / "wren.blend", "--torso", "chest")
    assert (tmp_path / "a" / "plan.json").read_bytes() == (tmp_path / "b" / "plan.json").read_bytes()


BUILDS: dict[str, tuple[tuple[str, ...], str]] = {
    "no such file": (("gone.blend",), "no file"),
    "unknown kind": (("song.txt",), "can not be read here"),
    "not a blend": (("song.blend",), "could not be opened"),
    "cut blend": (("cut.blend",), "could not be opened"),
    "not a mesh": (("song.obj",), "song.obj"),
    "broken glTF": (("song.glb",), "song.glb"),
    "nothing to measure": (("empty.blend",), "give the height"),
    "a mesh without arms": (("coat.obj",), "has no arms.*--guide or --stature"),
    "torso without armature": (("coat.blend", "--torso", "chest"), "no armature"),
    "root alone": (("body.blend", "--root", "hips"), "--torso"),
    "armature without torso": (("body.blend", "--armature", "Body"), "choose the bone.*torso"),
    "unknown torso": (("body.blend", "--torso", "neck"), "no bone named 'neck'"),
    "unknown armature": (("body.blend", "--armature", "Ghost", "--torso", "chest"), "no armature named 'Ghost'.*Body"),
    "two armatures": (("two.blend", "--torso", "chest"), "--armature: Body, Second"),
    "root on the torso": (("body.blend", "--torso", "hips", "--root", "chest"), "moves with the torso"),
    "bad guide": (("body.blend", "--torso", "chest", "--guide", "song.txt"), "joint guide"),
}


@pytest.fixture(scope="module")
def damaged(files: Path) -> Path:
    """The same folder, with files in it that are not what they say."""
    for name in ("song.txt", "song.blend", "song.obj", "song.glb"):
        (files / name).write_text("once upon a time there was a lighthouse\n", encoding="utf-8")
    whole = (files / "armed" / "wren.blend").read_bytes()
    (files / "cut.blend").write_bytes(whole[: len(whole) // 2])
    return files


@pytest.mark.parametrize("case", BUILDS.values(), ids=BUILDS.keys())
def test_a_build_that_can_not_be_is_told_in_one_sentence(
    damaged: Path, tmp_path: Path, case: tuple[tuple[str, ...], str]
) -> None:
    import re

    arguments, words = case
    source, *rest = (damaged / word if "." in word else word for word in arguments)
    before = Path(source).read_bytes() if Path(source).is_file() else None
    out = tmp_path / "wren.blend"
    out.write_text("the old file", encoding="utf-8")
    sentence = refused("build", source, *rest, "--out", out)
    assert re.search(words, sentence), sentence
    assert (Path(source).read_bytes() if Path(source).is_file() else None) == before
    assert [path.name for path in tmp_path.iterdir()] == ["wren.blend"]
    assert out.read_text(encoding="utf-8") == "the old file"


def test_a_build_never_writes_over_its_input(files: Path) -> None:
    path = files / "body.blend"
    before = path.read_bytes()
    assert "choose another name" in refused("build", path, "--torso", "chest", "--out", path)
    assert path.read_bytes() == before


def test_an_output_that_is_no_blend_is_refused(files: Path, tmp_path: Path) -> None:
    assert ".blend" in refused("build", files / "body.blend", "--torso", "chest", "--out", tmp_path / "wren.fbx")
    assert list(tmp_path.iterdir()) == []


PROOFS: dict[str, tuple[tuple[str, ...], str]] = {
    "no such file": (("gone.blend",), "no file"),
    "not a blend": (("song.txt",), "not a .blend"),
    "no blend inside": (("song.blend",), "could not be opened"),
    "cut blend": (("cut.blend",), "could not be opened"),
    "no arms": (("body.blend",), "no armature with arms"),
    "unknown armature": (("armed/wren.blend", "--armature", "Ghost"), "Ghost"),
    "no such motion": (("armed/wren.blend", "--motion", "gone.bvh"), "no file"),
    "motion cut short": (("armed/wren.blend", "--motion", "cut.bvh"), "cut|short|end|frames|values"),
    "motion of words": (("armed/wren.blend", "--motion", "song.txt"), "HIERARCHY|BVH"),
}


@pytest.mark.parametrize("case", PROOFS.values(), ids=PROOFS.keys())
def test_a_proof_that_can_not_be_is_told_in_one_sentence(
    damaged: Path, tmp_path: Path, case: tuple[tuple[str, ...], str]
) -> None:
    import re

    (damaged / "cut.bvh").write_bytes(BVH.read_bytes()[:60_000])
    arguments, words = case
    source, *rest = (damaged / word if "." in word else word for word in arguments)
    before = {path: path.read_bytes() for path in damaged.rglob("*") if path.is_file()}
    out = tmp_path / "results.json"
    out.write_text("the old results", encoding="utf-8")
    sentence = refused("proof", source, *rest, "--json", out)
    assert re.search(words, sentence), sentence
    assert {path: path.read_bytes() for path in damaged.rglob("*") if path.is_file()} == before
    assert out.read_text(encoding="utf-8") == "the old results"


def test_a_proof_of_a_built_file_passes_and_writes_its_results(files: Path, tmp_path: Path) -> None:
    from armwright.core.proof import results_json

    source = files / "armed" / "wren.blend"
    before = source.read_bytes()
    said = worked("proof", source, "--json", tmp_path / "r.json", "--junit", tmp_path / "j.xml")
    results = results_json.from_text((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert results.checks
    assert not [check.id for check in results.checks if check.verdict == "fail"]
    assert said.strip()
    assert (tmp_path / "j.xml").read_text(encoding="utf-8").count("<testcase") == len(results.checks)
    assert source.read_bytes() == before


def test_writing_that_is_interrupted_leaves_the_old_text(tmp_path: Path, monkeypatch: Any) -> None:
    from armwright.addon.text_files import write_text

    path = tmp_path / "plan.json"
    write_text(path, "the old plan")

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_text(path, "half of the n")
    assert path.read_text(encoding="utf-8") == "the old plan"
    assert [entry.name for entry in tmp_path.iterdir()] == ["plan.json"]


def test_text_that_can_not_be_encoded_leaves_the_old_text(tmp_path: Path) -> None:
    from armwright.addon.text_files import write_text

    path = tmp_path / "plan.json"
    write_text(path, "the old plan")
    with pytest.raises(UnicodeEncodeError):
        write_text(path, "new " * 9999 + "\ud800")
    assert path.read_text(encoding="utf-8") == "the old plan"
    assert [entry.name for entry in tmp_path.iterdir()] == ["plan.json"]


def test_saving_that_is_interrupted_leaves_the_old_blend(empty_file: Any, tmp_path: Path, monkeypatch: Any) -> None:
    from armwright.addon.cli.files import save_blend

    path = tmp_path / "wren.blend"
    path.write_text("the old file", encoding="utf-8")

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        save_blend(path)
    assert path.read_text(encoding="utf-8") == "the old file"
    assert [entry.name for entry in tmp_path.iterdir()] == ["wren.blend"]


def test_a_mesh_is_bound_as_the_arms_are_built(files: Path, tmp_path: Path) -> None:
    import bpy
    from tubes import groups, joints_of, tube

    from armwright.addon import rig

    worked("build", files / "coat.blend", "--stature", "1.7", "--out", tmp_path / "wren.blend")
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "wren.blend"), use_scripts=False)
    (armature,) = rig.find_rigs()
    joints = joints_of(armature, "L")
    bpy.data.objects.remove(armature)
    for item in [item for item in bpy.data.objects if item.type == "MESH"]:
        bpy.data.objects.remove(item)
    tube("Sleeve", joints, 0.035).vertex_groups.new(name="old").add(range(100), 1.0, "REPLACE")
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "sleeve.blend"))
    (tmp_path / "map.json").write_text('{"old": "forearm.L"}', encoding="utf-8")
    for name, extra in (("auto", ["--bind"]), ("kept", ["--keep-weights", tmp_path / "map.json"])):
        worked("build", tmp_path / "sleeve.blend", "--stature", "1.7", "--out", tmp_path / f"{name}.blend", *extra)
        bpy.ops.wm.open_mainfile(filepath=str(tmp_path / f"{name}.blend"), use_scripts=False)
        item = bpy.data.objects["Sleeve"]
        assert [entry.object.name for entry in item.modifiers] == [rig.find_rigs()[0].name]
        assert groups(item)["skin.forearm.L"].max() > 0.8
    said = refused(
        "build", tmp_path / "sleeve.blend", "--stature", "1.7", "--out", tmp_path / "no.blend", "--keep-weights"
    )
    assert "say which group goes where" in said
    assert not (tmp_path / "no.blend").exists()
