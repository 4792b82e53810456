"""`bench`: the figures of the design's table of numbers, each a ratio within one run, and their history."""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
from pathlib import Path

from ...core import bench_history
from ...core.bench_history import BenchRun, Figure, History, Machine, Versions
from ...core.errors import ProofError
from ..text_files import write_text


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("bench", help="measure speed and exactness, as ratios in one run")
    command.add_argument("--json", type=Path, default=None, metavar="F", help="write the figures")
    command.add_argument("--quick", action="store_true", help="fewer repetitions: a smoke test, not a measurement")
    command.add_argument(
        "--history", type=Path, default=None, metavar="F", help="add this run to a file of runs, beside the one before"
    )
    command.add_argument("--show", action="store_true", help="only show the runs of --history beside each other")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print; or only print what was measured."""
    if options.history is None:
        if options.show:
            raise ProofError("--show needs --history FILE: the runs to show")
        history = History()
    else:
        history = _read(options.history, options.show)
    if options.show:
        print("\n".join(bench_history.beside(history)))
        return 0
    if options.quick and options.history is not None:
        raise ProofError("a --quick run is no measurement: leave out --quick, or --history")
    from .. import bench

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    rows = bench.measure(0.1 if options.quick else 1.0)
    figures = tuple(Figure(row.what, row.value, row.sign, row.target) for row in rows)
    found = BenchRun(datetime.date.today().isoformat(), machine(), versions(), round(load, 2), figures)
    print(bench_history.header(found))
    print("\n".join(bench_history.table(found, bench_history.before(history, found))))
    for row in rows:
        if row.note:
            print(f"{row.what}: {row.note}")
    if options.json is not None:
        write_text(options.json, json.dumps([row.as_dict() for row in rows], indent=1, sort_keys=True) + "\n")
    if options.history is not None:
        write_text(options.history, bench_history.to_text(History((*history.runs, found))))
    return 0


def _read(path: Path, needed: bool) -> History:
    """The runs in a file; none where it is not there yet and not `needed`. Raises ProofError where it is none."""
    try:
        return bench_history.from_text(path.read_bytes())
    except FileNotFoundError:
        if not needed:
            return History()
        raise ProofError(f"--history {str(path)!r}: there is no such file") from None
    except OSError as problem:
        raise ProofError(f"--history {str(path)!r}: it can not be read: {problem.strerror}") from None
    except ProofError as problem:
        raise ProofError(f"--history {str(path)!r}: {problem}") from None


def machine() -> Machine:
    """This one. What the system does not tell is "unknown" or 0."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 0
    memory = 0.0
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        memory = round(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 2**30, 1)
    return Machine(_processor(), cores, memory)


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return models[0] if models else platform.processor() or platform.machine() or "unknown"


def versions() -> Versions:
    """Of what runs here."""
    import numpy as np

    from ...core.version import ARMWRIGHT
    from .. import host

    return Versions(ARMWRIGHT, host.version_name(), platform.python_version(), np.__version__)
