"""The commands of the documentation, run in a folder of their own on the demo's files, in the order of the pages.

They run in one host process, by the command line's own `main`, each in turn: what they cost is then their work alone.
Proofs of our own arms play a thirtieth of their runs and a few of their changes, for what is tried here is the command
and not the arm; those by a card are whole. The exit code has to be 0, or what the comment behind the command says.
Which commands are run elsewhere, and where, is in devtools/docs_run.py.
"""

from __future__ import annotations

import glob
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from devtools import docs_commands  # noqa: E402
from devtools.docs_run import HERE, runner_of  # noqa: E402

EVERY_NTH_RUN, CHANGES = 30, 8
# What the pages' example files are: those of the demo, and one with a body to build on.
STAND_INS = {
    "keeper.blend": "out/demo/keeper.blend",
    "characters/wren.blend": "out/demo/keeper.blend",
}


class Left(Exception):
    """What `finish` does here: the command's exit code, and the process goes on."""


def run(words: tuple[str, ...]) -> int:
    """Run one command as `python -m armwright` does; its exit code."""
    from armwright.addon.cli import main

    def finish(code: int) -> None:
        raise Left(code)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(main, "finish", finish)
        try:
            main.main(words)
        except Left as left:
            return int(left.args[0])
        except SystemExit as left:  # the parser's
            return int(left.code or 0)
    raise AssertionError("the command has not said how it ended")


def expanded(words: tuple[str, ...]) -> tuple[str, ...]:
    """The words as a shell would give them, with its patterns filled in."""
    out: list[str] = []
    for word in words:
        found = sorted(glob.glob(word)) if "*" in word else []
        out += found or [word]
    return tuple(out)


def made_before(words: tuple[str, ...]) -> None:
    """Files that a page takes for granted."""
    for name, source in STAND_INS.items():
        if name in words and not Path(name).exists():
            Path(name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(source, name)
    if "characters/wren_body.blend" in words:
        import bpy
        from characters import torso_armature

        bpy.ops.wm.read_factory_settings(use_empty=True)
        torso_armature()
        bpy.ops.wm.save_as_mainfile(filepath=str(Path("characters", "wren_body.blend").resolve()))


@pytest.fixture
def thin(monkeypatch: pytest.MonkeyPatch) -> None:
    """Proofs of our own arms of a few runs and changes; those by a card are whole."""
    from armwright.addon import prove, prove_switch

    whole, switching = prove.planning, prove_switch.switch_runs

    def planning(*given: Any) -> Any:
        scope = yield from whole(*given)
        return replace(scope, runs=scope.runs[::EVERY_NTH_RUN])

    def switch_runs(*given: Any) -> Iterator[Any]:
        return islice(switching(*given), CHANGES)

    monkeypatch.setattr(prove, "planning", planning)
    monkeypatch.setattr(prove_switch, "switch_runs", switch_runs)


def test_every_command_of_the_pages_ends_as_they_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, thin: None, capsys: Any
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PWD", str(tmp_path))  # the host asks it, and not the system
    # The demo's files, without its pictures: a minute of rendering.
    assert run(("demo", "--out", "out/demo", "--no-pictures")) == 0
    done: set[tuple[str, ...]] = set()
    told = []
    for command in docs_commands.commands(ROOT):
        words = command.armwright()
        if not command.fenced or words is None or runner_of(command) != HERE or words[0] == "demo" or words in done:
            continue
        done.add(words)
        made_before(words)
        code = run(expanded(words))
        said = capsys.readouterr()
        if code != command.code:
            told.append(f"{command.place}: {command.text}: exit code {code}\n{said.out[-600:]}{said.err[-600:]}")
            continue
        for option in ("--out", "--json", "--junit", "--html", "--report", "--cases"):
            if option in words:
                made = Path(words[words.index(option) + 1])
                assert made.exists(), f"{command.place}: {command.text}: it wrote no {made}"
    assert told == [], "\n".join(told)
    assert len(done) > 12


def test_a_command_that_fails_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(("proof", "gone.blend")) == 2
    assert run(("sing",)) == 2
