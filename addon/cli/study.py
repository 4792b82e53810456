"""`study`: what recorded motion asks of arms, as a requirement sheet, a page and data. Needs no host."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from ...core.errors import MotionError
from .text_files import write_text

SHEET, PAGE, DATA = "sheet.toml", "study.html", "study.json"
_TABLES = (".csv", ".npz")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser(
        "study",
        help="read from recorded motion what arms must do",
        description="Reads recorded motion and writes what it asks of arms: a requirement sheet for `build --sheet` "
        "and `proof --sheet`, the torso's motion that the proof plays, a page with plots, and the figures as JSON.",
    )
    command.add_argument("motion", type=Path, metavar="MOTION", help="a .bvh, or a table of joints: .csv or .npz")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")
    command.add_argument("--name", default=None, help="the motion's name (default: the file's)")
    command.add_argument(
        "--unit", type=float, default=None, metavar="METRES", help="metres of one unit of a .bvh (default: by the arms)"
    )
    command.add_argument(
        "--joints", action="append", default=[], metavar="ARM=SHOULDER,ELBOW,WRIST",
        help="joints of a .bvh that are an arm, such as L=LeftArm,LeftForeArm,LeftHand; once an arm",
    )  # fmt: skip
    command.add_argument(
        "--layout", type=Path, default=None, metavar="LAYOUT.toml", help="what the columns of a table mean"
    )
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read, study, write, print."""
    from ...core.sheet import sheet_toml
    from ...core.sheet.from_study import TORSO_FILE, draw_up, sentence
    from ...core.study import study_json
    from ...core.study.study import study
    from ...core.study_page.page import page

    joints = joints_of(options.joints)
    if options.out.exists() and not options.out.is_dir():
        raise MotionError(f"--out {str(options.out)!r} is a file: name a folder")
    if not options.motion.is_file():
        raise MotionError(f"there is no file {str(options.motion)!r}: check the path")
    data = options.motion.read_bytes()
    _say(f"reading {options.motion.name}")
    motion = _motion(options, data, options.name or options.motion.stem, joints)
    for note in motion.notes:
        print(f"note: {note}")
    _say(f"studying {motion.frames:,} frames of {len(motion.arms)} arms")
    found = study(motion)
    drawn = draw_up(found, options.motion.name, data)
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


def joints_of(given: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """`L=LeftArm,LeftForeArm,LeftHand` by the arm. Raises MotionError for another form."""
    found: dict[str, tuple[str, ...]] = {}
    for text in given:
        arm, equals, names = text.partition("=")
        joints = tuple(name.strip() for name in names.split(","))
        if not equals or not arm.strip() or len(joints) != 3 or not all(joints):
            raise MotionError(f"--joints {text!r}: expected ARM=SHOULDER,ELBOW,WRIST")
        if arm.strip() in found:
            raise MotionError(f"--joints: the arm {arm.strip()!r} is named twice; keep one")
        found[arm.strip()] = joints
    return found


def _motion(options: argparse.Namespace, data: bytes, name: str, joints: Mapping[str, tuple[str, ...]]):  # type: ignore[no-untyped-def]
    """The motion in a file by its ending. Raises MotionError."""
    from ...core.motion.bvh import read_bvh
    from ...core.study.from_bvh import motion_of_bvh
    from ...core.study.from_table import motion_of_csv, motion_of_npz

    suffix = options.motion.suffix.lower()
    if suffix in _TABLES:
        for option in ("unit", "joints"):
            if getattr(options, option):
                raise MotionError(f"--{option} is for a .bvh; a table says it in its head or with --layout")
        layout = None if options.layout is None else options.layout.read_text(encoding="utf-8")
        return (motion_of_csv if suffix == ".csv" else motion_of_npz)(data, name, layout)
    if suffix != ".bvh":
        raise MotionError(f"{options.motion.name!r} is of a kind that can not be studied; give .bvh, .csv or .npz")
    if options.layout is not None:
        raise MotionError("--layout is for a table, .csv or .npz")
    return motion_of_bvh(read_bvh(data), name, joints or None, options.unit)


def _say(text: str) -> None:
    print(f"study: {text}", file=sys.stderr, flush=True)
