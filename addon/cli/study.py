"""`study`: what recorded motion asks of arms, as a requirement sheet, a page and data. Only a .blend needs a host."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ...core.errors import MotionError
from ..text_files import write_text
from . import motion_file

SHEET, PAGE, DATA = "sheet.toml", "study.html", "study.json"


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser(
        "study",
        help="read from recorded motion what arms must do",
        description="Reads recorded motion and writes what it asks of arms: a requirement sheet for `build --sheet` "
        "and `proof --sheet`, the torso's motion that the proof plays, a page with plots, and the figures as JSON.",
    )
    motion_file.add_to(command)
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read, study, write, print."""
    from ...core.sheet import sheet_toml
    from ...core.sheet.from_study import TORSO_FILE, draw_up, sentence
    from ...core.study import study_json
    from ...core.study.study import study
    from ...core.study_page.page import page

    if options.out.exists() and not options.out.is_dir():
        raise MotionError(f"--out {str(options.out)!r} is a file: name a folder")
    file = motion_file.read(options, _say)
    motion = file.motion
    for note in motion.notes:
        print(f"note: {note}")
    _say(f"studying {motion.frames:,} frames of {len(motion.arms)} arms")
    found = study(motion)
    drawn = draw_up(found, file.name, file.data)
    _say("drawing the page")
    # Everything is made before anything is written; the sheet, which names the torso's motion, comes last.
    texts = {
        TORSO_FILE: drawn.torso,
        DATA: study_json.to_text(study_json.record_of(found)),
        PAGE: page(found, drawn.sheet),
        SHEET: sheet_toml.to_text(drawn.sheet),
    }
    for name, text in texts.items():
        write_text(options.out / name, text)
    print(sentence(drawn.sheet))
    print(f"in {options.out}: {', '.join(sorted(texts))}")
    return 0


def _say(text: str) -> None:
    print(f"study: {text}", file=sys.stderr, flush=True)
