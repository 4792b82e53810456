"""From reference to animation by the command line: a study's sheet drives build, proof and transfer, line by line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from host_cli import refused, run, worked

HOLD_LIMIT = 2e-6  # arm lengths
TORSO = "chest"


@pytest.fixture(scope="module")
def way(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the scripted recording, its study, and a body to build on."""
    import bpy
    from characters import torso_armature

    from armwright.demo_blend_scripts.recording import recording

    folder = tmp_path_factory.mktemp("way")
    (folder / "recording.bvh").write_text(recording(), encoding="utf-8")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    torso_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "body.blend"))
    worked("study", folder / "recording.bvh", "--out", folder)
    worked("build", folder / "body.blend", "--sheet", folder / "sheet.toml", "--torso", TORSO, "--stature", "1.7",
           "--out", folder / "keeper.blend")  # fmt: skip
    return folder


def test_the_sheet_of_the_recording_is_proved_line_by_line(way: Path) -> None:
    results = way / "results.json"
    said = worked("proof", way / "keeper.blend", "--sheet", way / "sheet.toml", "--json", results, "--no-pictures")
    lines = [line for line in said.splitlines() if re.match(r"sheet\.toml, line \d+: ", line)]
    text = (way / "sheet.toml").read_text(encoding="utf-8")
    asked = text.count("[[arms.needs]]") + text.count("[[arms.spaces]]") + len(("tilt", "side", "twist", "travel"))
    assert len(lines) == asked > 10
    assert all(": holds" in line for line in lines), said
    for line in lines:
        found = re.match(r"sheet\.toml, line (\d+): (?:torso|left arm|right arm), ([\w-]+)", line)
        assert found is not None, line
        # The line itself, or the head of its table.
        beside = text.splitlines()[int(found[1]) - 1 :][:3]
        assert any(found[2] in written for written in beside), (line, beside)
    checks = json.loads(results.read_text(encoding="utf-8"))["checks"]
    # Exactly what was asked.
    assert {check["requirement"] for check in checks} == set(re.findall(r'requirement = "(\S+)"', text))
    assert any(check["motion"] == "recorded" for check in checks)


def test_a_sheet_of_an_action_says_what_the_action_does(way: Path) -> None:
    moved = way / "moved.blend"
    said = worked("transfer", way / "recording.bvh", way / "keeper.blend", "--out", moved, "--report", way / "t.json")
    slides = [float(found) for found in re.findall(r"slide (\S+) L", said)]
    assert slides and max(slides) <= HOLD_LIMIT, said
    worked("study", moved, "--out", way / "again")
    first, second = (
        set(re.findall(r'requirement = "(\S+)"', (path / "sheet.toml").read_text(encoding="utf-8")))
        for path in (way, way / "again")
    )
    # What the recording asked, the animation does.
    assert {"swing", "hold-hand", "hold-elbow", "lift"} <= first & second, (first, second)


def test_a_line_that_the_rig_can_not_do_fails_and_is_named(way: Path) -> None:
    sheet = way / "far.toml"
    sheet.write_text(
        'format = "armwright.sheet"\nversion = 1\nname = "the rope"\n\n[[arms]]\narm = "L"\n\n'
        '[[arms.needs]]\nrequirement = "swing"\n\n[[arms.needs]]\nrequirement = "stretch"\nmost = 2.6\n',
        encoding="utf-8",
    )
    done = run("proof", way / "keeper.blend", "--sheet", sheet, "--no-pictures")
    assert done.returncode == 1, done.stdout + done.stderr
    assert re.search(r"far\.toml, line 11: left arm, stretch to 2\.6 L: fails", done.stdout), done.stdout
    assert "line 8: left arm, swing: holds" in done.stdout
    # Built for it, the same sheet holds.
    said = worked("build", way / "body.blend", "--sheet", sheet, "--torso", TORSO, "--stature", "1.7",
                  "--out", way / "far.blend")  # fmt: skip
    assert "the limit of the stretch is 2.66" in said
    worked("proof", way / "far.blend", "--sheet", sheet, "--no-pictures")


def test_a_sheet_for_fingers_that_are_not_there_ends_a_build_with_1(way: Path) -> None:
    sheet = way / "fingers.toml"
    sheet.write_text(
        'format = "armwright.sheet"\nversion = 1\nname = "the lantern"\n\n[[arms]]\narm = "L"\n\n'
        '[[arms.needs]]\nrequirement = "fingers"\n\n[[arms]]\narm = "third"\n\n'
        '[[arms.needs]]\nrequirement = "swing"\n',
        encoding="utf-8",
    )
    done = run("proof", way / "keeper.blend", "--sheet", sheet, "--no-pictures")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "not proved" in done.stdout and "the rig has no arm 'third'" in done.stdout


def test_a_torso_that_changed_since_and_other_mistakes_are_refused_in_a_sentence(way: Path) -> None:
    folder = way / "changed"
    folder.mkdir()
    text = (way / "sheet.toml").read_text(encoding="utf-8")
    (folder / "sheet.toml").write_text(text, encoding="utf-8")
    proof = ("proof", way / "keeper.blend", "--sheet", folder / "sheet.toml")
    assert "torso.bvh" in refused(*proof)
    (folder / "torso.bvh").write_text((way / "torso.bvh").read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert "torso.bvh" in refused(*proof)
    (folder / "sheet.toml").write_text(text.replace("hold-elbow", "hold-elbwo"), encoding="utf-8")
    assert re.search(r"line \d+.*perhaps 'hold-elbow'", refused(*proof))
    assert "leave out --motion" in refused(*proof, "--motion", way / "recording.bvh")
    assert "of a kind that can not be studied" in refused("study", way / "sheet.toml", "--out", folder)
    assert "--layout is for a table" in refused("study", way / "recording.bvh", "--layout", "x", "--out", folder)
    assert "--actor is for a .blend" in refused("study", way / "recording.bvh", "--actor", "x", "--out", folder)
    assert sorted(path.name for path in folder.iterdir()) == ["sheet.toml", "torso.bvh"]
