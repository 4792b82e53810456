"""`switch`: convert a range of frames of a .blend to another way of holding."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ...core.errors import HostError

MODES = ("none", "hand", "elbow", "both")
KEYS = ("every", "fewest")
EVERY = ("both", "all")


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("switch", help="change what arms hold over a range of frames, every pose kept")
    command.add_argument("file", type=Path, metavar="FILE.blend")
    command.add_argument("--out", type=Path, required=True, metavar="OUT.blend", help="file to write")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to convert, if there are several")
    command.add_argument("--arm", default=EVERY[0], metavar="ARM", help="L, R, lower.L, …; both or all (default: all)")
    command.add_argument("--mode", choices=MODES, required=True, help="what the arm is to hold")
    command.add_argument("--from", dest="first", type=float, required=True, metavar="A", help="first frame")
    command.add_argument("--to", dest="last", type=float, required=True, metavar="B", help="last frame")
    command.add_argument("--keys", choices=KEYS, default="every", help="where to set keys (default: %(default)s)")
    command.add_argument(
        "--tolerance", type=float, default=0.001, metavar="METRES", help="with the fewest keys (default: %(default)s)"
    )
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Open, convert, save."""
    from .. import convert, subjects
    from . import files

    for path, what in ((options.file, "the input"), (options.out, "--out")):
        if path.suffix.lower() != files.BLEND_SUFFIX:
            raise HostError(f"{what} {str(path)!r} is not a .blend file")
    if options.out.exists() and options.file.exists() and options.out.samefile(options.file):
        raise HostError("--out names the input file: choose another name, so that the input stays as it is")
    files.open_input(options.file)
    armature = files.choose_armature(options.armature, with_arms=True)
    if armature is None:
        raise HostError(f"{options.file.name!r} has no armature with arms built by Armwright: build them first")
    files.show_scene_of(armature)
    subject = subjects.subject_of(armature)
    arms = subject.arms if options.arm in EVERY else (options.arm,)
    if arms[0] not in subject.arms:
        known = ", ".join((*subject.arms, EVERY[1]))
        raise HostError(f"{armature.name!r} has no arm {options.arm!r}: choose one of {known}")
    request = convert.Request(arms, options.mode, options.first, options.last, options.keys, options.tolerance)
    outcome = convert.convert_whole(subject, request, _show)
    files.save_blend(options.out)
    print(f"{options.out}: {outcome.sentence()}")
    return 0


def _show(progress) -> None:  # type: ignore[no-untyped-def]
    """A line for every tenth of the way."""
    tenths = 10 * progress.done // progress.total
    if tenths > 10 * (progress.done - 1) // progress.total:
        print(f"switch: {10 * tenths:3d} %  {progress.what}", file=sys.stderr, flush=True)
