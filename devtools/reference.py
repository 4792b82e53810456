"""Writes docs/reference.md from the code: commands, exit codes, requirements, dials, card roles, file formats.

Run by the environment's Python, which has the package: `python3 dev.py reference`. With `--check` it only compares.
"""

from __future__ import annotations

import argparse
import importlib
import math
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference.md"
# Modules with a FORMAT and a VERSION, the file's usual name, who writes it and who reads it.
FORMATS = (
    ("core.guide_json", "guide.json", "`fit`", "`build`, `plan`, `sweep`"),
    ("core.plan.model", "plan.json", "`build`, `plan`, `demo`", "people; a rig keeps its own"),
    ("core.rig_record", "a property of the armature", "`build`", "every command on a rig"),
    ("core.card.model", "CARD.json", "`card`, people", "`proof --card`, `study --actor-card`"),
    ("core.study.study_json", "study.json", "`study`", "people"),
    ("core.sheet.model", "sheet.toml", "`study`, people", "`build --sheet`, `proof --sheet`"),
    ("core.proof.results", "results.json", "`proof`, `demo`", "`proof --baseline`"),
    ("core.proof.kept", "a property of the armature", "the sidebar's proof", "the sidebar"),
    ("core.proof.farm", "farm.json", "`proof` of several files", "people"),
    ("core.sweep.result", "sweep.json", "`sweep`", "people"),
    ("core.sweep.state", "shards of `--resume DIR`", "`sweep`", "`sweep --resume`"),
    ("core.sweep.case", "*.case.json", "`sweep --cases`", "`proof --case`"),
    ("addon.transfer_report", "report.json", "`transfer --report`", "people"),
)
HEAD = """# Reference

Made from the code by `python3 dev.py reference`; a test compares it. What each thing is for is told elsewhere:
[README](../README.md), [the arm](arm.md), [the study](study.md), [sheets](sheet.md), [cards](cards.md),
[farm](farm.md).
"""


def main(arguments: Sequence[str]) -> int:
    """Write the page, or with `--check` say whether it is up to date: 0 if so, 1 if not."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    options.add_argument("--check", action="store_true", help="compare, write nothing")
    made = page()
    if options.parse_args(arguments).check:
        same = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == made
        print("docs/reference.md is up to date" if same else "docs/reference.md is old: run `python3 dev.py reference`")
        return 0 if same else 1
    PAGE.write_text(made, encoding="utf-8", newline="\n")
    print("wrote docs/reference.md")
    return 0


def page() -> str:
    """The whole page."""
    parts = [HEAD, *_commands(), *_requirements(), *_dials(), *_roles(), *_formats()]
    return "\n".join(parts)


def _commands() -> Iterator[str]:
    main = _module("addon.cli.main")
    yield "## Commands\n"
    yield (
        f"Exit codes: 0 good; {main.FAILED} something failed, or a line of a sheet does not hold; {main.BAD_INPUT} "
        f"input that can not be used, with one sentence that says why; {main.INTERRUPTED} stopped.\n"
    )
    parser = main.parser()
    found: dict[str, Any] = next(item for item in parser._actions if hasattr(item, "choices") and item.choices).choices
    for name, command in found.items():
        positional = [item for item in command._actions if not item.option_strings]
        usage = " ".join([name, *(_words(item) for item in positional)])
        yield f"### `{usage}`\n"
        rows = [
            (
                f"`{_cell(' '.join([item.option_strings[0], *([_words(item)] if item.nargs != 0 else [])]))}`",
                _help(item),
            )
            for item in command._actions
            if item.option_strings and item.dest != "help"
        ]
        yield _table(("option", "what it does"), rows)


def _words(item: Any) -> str:
    """How an argument's value is called."""
    if item.metavar is not None:
        word = item.metavar if isinstance(item.metavar, str) else " ".join(item.metavar)
    elif item.choices is not None:
        word = "|".join(str(choice) for choice in item.choices)
    else:
        word = str(item.dest).upper()
    return f"[{word}]" if item.nargs in ("?", "*") else f"{word}..." if item.nargs == "+" else str(word)


def _help(item: Any) -> str:
    return _cell((item.help or "") % {"default": item.default, "prog": "armwright"})


def _requirements() -> Iterator[str]:
    verdicts, summary = _module("core.proof.verdicts"), _module("core.proof.report.summary")
    yield "## Requirements\n"
    yield (
        "L is the arm's length, upper arm and forearm at rest. The unit of each measure is in `results.json` beside "
        "its value.\n"
    )
    for requirement in verdicts.EVERY:
        yield f"### `{requirement.ID}`\n"
        modes = ", ".join(f"`{mode}`" for mode in requirement.MODES)
        yield f"{summary.TITLES[requirement.ID]}. Modes: {modes}.\n"
        yield _table(("measure", "limit"), ((f"`{name}`", f"{limit:g}") for name, limit in requirement.LIMITS.items()))


def _dials() -> Iterator[str]:
    dials = _module("core.arm.dials")
    yield "## Dials\n"
    yield "Custom properties of each arm's `fk.clavicle` control.\n"
    rows = []
    for key, default, low, high, words in dials.DIALS:
        turn = 180.0 / math.pi if key in dials.ANGLES else 1.0
        unit = " degrees" if key in dials.ANGLES else ""
        rows.append((f"`{key}`", f"{low * turn:g} to {high * turn:g}{unit}", f"{default * turn:g}", _cell(words)))
    yield _table(("dial", "range", "at first", "what it does"), rows)


def _roles() -> Iterator[str]:
    model, words = _module("core.card.model"), _module("core.controls.words").ROLE_WORDS
    yield "## Roles of a rig card\n"
    needed = ", ".join(f"`{role}`" for role in model.NEEDED)
    yield f"An arm needs {needed}; the other roles may be left out, and what needs them does not apply.\n"
    rows = []
    for role in model.BONE_ROLES:
        if role in model.JOINTS:
            what = f"the {role.replace('_', ' ')} as it ends up on the skin"
        else:
            known = words.get(role)
            what = known.sentence if known is not None else ""
        rows.append((f"`{role}`", _cell(what)))
    yield _table(("bone", "what it is"), rows)
    yield f"Dials: {', '.join(f'`{name}`' for name in model.DIALS)}.\n"


def _formats() -> Iterator[str]:
    yield "## Files\n"
    yield "A file of a newer version is refused with a sentence, never guessed at.\n"
    rows = []
    for name, file, writer, reader in FORMATS:
        module = _module(name)
        rows.append((f"`{module.FORMAT}`", str(module.VERSION), file, writer, reader))
    yield _table(("format", "version", "usual name", "written by", "read by"), rows)


def _table(head: Sequence[str], rows: Iterator[tuple[str, ...]] | Sequence[tuple[str, ...]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"| {' | '.join('---' for _ in head)} |"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)]) + "\n"


def _cell(text: str) -> str:
    """Text for one cell of a table."""
    return re.sub(r"\s+", " ", text).replace("|", "\\|").strip()


def _module(name: str) -> Any:
    return importlib.import_module(f"armwright.{name}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
