"""`proof --baseline` as a pipeline uses it: an earlier proof beside the one of a built file."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

BAD_INPUT, FAILED = 2, 1
LIMIT_SECONDS = 400


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run `python -m armwright proof` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "armwright", "proof", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_SECONDS,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )


@pytest.fixture(scope="module")
def proved(tmp_path_factory: Any) -> Path:
    """A folder with Wren built, and a proof of her."""
    import bpy
    from characters import wren_on_own_armature

    folder = tmp_path_factory.mktemp("wren")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    wren_on_own_armature()
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "wren.blend"))
    done = run(folder / "wren.blend", "--json", folder / "earlier.json")
    assert done.returncode == 0, done.stderr
    return folder


def test_a_proof_beside_itself_has_no_regression_and_beside_a_better_one_it_has(proved: Path, tmp_path: Path) -> None:
    from armwright.core.proof import results_json

    earlier = results_json.read(proved / "earlier.json")
    # As if one value had been a tenth of what it is, another check had not been out of reach, and one had been made.
    grown = max(
        (check for check in earlier.checks if check.verdict == "pass" and check.limit > 0.0),
        key=lambda check: check.value / check.limit,
    )
    beyond = next(check for check in earlier.checks if check.verdict == "out_of_reach")
    better = {
        grown.id: replace(grown, value=grown.value / 10.0),
        beyond.id: replace(beyond, verdict="pass", value=0.0, note=""),
    }
    lost = replace(grown, id=grown.id + "-twice")
    checks = tuple(better.get(check.id, check) for check in earlier.checks)
    (tmp_path / "better.json").write_text(results_json.to_text(replace(earlier, checks=(*checks, lost))))
    (tmp_path / "kept.json").write_bytes((tmp_path / "better.json").read_bytes())
    done = run(
        proved / "wren.blend", "--baseline", tmp_path / "better.json", "--junit", tmp_path / "j.xml",
        "--html", tmp_path / "p.html", "--json", tmp_path / "now.json", "--no-pictures",
    )  # fmt: skip
    assert done.returncode == FAILED, done.stderr
    assert "0 failed" in done.stdout
    assert "1 vanished, 1 no longer measured, 1 grew" in done.stdout
    assert "10 % of its limit" in done.stdout
    for name in (grown.id, beyond.id, lost.id):
        assert f'classname="history" name="{name}"' in (tmp_path / "j.xml").read_text()
        assert name in (tmp_path / "p.html").read_text().partition('id="history"')[2]
    assert (tmp_path / "kept.json").read_bytes() == (tmp_path / "better.json").read_bytes()

    from armwright.core.proof.history import compare

    # The same file, seed and host again: what is stated as the noise between two proofs of one rig is none at all.
    again = compare(earlier, results_json.read(tmp_path / "now.json"))
    assert (again.regressions, again.told, again.notes, again.apart) == ((), (), (), 0)
    assert again.compared == len(earlier.checks)


def changed(proved: Path, path: Path, **changes: Any) -> Path:
    data = json.loads((proved / "earlier.json").read_text())
    path.write_text(json.dumps(data | changes), encoding="utf-8")
    return path


def test_a_baseline_that_is_none_gets_one_sentence(proved: Path, tmp_path: Path) -> None:
    (tmp_path / "cut.json").write_bytes((proved / "earlier.json").read_bytes()[:5000])
    rows: list[tuple[list[str | Path], str]] = [
        ([tmp_path / "cut.json"], "cut off"),
        ([tmp_path / "none.json"], "none.json"),
        ([changed(proved, tmp_path / "newer.json", version=99)], "newer Armwright"),
        ([changed(proved, tmp_path / "other.json", rig="Heron")], "'Heron'"),
        ([changed(proved, tmp_path / "kind.json", format="armwright.plan")], "armwright.plan"),
        ([proved / "earlier.json", "--growth", "1"], "--growth 1"),
        ([proved / "earlier.json", "--json", proved / "earlier.json"], "write over the baseline"),
    ]
    before = (proved / "earlier.json").read_bytes()
    for arguments, words in rows:
        done = run(proved / "wren.blend", "--baseline", *arguments)
        said = [line for line in done.stderr.splitlines() if line.startswith("armwright: ")]
        assert (done.returncode, len(said)) == (BAD_INPUT, 1), done.stderr
        assert words in said[0]
        assert "Traceback" not in done.stderr
    assert (proved / "earlier.json").read_bytes() == before
