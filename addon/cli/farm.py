"""`proof` of several files, or of one under limits: each in a process of its own, one page for all of them."""

from __future__ import annotations

import argparse
import glob
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from ...core.errors import ProofError
from ...core.proof import farm
from ...core.proof.farm import Outcome
from .. import farm_run
from ..text_files import write_text

WORKERS, SECONDS = 1, 3600.0
# Arguments of the command that are not those of each file's own process.
_NOT_PASSED = ("help", "file", "json", "junit", "html", "workers", "time_limit", "memory_limit", "case")


def add_to(command: argparse.ArgumentParser) -> None:
    """Add the arguments that several files need."""
    group = command.add_argument_group("several files, each in a process of its own")
    group.add_argument("--workers", type=int, metavar="N", help=f"files proved at once (default: {WORKERS})")
    group.add_argument(
        "--time-limit", type=float, metavar="SECONDS", help=f"most that one file may take (default: {SECONDS:g})"
    )
    group.add_argument("--memory-limit", type=float, metavar="GIB", help="most that one file may use (default: any)")
    command.epilog = (
        "Exit code: 0 if everything holds; 1 if a check failed or, of several files, one crashed, went over a limit or "
        "was refused; 2 for arguments, or one file, that can not be used; 130 if it was stopped."
    )
    command.set_defaults(passed=lambda options: passed(command, options))


def is_wanted(options: argparse.Namespace, files: Sequence[str]) -> bool:
    """Whether the files are to be proved in processes of their own."""
    limits = (options.workers, options.time_limit, options.memory_limit)
    return len(files) > 1 or any(limit is not None for limit in limits)


def expanded(given: Sequence[Path]) -> list[str]:
    """The files that were named, each once; patterns that the shell left are filled in. Raises ProofError."""
    found: dict[str, str] = {}
    for path in map(str, given):
        names = [path]
        if not os.path.lexists(path) and glob.has_magic(path):
            names = sorted(glob.glob(path, recursive=True))
            if not names:
                raise ProofError(f"no file fits {path!r}: check the pattern")
        for name in names:
            if os.path.isdir(name):
                raise ProofError(f"{name!r} is a folder: name its files, such as {os.path.join(name, '*.blend')!r}")
            if not os.path.isfile(name):
                raise ProofError(f"there is no file {name!r}: check the path")
            found.setdefault(os.path.realpath(name), name)
    return list(found.values())


def run(options: argparse.Namespace, files: Sequence[str]) -> int:
    """Prove the files, write, print."""
    limits = _limits(options)
    if options.case is not None:
        raise ProofError("--case looks at one pose in one file: give one file, and neither --workers nor limits")
    if options.baseline is not None and len(files) > 1:
        raise ProofError("--baseline holds the results of one character: give one file with it")
    outputs = [path for path in (options.json, options.junit, options.html) if path is not None]
    for path in outputs:
        # Now rather than after an hour of work.
        if path.is_dir():
            raise ProofError(f"{str(path)!r} is a folder: name a file to write")
        path.parent.mkdir(parents=True, exist_ok=True)
    if limits.memory_gib is not None and not farm_run.can_watch_memory():
        print("note: the memory limit is not watched: this system has no /proc to read it from", file=sys.stderr)

    def tell(outcome: Outcome, seconds: float, done: int) -> None:
        print(f"[{done}/{len(files)}] {farm.line(outcome)} ({seconds:.0f} s)", flush=True)

    command = farm_run.proof_command(options.passed(options))
    outcomes = farm_run.run_files(files, command, limits, options.html is not None, tell)
    write_outcomes(outcomes, options.json, options.junit, options.html)
    print(farm.sentence(outcomes))
    return farm.exit_code(outcomes)


def write_outcomes(outcomes: Sequence[Outcome], json: Path | None, junit: Path | None, html: Path | None) -> None:
    """Write the merged forms that were asked for."""
    from ...core.proof.report.farm_junit import farm_junit
    from ...core.proof.report.farm_page import farm_page

    for path, form in ((json, farm.to_text), (junit, farm_junit), (html, farm_page)):
        if path is not None:
            write_text(path, form(outcomes))


def passed(command: argparse.ArgumentParser, options: argparse.Namespace) -> list[str]:
    """The arguments for each file's own process: those of the command that were given, apart from files and limits."""
    words: list[str] = []
    for action in command._actions:
        value = getattr(options, action.dest, None)
        if action.dest in _NOT_PASSED or not action.option_strings or value == action.default:
            continue
        name = action.option_strings[-1]
        # Joined, so that a value that starts with a dash is one.
        words.append(name if action.nargs == 0 else f"{name}={value}")
    return words


def _limits(options: argparse.Namespace) -> farm_run.Limits:
    """Raises ProofError for limits that are none."""
    workers = WORKERS if options.workers is None else options.workers
    seconds = SECONDS if options.time_limit is None else options.time_limit
    if workers < 1:
        raise ProofError(f"--workers {workers}: expected 1 or more")
    for name, value in (("--time-limit", seconds), ("--memory-limit", options.memory_limit)):
        if value is not None and not 0.0 < value < float("inf"):
            raise ProofError(f"{name} {value:g}: expected a number above 0")
    return farm_run.Limits(workers, seconds, options.memory_limit)
