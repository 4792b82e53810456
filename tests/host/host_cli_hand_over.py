"""`export` and `controls` as a pipeline uses them: exit codes, one sentence on bad input, files whole or untouched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from gltf_joints import read
from host_cli import refused, worked


@pytest.fixture(scope="module")
def armed(tmp_path_factory: Any) -> Path:
    """A .blend with arms and ten frames of motion."""
    import bpy
    from characters import wren_on_own_armature
    from swings import animated

    folder = tmp_path_factory.mktemp("armed")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    animated(wren_on_own_armature(), (1, 10))
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = 1, 10
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "wren.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "empty.blend"))
    return folder


def test_export_writes_the_scenes_range_and_says_so(armed: Path, tmp_path: Path) -> None:
    said = worked("export", armed / "wren.blend", "--out", tmp_path / "new" / "wren.glb")
    assert "20 joints over 10 frames" in said
    found = read(tmp_path / "new" / "wren.glb")
    assert len(found.times) == 10 and found.parents["skin.hand.L"] == "skin.forearm.2.L"
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["wren.glb"]


def test_export_takes_a_range_and_a_form(armed: Path, tmp_path: Path) -> None:
    path = tmp_path / "wren.glb"
    worked("export", armed / "wren.blend", "--out", path, "--from", "3", "--to", "6", "--joints", "flat", "--arms-only")
    found = read(path)
    assert len(found.times) == 4 and len(found.joints) == 16
    assert {found.parents[name] for name in found.joints} == {"Wren skeleton"}


def test_export_replaces_nothing_unasked(armed: Path, tmp_path: Path) -> None:
    path = tmp_path / "wren.glb"
    path.write_bytes(b"mine")
    assert "there already" in refused("export", armed / "wren.blend", "--out", path)
    assert path.read_bytes() == b"mine"
    worked("export", armed / "wren.blend", "--out", path, "--replace", "--to", "2")
    assert len(read(path).times) == 2


@pytest.mark.parametrize(
    ("file", "more", "words"),
    [
        ("missing.blend", [], "no file"),
        ("empty.blend", [], "no armature with arms"),
        ("wren.obj", [], "not a .blend"),
        ("wren.blend", ["--from", "9", "--to", "3"], "runs backwards"),
        ("wren.blend", ["--from", "1.5"], "whole number"),
        ("wren.blend", ["--with-mesh"], "no mesh"),
        ("wren.blend", ["--armature", "Gull"], "no armature named"),
    ],
)
def test_what_export_can_not_do_it_says_in_a_sentence(
    armed: Path, tmp_path: Path, file: str, more: list[str], words: str
) -> None:
    assert words in refused("export", armed / file, "--out", tmp_path / "wren.glb", *more)
    assert list(tmp_path.iterdir()) == []


def test_controls_writes_a_page(armed: Path, tmp_path: Path) -> None:
    said = worked("controls", armed / "wren.blend", "--out", tmp_path / "wren.html")
    assert "of 'Wren'" in said
    text = (tmp_path / "wren.html").read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>") and "fk.upper_arm.L" in text


def test_controls_says_what_is_wrong(armed: Path, tmp_path: Path) -> None:
    assert "no armature with arms" in refused("controls", armed / "empty.blend", "--out", tmp_path / "wren.html")
    assert "not an .html" in refused("controls", armed / "wren.blend", "--out", tmp_path / "wren.pdf")
    assert list(tmp_path.iterdir()) == []
