"""Several files through the command line, each in a host of its own: two that hold, one without arms, one cut short."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from host_cli import run, worked

NAMES = ("cut", "wren", "bare", "finch")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: Any) -> Path:
    """The files, and the reports of one run over them."""
    import bpy
    from characters import torso_armature

    folder = Path(tmp_path_factory.mktemp("farm"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    torso_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "bare.blend"))
    for name, stature in (("wren", "1.7"), ("finch", "1.4")):
        out = folder / f"{name}.blend"
        worked("build", folder / "bare.blend", "--torso", "chest", "--stature", stature, "--out", out)
    whole = (folder / "wren.blend").read_bytes()
    (folder / "cut.blend").write_bytes(whole[: len(whole) // 2])
    return folder


def test_every_file_is_proved_or_refused_and_all_are_in_each_report(folder: Path) -> None:
    files = [folder / f"{name}.blend" for name in NAMES]
    before = {file: file.read_bytes() for file in files}
    reports = [folder / "reports" / name for name in ("all.json", "all.xml", "all.html")]
    written = [word for pair in zip(("--json", "--junit", "--html"), reports, strict=True) for word in pair]
    done = run("proof", *files, "--workers", "2", "--memory-limit", "16", "--no-pictures", *written)
    assert done.returncode == 1, done.stdout + done.stderr
    lines = [line for line in done.stdout.splitlines() if line.startswith("[")]
    assert len(lines) == len(files)
    assert done.stdout.splitlines()[-1] == "2 of 4 characters hold; 2 refused."
    assert {file: file.read_bytes() for file in files} == before

    found = {Path(item["file"]).stem: item for item in json.loads(reports[0].read_text(encoding="utf-8"))["files"]}
    assert tuple(found) == NAMES
    assert {name: item["kind"] for name, item in found.items()} == {
        "cut": "refused", "wren": "done", "bare": "refused", "finch": "done"
    }  # fmt: skip
    assert "could not be opened" in found["cut"]["detail"]
    assert "no armature with arms" in found["bare"]["detail"]
    checks = {name: len(found[name]["results"]["checks"]) for name in ("wren", "finch")}
    assert min(checks.values()) > 1000

    suites = ET.fromstring(reports[1].read_bytes())
    assert int(suites.get("tests", "")) == sum(checks.values()) + 2
    assert (suites.get("failures"), suites.get("errors")) == ("0", "2")

    page = reports[2].read_text(encoding="utf-8")
    assert page.count("To repeat this proof") == 2
    assert "✗ refused" in page
    print(f"\npage {len(page) / 1e6:.1f} MB, JSON {reports[0].stat().st_size / 1e6:.1f} MB, {checks} checks")


def test_a_file_that_is_not_there_stops_everything_before_it_begins(folder: Path) -> None:
    done = run("proof", folder / "wren.blend", folder / "gone.blend", "--json", folder / "none.json")
    assert done.returncode == 2
    assert "gone.blend" in done.stderr and "there is no file" in done.stderr
    assert not (folder / "none.json").exists()


def test_a_time_that_is_too_short_for_a_real_proof_is_told(folder: Path) -> None:
    # A host takes longer to open the file and to play thousands of frames than this, on any machine.
    done = run("proof", folder / "wren.blend", "--time-limit", "0.1")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "over the time limit" in done.stdout
