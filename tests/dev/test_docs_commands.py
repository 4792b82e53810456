"""Each command of the documentation is one that the programs take, and a test runs it or names the test that does."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from devtools import docs_commands  # noqa: E402
from devtools.commands import HELP  # noqa: E402
from devtools.docs_run import ELSEWHERE, HERE, runner_of  # noqa: E402

PAGE = """# A page
In a sentence `python3 dev.py package`, or `python -m armwright proof FILE.blend --card CARD.json`, or
`python -m armwright prove x.blend`.

```
python3 dev.py run proof out/demo/demo.blend \\
    --json out/r.json --html "out/a page.html"   # exit code 1: a note
for FILE in rigs/*.blend; do python -m armwright proof "$FILE" --no-picture | tee log; done
python3 dev.py sing
python3 dev.py test tests/core/test_gone.py -k held
python3 dev.py run sweep --poses many
```
"""


@pytest.fixture(scope="module")
def parser():  # type: ignore[no-untyped-def]
    pytest.importorskip("armwright", reason="the package is not installed here")
    from armwright.addon.cli import main

    return main.parser()


def test_every_command_of_every_page_is_taken_as_it_stands(parser) -> None:  # type: ignore[no-untyped-def]
    found = docs_commands.commands(ROOT)
    assert len([command for command in found if command.fenced]) > 20
    assert [text for command in found if (text := docs_commands.problem(command, parser, HELP, ROOT))] == []


def test_the_commands_of_the_readme_s_table_are_taken(parser) -> None:  # type: ignore[no-untyped-def]
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([a-z]+(?: [^`]*)?)` \|", page, re.MULTILINE)
    from armwright.addon.cli.main import COMMANDS

    names = {command.__name__.rsplit(".", 1)[-1] for command in COMMANDS}
    rows = [row for row in rows if row.split()[0] in names]
    assert {row.split()[0] for row in rows} == names
    for row in rows:
        command = docs_commands.Command("README.md", row, tuple(row.split()), False, False)
        assert docs_commands.problem(command, parser, HELP, ROOT) == ""


def test_every_command_in_a_block_is_run_by_some_test() -> None:
    for command in docs_commands.commands(ROOT):
        if command.fenced:
            assert runner_of(command), f"{command.place}: nothing runs {command.text}"


def test_the_tests_that_are_said_to_run_a_command_have_it() -> None:
    used = {runner_of(command) for command in docs_commands.commands(ROOT) if command.fenced}
    for item in (HERE, *ELSEWHERE):
        if item in used:
            files = sorted(ROOT.glob(item.file))
            assert files, f"there is no {item.file}, which is to run {item.command}"
            assert any(item.shows in path.read_text(encoding="utf-8") for path in files), (item.file, item.shows)


def test_commands_are_found_with_their_lines_and_mistakes(parser, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "README.md").write_text(PAGE)
    found = docs_commands.commands(tmp_path)
    assert [command.fenced for command in found] == [False] * 3 + [True] * 5
    assert found[3].words == (
        "run",
        "proof",
        "out/demo/demo.blend",
        "--json",
        "out/r.json",
        "--html",
        "out/a page.html",
    )
    assert [command.code for command in found[3:]] == [1, 0, 0, 0, 0]
    assert found[4].words == ("proof", "$FILE", "--no-picture") and found[4].place == "README.md, line 8"
    told = [docs_commands.problem(command, parser, HELP, tmp_path) for command in found]
    for text, words in zip(
        told,
        ("", "", "invalid choice", "", "", "no such command", "there is no tests/core", "invalid int"),
        strict=True,
    ):
        assert (words in text) if words else text == "", (text, words)


def test_a_command_that_nothing_runs_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "README.md").write_text("# A page\n```\npython3 dev.py sing\n```\n")
    (command,) = docs_commands.commands(tmp_path)
    assert runner_of(command) is None
