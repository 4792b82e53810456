"""The commands that the documentation tells people to run, and whether the programs take them as they stand."""

from __future__ import annotations

import argparse
import contextlib
import io
import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from . import docs_pages

_START = re.compile(r"(?:\bpython3?|\S+/bin/python) (?:(?:\S+/)?dev\.py|-m armwright)(?![\w./-])")
_CODE = re.compile(r"(`+)(?!`)(.+?)(?<!`)\1(?!`)")
# What of dev.py is handed to `python -m armwright`, and how.
HANDED_ON = {"run": (), "bench": ("bench",), "demo": ("demo",)}
# Options of pytest that the pages may use with `dev.py test`.
OF_PYTEST = {"-k", "-q", "-s", "-x"}


@dataclass(frozen=True)
class Command:
    """A command of a page.

    Attributes:
        place: page and line, for people.
        text: as it stands in the page, continued lines joined, up to a pipe or the like.
        words: its words without the program: `run`, `demo`, ... for dev.py, those of armwright otherwise.
        dev: whether it is one of dev.py.
        fenced: whether it stands in a block, to be run as it is; otherwise it is in a sentence.
        code: the exit code that the comment behind it says, as in `# exit code 1: ...`; 0 where it says none.
    """

    place: str
    text: str
    words: tuple[str, ...]
    dev: bool
    fenced: bool
    code: int = 0

    def armwright(self) -> tuple[str, ...] | None:
        """The arguments that `python -m armwright` gets; None for a command that is dev.py's alone."""
        if not self.dev:
            return self.words
        if not self.words or self.words[0] not in HANDED_ON:
            return None
        return (*HANDED_ON[self.words[0]], *self.words[1:])


def commands(root: Path) -> list[Command]:
    """Every command of every page of a checkout, in the order of the pages."""
    return [command for page in docs_pages.pages(root) for command in _of_page(root, page)]


def _of_page(root: Path, page: Path) -> Iterator[Command]:
    begun, place = "", ""
    for line in docs_pages.lines(root, page):
        if not line.fenced:
            begun = ""
            for code in _CODE.finditer(line.text):
                if _START.match(code[2].strip()):
                    yield _command(line.place(), code[2].strip(), False)
            continue
        text = f"{begun} {line.text.strip()}" if begun else line.text
        place = place if begun else line.place()
        found = _START.search(text)
        if found is None:
            continue
        if text.rstrip().endswith("\\"):
            begun = text.rstrip()[:-1].strip()
            continue
        begun = ""
        yield _command(place, text[found.start() :], True)


def _command(place: str, text: str, fenced: bool) -> Command:
    lexer = shlex.shlex(text, posix=True, punctuation_chars=True)
    lexer.whitespace_split = True
    words: list[str] = []
    for word in lexer:
        if set(word) <= set("();<>|&"):
            break
        words.append(word)
    dev = words[1] != "-m"
    said = re.search(r"# exit code (\d+)", text)
    return Command(place, shlex.join(words), tuple(words[2 if dev else 3 :]), dev, fenced, int(said[1]) if said else 0)


def problem(command: Command, parser: argparse.ArgumentParser, help_text: str, root: Path) -> str:
    """Why a program would not take `command`, a sentence; "" if it would.

    `parser` is that of `python -m armwright`, `help_text` what `dev.py --help` prints.
    """
    given = command.armwright()
    if not given and given is not None and not command.fenced:
        return ""  # a sentence about the program itself
    if given is not None:
        said = _refusal(parser, [_number(word) for word in given])
        return f"{command.place}: {command.text}: {said}" if said else ""
    if not command.words or command.words[0] not in dev_commands(help_text):
        return f"{command.place}: {command.text}: dev.py has no such command"
    takes = set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", help_text)) | OF_PYTEST
    for word in command.words[1:]:
        if word.startswith("-") and word not in takes:
            return f"{command.place}: {command.text}: dev.py does not say what {word} is"
        if word.startswith("tests/") and not (root / word.split("::")[0]).exists():
            return f"{command.place}: {command.text}: there is no {word}"
    return ""


def dev_commands(help_text: str) -> list[str]:
    """The commands that `dev.py --help` lists."""
    return re.findall(r"^  (\w+)", help_text, re.MULTILINE)


def _number(word: str) -> str:
    # N, S, W and the like stand for numbers, as the help has them.
    return "1" if re.fullmatch("[A-Z]", word) else word


def _refusal(parser: argparse.ArgumentParser, words: Sequence[str]) -> str:
    """What the parser has against these arguments; "" if nothing."""
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            parser.parse_args(words)
    except SystemExit as left:
        if left.code:
            return said.getvalue().strip().splitlines()[-1]
    return ""
