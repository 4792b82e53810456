"""Hostile inputs for every reader, guided by the code that they reach: `python3 dev.py fuzz --inputs 100000 --seed 1`.

Each reader runs in a process of its own under limits on memory and time. Inputs grow by what Atheris (libFuzzer for
Python) learns of the code's branches, and by changes that keep a file's form (`tests/core/fuzz_mutations.py`). An
input that ends in anything but a sentence of ours is a finding: it is kept in `out/fuzz/`, and the exit code is 1.
"""

from __future__ import annotations

import argparse
import importlib
import json
import math
import os
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
CASES = ROOT / "out" / "fuzz"
GIGABYTE = 2**30
# Processor time of one input, and memory of the process that reads them all; a finding beyond.
MOST_SECONDS, MOST_GIGABYTES = 20.0, 4
# What one input costs differs: a mesh takes a hundred times as long as an expression.
SHARES = {"mesh": 0.2, "guide": 0.3, "shard": 0.3, "npz": 0.5, "case": 0.5}
LONGEST_INPUT = 1 << 16
# One input in so many is changed byte by byte by the library instead of by form.
PLAIN = 4


def main(arguments: Sequence[str]) -> int:
    """Run every reader, print a line for each, and return 1 if anything was found."""
    options = _parser().parse_args(arguments)
    if options.child:
        return _child(options)
    names = _names()
    if options.reader and options.reader not in names:
        print(f"there is no reader {options.reader!r}; there are: {', '.join(names)}", file=sys.stderr)
        return 2
    chosen = [options.reader] if options.reader else names
    whole = sum(SHARES.get(name, 1.0) for name in chosen)
    print(f"seed {options.seed}, Python {sys.version.split()[0]}; findings go to {CASES.relative_to(ROOT)}")
    print(f"{'reader':14}{'inputs':>9}{'taken':>8}{'findings':>9}{'branches':>9}{'slowest s':>10}{'peak MB':>8}")
    total = found = 0
    for name in chosen:
        inputs = math.ceil(options.inputs * SHARES.get(name, 1.0) / whole)
        told = _run(name, inputs, options.seed)
        total += told["inputs"]
        found += len(told["findings"])
        print(
            f"{name:14}{told['inputs']:>9,}{told['taken']:>8,}{len(told['findings']):>9}{told['branches']:>9,}"
            f"{told['slowest']:>10.2f}{told['peak']:>8,.0f}",
            flush=True,
        )
        for finding in told["findings"]:
            print(f"  {finding}")
    print(f"{total:,} inputs, {found} findings")
    return 1 if found else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="dev.py fuzz", description="Hostile inputs for every reader.")
    parser.add_argument("--inputs", type=int, default=100_000, help="of all readers together (default: 100000)")
    parser.add_argument("--seed", type=int, default=1, help="the same seed makes the same first inputs")
    parser.add_argument("--reader", default="", help="one reader alone")
    parser.add_argument("--child", default="", help=argparse.SUPPRESS)
    return parser


def _names() -> list[str]:
    code = "import fuzz_readers; print('\\n'.join(r.name for r in fuzz_readers.readers()))"
    done = subprocess.run([sys.executable, "-c", code], env=_variables(), capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def _variables() -> dict[str, str]:
    known = [str(ROOT / "tests" / "core"), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, known)), "OPENBLAS_NUM_THREADS": "1"}


def _run(name: str, inputs: int, seed: int) -> dict[str, Any]:
    """What one reader's process told; one that ends before its time is started again with the next seed."""
    told: dict[str, Any] = {"inputs": 0, "taken": 0, "findings": [], "branches": 0, "slowest": 0.0, "peak": 0.0}
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "told.json"
        while told["inputs"] < inputs:
            report.unlink(missing_ok=True)
            command = [sys.executable, __file__, "--child", str(report), "--reader", name, "--seed", str(seed)]
            command += ["--inputs", str(inputs - told["inputs"])]
            done = subprocess.run(
                command, env=_variables(), cwd=folder, capture_output=True, text=True, errors="replace"
            )
            part = json.loads(report.read_text(encoding="utf-8")) if report.is_file() else None
            if part is None:
                told["findings"].append(f"its process did not start: {done.stderr.strip()[-300:]}")
                break
            told["inputs"] += part["inputs"]
            told["taken"] += part["taken"]
            told["findings"] += part["findings"]
            told["slowest"] = max(told["slowest"], part["slowest"])
            told["peak"] = max(told["peak"], part["peak"])
            reached = [int(count) for count in re.findall(r"\bcov: (\d+)", done.stderr)]
            told["branches"] = max([told["branches"], *reached])
            if not part["finished"]:
                case = CASES / f"{name.replace(' ', '-')}-ended-{seed}.bin"
                case.write_bytes(bytes.fromhex(part["last"]))
                told["findings"].append(f"its process ended with {done.returncode}: {case.name}")
            seed += 1
    return told


