"""`sweep`: the worst of every measure over random settings, found in the reference solver."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from pathlib import Path

from ...core.errors import HostError, ProofError
from ...core.sweep import case, result
from ...core.sweep.job import ROUNDS, Job, job_of, job_of_guide
from ...core.sweep.run import Progress, sweep
from ..text_files import write_text
from . import plan

FAILED, INTERRUPTED = 1, 130
STATURE = 1.7


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser(
        "sweep", help="look for the worst settings of an arm; exit code 0 only if nothing is over its limit"
    )
    command.add_argument("file", type=Path, nargs="?", default=None, metavar="FILE.blend", help="rig to sweep")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to sweep, if there are several")
    source = command.add_mutually_exclusive_group()
    source.add_argument("--guide", type=Path, metavar="GUIDE.json", help="joint guide, instead of a file with arms")
    source.add_argument(
        "--stature", type=float, default=None, metavar="METRES",
        help=f"body height, instead of a file with arms (default: {STATURE})",
    )  # fmt: skip
    command.add_argument("--name", default="Wren", help="the character's name, with --stature (default: %(default)s)")
    plan.add_fingers_option(command)
    command.add_argument("--poses", type=int, default=100_000, metavar="N", help="how many (default: %(default)s)")
    command.add_argument("--seed", type=int, default=1, metavar="S", help="of the sequence (default: %(default)s)")
    command.add_argument(
        "--workers", type=int, default=os.cpu_count() or 1, metavar="W", help="processes (default: %(default)s)"
    )
    command.add_argument(
        "--rounds", type=int, default=ROUNDS, metavar="R", help="of the local search; 0: none (default: %(default)s)"
    )
    command.add_argument(
        "--cluster", default=None, metavar="ADDRESS", help="scheduler of a dask cluster that works instead"
    )
    command.add_argument("--json", type=Path, default=None, metavar="F", help="write the outcome")
    command.add_argument("--cases", type=Path, default=None, metavar="DIR", help="write a case file for each measure")
    command.add_argument(
        "--resume", type=Path, default=None, metavar="DIR", help="keep finished shards here, and go on from them"
    )
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Sweep, write, print."""
    job = job_from(options)
    line = RateLine()
    try:
        with executor_of(options.cluster) as executor:
            outcome = sweep(job, executor, options.workers, options.resume, line.show)
    except KeyboardInterrupt:
        line.end()
        if options.resume is None:
            raise
        print(
            f"armwright: stopped; the finished shards are in {options.resume}: the same command goes on from there",
            file=sys.stderr,
        )
        return INTERRUPTED
    line.end()
    if options.json is not None:
        write_text(options.json, result.to_text(outcome))
    if options.cases is not None:
        for worst in outcome.worst:
            if worst.case is not None:
                write_text(options.cases / f"{worst.measure}.{worst.arm}.json", case.to_text(worst.case))
    print(result.table(outcome))
    return FAILED if outcome.failed else 0


def job_from(options: argparse.Namespace) -> Job:
    """The rig that the arguments name, as a job. Raises an error with what to do where there is none."""
    if options.file is None:
        if options.armature is not None:
            raise HostError("--armature names an armature of a file: give the file as well")
        if options.guide is None and options.stature is None:
            options.stature = STATURE
        return job_of_guide(plan.guide_of(options), options.seed, options.poses, options.rounds)
    if options.guide is not None or options.stature is not None or options.fingers:
        raise HostError("give a file with arms, or --guide, or --stature: one of them")
    from .. import subjects
    from . import files

    subject = subjects.subject_of(files.open_arms(options.file, options.armature))
    name = subject.record.name
    arms = tuple(subject.geometries.items())
    return job_of(name, subject.record.plan_digest, arms, options.seed, options.poses, options.rounds)


@contextmanager
def executor_of(address: str | None) -> Iterator[Executor | None]:
    """The executor of a dask cluster; None without an address. Raises ProofError where there is none."""
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError as problem:
        raise ProofError(
            '--cluster needs dask: install it beside Armwright with pip install "dask[distributed]"'
        ) from problem
    try:
        client = Client(address, timeout=10)
    except (OSError, ValueError) as problem:
        raise ProofError(f"--cluster {address}: no scheduler answers there: {problem}") from problem
    with client:
        yield client.get_executor()


class RateLine:
    """How far a sweep is, its rate and the time left, on standard error. It guards when it last spoke and began."""

    def __init__(self) -> None:
        self._begun: dict[str, float] = {}
        self._last = 0.0
        self._terminal = sys.stderr.isatty()

    def show(self, progress: Progress) -> None:
        """Say how far the sweep is."""
        now = time.monotonic()
        begun = self._begun.setdefault(progress.what, now)
        whole = progress.done >= progress.total
        if now - self._last < (0.1 if self._terminal else 5.0) and not whole:
            return
        self._last = now
        text = said(progress, now - begun)
        end = "" if self._terminal else "\n"
        print(f"\r{text:<78}" if self._terminal else text, end=end, file=sys.stderr, flush=True)

    def end(self) -> None:
        """Clear the line."""
        if self._terminal:
            print("\r" + " " * 78 + "\r", end="", file=sys.stderr, flush=True)


def said(progress: Progress, seconds: float) -> str:
    """The progress in words, `seconds` after its kind of work began; an earlier run's share does not count as speed."""
    share = 100 * progress.done // max(progress.total, 1)
    text = f"sweep: {share:3d} %  {progress.done:,} of {progress.total:,} {progress.what}"
    made = progress.done - progress.kept
    if made > 0 and seconds > 0.0:
        rate = made / seconds
        left = round((progress.total - progress.done) / rate)
        text += f", {rate:,.0f} a second" if rate >= 10.0 else f", {rate:.1f} a second"
        text += f", {left // 60}:{left % 60:02d} left"
    return text
