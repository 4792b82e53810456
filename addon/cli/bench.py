"""`bench`: the figures of the design's table of numbers, each a ratio within one run."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from .text_files import write_text


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser("bench", help="measure speed and exactness, as ratios in one run")
    command.add_argument("--json", type=Path, default=None, metavar="F", help="write the figures")
    command.add_argument("--quick", action="store_true", help="fewer repetitions: a smoke test, not a measurement")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print."""
    from .. import bench

    rows = bench.measure(0.1 if options.quick else 1.0)
    width = max(len(row.what) for row in rows)
    print(f"{'what':<{width}}  {'measured':>14}  {'target':>12}  verdict")
    for row in rows:
        verdict = "" if row.target is None else ("reached" if row.reached else "missed")
        target = "" if row.target is None else f"{row.sign} {row.target:g}"
        print(f"{row.what:<{width}}  {row.value:>14.4g}  {target:>12}  {verdict}  {row.note}")
    if options.json is not None:
        write_text(options.json, json.dumps([row.as_dict() for row in rows], indent=1, sort_keys=True) + "\n")
    return 0