class TooLong(BaseException):
    """An input took more than MOST_SECONDS."""


class _Watch:
    """Tries inputs one by one, and keeps count of them in the report file."""

    def __init__(self, options: argparse.Namespace, reader: Any, tried: Any) -> None:
        self.options, self.reader, self.tried = options, reader, tried
        self.told: dict[str, Any] = {
            "inputs": 0, "taken": 0, "findings": [], "slowest": 0.0, "peak": 0.0, "finished": False, "last": "",
        }  # fmt: skip
        self.seen: set[str] = set()

    def take(self, data: bytes) -> None:
        import resource
        import signal

        if self.told["finished"]:
            return
        self.told["inputs"] += 1
        if self.told["inputs"] % 200 == 1:
            self.write(data)
        start = time.process_time()
        signal.setitimer(signal.ITIMER_VIRTUAL, MOST_SECONDS)
        try:
            self.told["taken"] += self.tried(self.reader, data) == ""
        except BaseException as problem:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
            if isinstance(problem, KeyboardInterrupt):
                raise
            self.keep(data, problem)
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        self.told["slowest"] = max(self.told["slowest"], time.process_time() - start)
        self.told["peak"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        if self.told["inputs"] >= self.options.inputs:
            self.told["finished"] = True
            self.write(b"")

    def write(self, data: bytes) -> None:
        self.told["last"] = data.hex()
        Path(self.options.child).write_text(json.dumps(self.told), encoding="utf-8")

    def keep(self, data: bytes, problem: BaseException) -> None:
        """Save an input that found something, once for each place where it came out."""
        frames = [
            frame for frame in traceback.extract_tb(problem.__traceback__) if f"{os.sep}core{os.sep}" in frame.filename
        ]
        ours = [frame for frame in frames if f"{os.sep}tests{os.sep}" not in frame.filename] or frames
        place = f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "?"
        sign = f"{type(problem).__name__} at {place}"
        if sign in self.seen:
            return
        self.seen.add(sign)
        path = CASES / f"{self.reader.name.replace(' ', '-')}-{len(self.seen)}-{self.options.seed}.bin"
        path.write_bytes(data)
        self.told["findings"].append(f"{sign}: {str(problem)[:120]!r}, {path.name}")


def _child(options: argparse.Namespace) -> int:
    import resource
    import signal

    atheris = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["armwright"]):
        readers = importlib.import_module("fuzz_readers")
    reader = readers.reader(options.reader)
    CASES.mkdir(parents=True, exist_ok=True)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_GIGABYTES * GIGABYTE, MOST_GIGABYTES * GIGABYTE))

    def stop(*_: Any) -> None:
        raise TooLong

    signal.signal(signal.SIGVTALRM, stop)
    watch = _Watch(options, reader, readers.tried)
    corpus = Path("corpus")
    corpus.mkdir(exist_ok=True)
    for number, data in enumerate(reader.seeds):
        (corpus / f"seed-{number}").write_bytes(data)

    def changed(data: bytes, largest: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.randrange(PLAIN) == 0:
            return bytes(atheris.Mutate(data, largest))
        return bytes(reader.mutate(rng, data)[:largest])

    # The library's own limit on time is there for what no signal reaches.
    flags = [f"-runs={options.inputs}", f"-seed={options.seed}", f"-max_len={LONGEST_INPUT}", "-len_control=0"]
    flags += [f"-timeout={int(10 * MOST_SECONDS)}", "-rss_limit_mb=0", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *flags, str(corpus)], watch.take, custom_mutator=changed)
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
