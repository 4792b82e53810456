"""The bench has a row for each number of the design's table, and keeps its runs in a file."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

# What the design asks for, in the rows' words; each with its target.
ASKED = {
    r"held hand, \d+ torso poses in reach": 2e-6,
    "playing a full arm over a native arm, FK": 1.5,
    "playing a full arm over a native arm, IK": 1.5,
    "playing 50 characters over one": 50.0,
    "reference solver, poses a second": 300_000.0,
    "building both arms, seconds": 0.5,
    "building both arms over creating the bare bones": 3.0,
    "proof's rate over the host's own stepping": 0.5,
    r"converting 1000 frames, both arms, every key: over stepping": 3.0,
    r"converting 1000 frames, both arms, fewest key: over stepping": 3.0,
}


@pytest.fixture
def cli(monkeypatch: pytest.MonkeyPatch) -> Callable[..., int]:
    """The command line, which returns its exit code here and ends no process."""
    from armwright.addon.cli import main as command_line

    codes: list[int] = []
    monkeypatch.setattr(command_line, "finish", codes.append)

    def run(*arguments: str) -> int:
        command_line.main(arguments)
        return codes.pop()

    return run


def test_every_number_asked_for_is_measured_and_has_its_target() -> None:
    from armwright.addon import bench

    rows = bench.measure(0.02)
    for words, target in ASKED.items():
        (found,) = (row for row in rows if re.match(words, row.what))
        assert found.target == target and math.isfinite(found.value) and found.value > 0.0
    slide = next(row for row in rows if row.what.startswith("held hand"))
    assert slide.reached, f"the held hand slides by {slide.value:.2e} L"


def test_runs_are_kept_and_shown_beside_each_other(
    cli: Callable[..., int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from armwright.addon import bench
    from armwright.core import bench_history

    file = tmp_path / "history.json"
    for value in (1.25, 1.5):
        rows = [bench.Row("playing", value, "<=", 1.4), bench.Row("switching", 90.0, note="one arm")]
        monkeypatch.setattr(bench, "measure", lambda effort, rows=rows: rows)
        assert cli("bench", "--history", str(file)) == 0
    said = capsys.readouterr().out
    assert re.search(r"playing +1\.5 +<= 1\.4 +missed +1\.25", said) and "switching: one arm" in said
    kept = bench_history.from_text(file.read_bytes()).runs
    assert [run.figures[0].value for run in kept] == [1.25, 1.5]
    from armwright.addon import host

    assert kept[0].versions.host == host.version_name() and kept[0].machine.cores > 0
    before = file.read_bytes()
    assert cli("bench", "--history", str(file), "--show") == 0
    assert re.search(r"playing +<= 1\.4 +1\.25 +1\.5", capsys.readouterr().out)
    assert file.read_bytes() == before


def test_what_can_not_be_kept_is_refused_before_anything_is_measured(
    cli: Callable[..., int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from armwright.addon import bench

    def never(effort: float) -> Any:
        raise AssertionError("measured")

    monkeypatch.setattr(bench, "measure", never)
    other = tmp_path / "other.json"
    other.write_text(json.dumps({"format": "armwright.plan", "version": 1}))
    cases = {
        ("--history", str(other)): "armwright.plan",
        ("--history", str(tmp_path)): "can not be read",
        ("--history", str(tmp_path / "new.json"), "--quick"): "no measurement",
        ("--history", str(tmp_path / "new.json"), "--show"): "no such file",
        ("--show",): "needs --history",
    }
    for arguments, said in cases.items():
        assert cli("bench", *arguments) == 2
        assert said in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other.json"]
