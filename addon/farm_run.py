"""Runs a proof of each of many files in a process of its own, and outlives whatever becomes of them. Needs no host."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..core.errors import ArmwrightError
from ..core.proof import farm, results_json
from ..core.proof.farm import Outcome

# (file, its results.json, its page or None) -> the command that proves it.
Command = Callable[[str, Path, Path | None], Sequence[str]]

GIB = 1024.0**3
_LOOK_EVERY = 0.05  # seconds between two looks at the processes
_LAST_LINES, _LAST_BYTES, _LONGEST_LINE = 12, 16_384, 300
_PROC = Path("/proc")
_WINDOWS = sys.platform == "win32"


@dataclass(frozen=True)
class Limits:
    """How many processes at once, and what each may use; None: as much as it takes."""

    workers: int = 1
    seconds: float | None = None
    memory_gib: float | None = None


def proof_command(arguments: Sequence[str]) -> Command:
    """The command that proves one file, with further `arguments`."""
    # The package's name from within: a checkout or an extension may have another one.
    package = __name__.removesuffix(".addon.farm_run")

    def command(file: str, results: Path, page: Path | None) -> Sequence[str]:
        written = ["--json", str(results), *([] if page is None else ["--html", str(page)])]
        return [sys.executable, "-m", package, "proof", os.path.abspath(file), *written, *arguments]

    return command


def can_watch_memory() -> bool:
    """Whether this system tells how much memory a process uses, in a way that is read here."""
    return _resident(os.getpid()) is not None


def run_files(
    files: Sequence[str],
    command: Command,
    limits: Limits,
    with_pages: bool,
    tell: Callable[[Outcome, float, int], None] = lambda outcome, seconds, done: None,
) -> tuple[Outcome, ...]:
    """The outcomes of `files`, in their order.

    `tell` hears of each file as it is finished: its outcome, the seconds it took, how many are finished. However this
    ends, no process is left. Raises KeyboardInterrupt, after they are ended, when this process is told to stop.
    """
    outcomes: dict[int, Outcome] = {}
    waiting = list(enumerate(files))
    running: dict[int, _Job] = {}
    # Windows may still hold a file of a process that was ended.
    with tempfile.TemporaryDirectory(prefix="armwright-", ignore_cleanup_errors=True) as folder, _stop_noted() as told:
        try:
            while waiting or running:
                if told:
                    raise KeyboardInterrupt
                while waiting and len(running) < limits.workers:
                    index, file = waiting.pop(0)
                    running[index] = _Job(file, Path(folder) / str(index), command, with_pages)
                for index, job in list(running.items()):
                    outcome = job.look(limits)
                    if outcome is not None:
                        del running[index]
                        outcomes[index] = outcome
                        tell(outcome, time.monotonic() - job.started, len(outcomes))
                if running:
                    time.sleep(_LOOK_EVERY)
        finally:
            for job in running.values():
                job.end()
    return tuple(outcomes[index] for index in range(len(files)))


class _Job:
    """A process, its folder and when it was started."""

    def __init__(self, file: str, folder: Path, command: Command, with_page: bool) -> None:
        self._file, self._results, self._said = file, folder / "results.json", folder / "stderr"
        self._page = folder / "page.html" if with_page else None
        # What the host leaves behind when it is ended goes with the folder.
        scratch = folder / "tmp"
        scratch.mkdir(parents=True)
        places = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(scratch))
        # A group of its own, so that a key press reaches this process alone and all that it started can be ended.
        group: dict[str, Any] = (
            {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
            if _WINDOWS
            else {"start_new_session": True}
        )
        with self._said.open("wb") as said:
            self._process = subprocess.Popen(
                command(file, self._results, self._page),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=said,
                # Python then says where it was when the host died.
                env={**os.environ, **places, "PYTHONFAULTHANDLER": "1"},
                **group,
            )
        self.started = time.monotonic()

    def look(self, limits: Limits) -> Outcome | None:
        """What became of the process; None while it runs within the limits."""
        code = self._process.poll()
        if code is not None:
            self.end()
            return self._finished(code)
        if limits.seconds is not None and time.monotonic() - self.started > limits.seconds:
            return farm.timed_out(self._file, self.end(), limits.seconds, self._last_lines())
        if limits.memory_gib is not None:
            used = _resident(self._process.pid)
            if used is not None and used > limits.memory_gib:
                return farm.too_large(self._file, self.end(), used, limits.memory_gib, self._last_lines())
        return None

    def end(self) -> int:
        """End the process and what it started, if they still are; its exit code."""
        if _WINDOWS:
            if self._process.poll() is None:
                stop = ["taskkill", "/F", "/T", "/PID", str(self._process.pid)]
                subprocess.run(stop, capture_output=True, check=False)
                self._process.kill()
        else:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGKILL)
        return self._process.wait()

    def _finished(self, code: int) -> Outcome:
        said = self._last_lines()
        if code not in (farm.CODE_HELD, farm.CODE_FAILED) or not self._results.is_file():
            return farm.outcome_of(self._file, code, said, None)
        try:
            results = results_json.read(self._results)
        except ArmwrightError as problem:
            return farm.outcome_of(self._file, code, f"{said}\n{problem}".strip(), None)
        page = ""
        if self._page is not None and self._page.is_file():
            page = self._page.read_text(encoding="utf-8", errors="replace")
        return farm.outcome_of(self._file, code, said, results, page)

    def _last_lines(self) -> str:
        """The last lines of standard error; of a line that is written over and over, what stands there last."""
        with self._said.open("rb") as said:
            said.seek(max(0, self._said.stat().st_size - _LAST_BYTES))
            text = said.read().decode("utf-8", errors="replace")
        lines = [line.rstrip().rpartition("\r")[2].rstrip() for line in text.split("\n")]
        kept = [line for line in lines if line][-_LAST_LINES:]
        return "\n".join(line if len(line) <= _LONGEST_LINE else line[: _LONGEST_LINE - 3] + "..." for line in kept)


def _resident(pid: int) -> float | None:
    """GiB of memory that a process has in use; None where there is no /proc or no such process."""
    try:
        text = (_PROC / str(pid) / "status").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    for line in text.splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024.0 / GIB  # the kernel writes it in kB, which are 1024 bytes (proc(5))
    return None


@contextlib.contextmanager
def _stop_noted() -> Iterator[list[int]]:
    """Gathers signals that ask to stop, instead of an exception that could come between a start and its record.

    A signal that this process was told to ignore stays ignored. Outside the main thread there are none to gather.
    """
    told: list[int] = []
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                before[number] = signal.signal(number, lambda found, frame: told.append(found))
    try:
        yield told
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
