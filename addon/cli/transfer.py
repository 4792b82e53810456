"""`transfer`: put a recorded motion onto the arms of a .blend as arcs and holds."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ...core import codec
from ...core.errors import HostError
from ..text_files import write_text
from . import motion_file


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("transfer", help="put a recorded motion onto a rig's arms: arcs, and holds that hold")
    motion_file.add_to(command)
    command.add_argument("file", type=Path, metavar="FILE.blend")
    command.add_argument("--out", type=Path, required=True, metavar="OUT.blend", help="file to write")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature, if there are several")
    command.add_argument("--start", type=int, default=1, metavar="F", help="scene frame to begin at (default: 1)")
    command.add_argument("--into", choices=("new", "same"), default="new", help="action to write to (default: new)")
    command.add_argument(
        "--replace", action="store_true", help="in the same action, replace the arms' keys in the range"
    )
    command.add_argument("--keys", choices=("every", "fewest"), default="every", help="where to set keys")
    command.add_argument("--tolerance", type=float, default=0.001, metavar="METRES", help="with the fewest keys")
    command.add_argument("--blend", type=float, default=0.2, metavar="S", help="seconds of an arc into a hold")
    command.add_argument("--scale", type=float, default=None, help="of the motion; default: by the arms' lengths")
    command.add_argument("--report", type=Path, default=None, metavar="F.json", help="write what was measured")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read, put on, save."""
    from ...core.study.study import study
    from .. import transfer, transfer_report
    from . import files

    _check_paths(options, files.BLEND_SUFFIX)
    motion = motion_file.read(options, _say).motion
    armature = files.open_arms(options.file, options.armature)
    chosen = transfer.Options(
        start=options.start,
        into=options.into,
        replace=options.replace,
        keys=options.keys,
        tolerance=options.tolerance,
        blend=options.blend,
        scale=options.scale,
    )
    done = transfer.transfer_whole(armature, study(motion), chosen, _show)
    files.save_blend(options.out)
    if options.report is not None:
        write_text(options.report, codec.to_text(transfer_report.as_data(done)))
    print("\n".join(transfer_report.table(done)))
    print(f"{options.out}: {done.sentence()}")
    return 0


def _check_paths(options: argparse.Namespace, suffix: str) -> None:
    """Raise HostError, before any work, where what is written can not be, or would be written over what is read."""
    if options.out.suffix.lower() != suffix:
        raise HostError(f"--out {str(options.out)!r} is not a {suffix} file: give it that ending")
    written = {"--out": options.out, "--report": options.report}
    for option, path in written.items():
        if path is None:
            continue
        if path.is_dir():
            raise HostError(f"{option} {str(path)!r} is a folder: name a file in it")
        for read in (options.file, options.motion):
            if path.exists() and read.exists() and path.samefile(read):
                what = "file" if read == options.file else "motion"
                raise HostError(
                    f"{option} names the input {what}: choose another name, so that the input stays as it is"
                )
    if options.report is not None and options.report.resolve() == options.out.resolve():
        raise HostError("--report and --out name the same file: give the report another name, such as report.json")


def _show(progress) -> None:  # type: ignore[no-untyped-def]
    """A line for every tenth of the way."""
    tenths = 10 * progress.done // progress.total
    if tenths > 10 * (progress.done - 1) // progress.total:
        print(f"transfer: {10 * tenths:3d} %  {progress.what}", file=sys.stderr, flush=True)


def _say(text: str) -> None:
    print(f"transfer: {text}", file=sys.stderr, flush=True)
