"""The history of `bench`: what each run measured, on which machine, with which versions; one file, oldest run first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from . import codec
from .errors import ProofError, shown

FORMAT = "armwright.bench"
VERSION = 1
_WHAT = "bench history"
# Columns of runs in a table: more are not read beside each other.
SHOWN_RUNS = 6


@dataclass(frozen=True)
class Figure:
    """One figure of a run.

    what: the row's name, with its unit unless it is a ratio.
    sign: "<=" or ">=" against `target`; None for a figure without one.
    """

    what: str
    value: float
    sign: str
    target: float | None

    @property
    def verdict(self) -> str:
        """ "reached", "missed", or nothing where there is no target."""
        if self.target is None:
            return ""
        reached = self.value <= self.target if self.sign == "<=" else self.value >= self.target
        return "reached" if reached else "missed"


@dataclass(frozen=True)
class Machine:
    """processor: its model as the system names it. cores: that the process may use. memory: gibibytes."""

    processor: str
    cores: int
    memory: float


@dataclass(frozen=True)
class Versions:
    """Of everything that a figure depends on."""

    armwright: str
    host: str
    python: str
    numpy: str


@dataclass(frozen=True)
class BenchRun:
    """date: YYYY-MM-DD. load: programs that wanted a core in the minute before, the machine's own count; above 0 others
    were at work, and figures of many cores are worse for it."""

    date: str
    machine: Machine
    versions: Versions
    load: float
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class History:
    """runs: oldest first."""

    runs: tuple[BenchRun, ...] = ()


def to_text(history: History) -> str:
    """JSON text, a line a run."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(history, ProofError)})


def from_text(text: str | bytes) -> History:
    """The history in `text`. Raises ProofError, with line and column or the field, where it is none."""
    data = codec.parse(text, _WHAT, ProofError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, ProofError)
    plain = {name: value for name, value in data.items() if name not in ("format", "version")}
    history = codec.decode(History, plain, "", ProofError)
    for place, run in enumerate(history.runs):
        for figure in run.figures:
            if figure.sign not in ("<=", ">="):
                raise ProofError(f'runs[{place}]: the sign of {shown(figure.what)} has to be "<=" or ">="')
    return history


def before(history: History, run: BenchRun) -> BenchRun | None:
    """The last run on the same processor in the same host (its first two numbers); None if there was none."""
    alike = [old for old in history.runs if _group(old) == _group(run)]
    return alike[-1] if alike else None


def _group(run: BenchRun) -> tuple[str, int, tuple[str, ...]]:
    return run.machine.processor, run.machine.cores, tuple(run.versions.host.split(".")[:2])


def header(run: BenchRun) -> str:
    """The machine and the versions, in a line."""
    machine, versions = run.machine, run.versions
    return (
        f"{run.date}: {machine.processor}, {machine.cores} cores, {machine.memory:.0f} GiB, load {run.load:.1f}; "
        f"Armwright {versions.armwright}, host {versions.host}, Python {versions.python}, numpy {versions.numpy}"
    )


def table(run: BenchRun, old: BenchRun | None = None) -> list[str]:
    """Lines for a terminal: each figure of `run` with its target and verdict, and what `old` had."""
    known = {figure.what: figure.value for figure in old.figures} if old is not None else {}
    width = max((len(figure.what) for figure in run.figures), default=4)
    last = f"  {'on ' + old.date:>13}" if old is not None else ""
    lines = [f"{'what':<{width}}  {'measured':>10}  {'target':>9}  {'verdict':<7}{last}"]
    for figure in run.figures:
        target = "" if figure.target is None else f"{figure.sign} {figure.target:g}"
        value = known.get(figure.what, math.nan)
        earlier = "" if old is None else f"  {'new' if math.isnan(value) else format(value, '.4g'):>13}"
        lines.append(
            f"{figure.what:<{width}}  {figure.value:>10.4g}  {target:>9}  {figure.verdict:<7}{earlier}".rstrip()
        )
    return lines


def beside(history: History) -> list[str]:
    """Lines for a terminal: the figures of the last SHOWN_RUNS runs beside each other, and what each run was."""
    runs = history.runs[-SHOWN_RUNS:]
    # Names in the order of the newest run, then those that only older ones have.
    names = list(dict.fromkeys(figure.what for run in reversed(runs) for figure in run.figures))
    targets = {figure.what: figure for run in runs for figure in run.figures}
    width = max(map(len, names), default=4)
    lines = [f"{place + 1}  {header(run)}" for place, run in enumerate(runs)]
    lines.append(f"{'what':<{width}}  {'target':>9}" + "".join(f"{place + 1:>11}" for place in range(len(runs))))
    for name in names:
        figure = targets[name]
        line = f"{name:<{width}}  {'' if figure.target is None else f'{figure.sign} {figure.target:g}':>9}"
        for run in runs:
            value = next((item.value for item in run.figures if item.what == name), None)
            line += f"{'' if value is None else format(value, '.4g'):>11}"
        lines.append(line.rstrip())
    return lines
