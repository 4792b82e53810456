"""The command line: reads the arguments, runs one command, turns errors into a sentence and exit code 2."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from ...core.errors import ArmwrightError
from . import bench, build, card, controls, demo, export, fit, plan, proof, study, sweep, switch, transfer

COMMANDS = (study, build, plan, fit, card, proof, sweep, switch, transfer, export, controls, demo, bench)

FAILED, BAD_INPUT, INTERRUPTED = 1, 2, 130


def parser() -> argparse.ArgumentParser:
    """The argument parser with every command."""
    top = argparse.ArgumentParser(
        prog="armwright", description="Builds arm rigs and proves by measurement that they hold."
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add_to(commands)
    return top


def main(arguments: Sequence[str]) -> None:
    """Run one command and end the process with its exit code: 0 good, 1 something failed, 2 bad input."""
    options = parser().parse_args(arguments)
    try:
        code = int(options.run(options))
    except ArmwrightError as problem:
        print(f"armwright: {problem}", file=sys.stderr)
        code = BAD_INPUT
    except OSError as problem:
        print(f"armwright: {problem.strerror or problem}: {problem.filename or ''}", file=sys.stderr)
        code = BAD_INPUT
    except KeyboardInterrupt:
        print("armwright: stopped; nothing was written", file=sys.stderr)
        code = INTERRUPTED
    finish(code)


def finish(code: int) -> None:
    """End the process. Where the host was used it ends at once, because the host can hang while it shuts down."""
    sys.stdout.flush()
    sys.stderr.flush()
    if "bpy" in sys.modules:
        os._exit(code)
    sys.exit(code)
