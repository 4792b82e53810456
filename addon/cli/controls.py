"""`controls`: a page for the animator that says what each control of a character does."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...core.errors import HostError
from ..text_files import write_text

SUFFIXES = (".html", ".htm")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("controls", help="write a page that says and shows what each control does")
    command.add_argument("file", type=Path, metavar="FILE.blend")
    command.add_argument("--out", type=Path, required=True, metavar="PAGE.html", help="page to write")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to tell of, if there are several")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Open, read, write."""
    from ...core.controls.page import page
    from .. import control_sheet, subjects
    from . import files

    if options.file.suffix.lower() != files.BLEND_SUFFIX:
        raise HostError(f"{options.file.name!r} is not a .blend file: build arms into one first")
    if options.out.suffix.lower() not in SUFFIXES:
        raise HostError(f"--out {str(options.out)!r} is not an .html file: give it that ending")
    files.open_input(options.file)
    armature = files.choose_armature(options.armature, with_arms=True)
    if armature is None:
        raise HostError(f"{options.file.name!r} has no armature with arms built by Armwright: build them first")
    files.show_scene_of(armature)
    sheet = control_sheet.sheet_of(subjects.subject_of(armature))
    write_text(options.out, page(sheet))
    print(f"{options.out}: {len(sheet.controls)} controls of {sheet.name!r}")
    return 0
