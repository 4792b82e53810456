"""The virtual environment of one host, `.venv/<name>/`: made once, completed later. The usual host of a Python has the
Python's name, such as `3.11`; another has its own, such as `host-4.2`.

Beside it lie `<name>.unfinished` (there while a set-up runs, so an interrupted one is seen and remade),
`<name>-setup.log` (everything venv and pip said) and `set-up.lock`: set-ups take turns, those of different hosts as
well, as each of them writes the checkout's one `armwright.egg-info`.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from . import problems
from .hosts import Host, usual_host
from .problems import SetUpError

# Settings that would send packages elsewhere than into the environment.
_MISLEADING = ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_USER", "PYTHONHOME", "__PYVENV_LAUNCHER__")
_LARGE_DOWNLOAD = re.compile(r"\s*(?:Downloading|Using cached) (\S+?)-(\d\S*?)-\S+ \(([\d.]+ [MG]B)\)")


class Environment:
    """The environment of a host, by default the usual one of the Python that runs this, in the checkout `root`."""

    def __init__(self, root: Path, host: Host | None = None) -> None:
        self.root = root
        self.host = host or usual_host((sys.version_info[0], sys.version_info[1]))
        self.python_version = f"{self.host.python[0]}.{self.host.python[1]}"
        self.name = self.host.folder
        self.folder = root / ".venv" / self.name
        self.stamp = self.folder / "armwright-stamp.json"
        self.unfinished = root / ".venv" / f"{self.name}.unfinished"
        self.lock = root / ".venv" / "set-up.lock"
        self.log = root / ".venv" / f"{self.name}-setup.log"

    @property
    def python(self) -> Path:
        """The environment's interpreter."""
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    def digest(self) -> str:
        """What an installation depends on: pyproject.toml, and the place of the checkout (it is installed editable)."""
        content = (self.root / "pyproject.toml").read_bytes() + str(self.root.resolve()).encode()
        return hashlib.sha256(content).hexdigest()

    def installed(self) -> tuple[str, frozenset[str]]:
        """Digest and extras of the last finished set-up; empty when there is none."""
        try:
            content = json.loads(self.stamp.read_text(encoding="utf-8"))
            return str(content["digest"]), frozenset(content["extras"])
        except (OSError, ValueError, KeyError, TypeError):
            return "", frozenset()

    def ready(self, extras: frozenset[str]) -> bool:
        """Whether nothing is left to do for `extras`."""
        digest, present = self.installed()
        return extras <= present and digest == self.digest() and not self.unfinished.exists() and self.python.exists()

    def ensure(self, extras: frozenset[str]) -> None:
        """Make or complete the environment. Raises SetUpError; a failed set-up is remade by the next call."""
        try:
            if self.ready(extras):
                return
            self.lock.parent.mkdir(exist_ok=True)
            with _turn(self.lock):
                if not self.ready(extras):
                    self._set_up(extras)
        except OSError as problem:
            raise SetUpError(problems.from_os_error(problem)) from problem

    def _set_up(self, extras: frozenset[str]) -> None:
        if self.unfinished.exists():
            say(f"Removing the unfinished environment of an interrupted set-up, {shown(self.folder)}")
            if self.folder.exists():
                shutil.rmtree(self.folder)
        wanted = extras | self.installed()[1]
        self.unfinished.write_text("A set-up started here and has not finished.\n", encoding="utf-8")
        self.stamp.unlink(missing_ok=True)
        with self.log.open("w", encoding="utf-8") as log:
            if not self.python.exists():
                say(
                    f"Making an environment for {self.host.name}, Python {self.python_version}, in {shown(self.folder)}"
                )
                self._call([sys.executable, "-I", "-m", "venv", "--clear", str(self.folder)], log)
            say(f"Installing for {' and '.join(sorted(wanted))}; the first time this downloads about 500 MB")
            named = sorted(self.host.extra if extra == "host" else extra for extra in wanted)
            target = f"{self.root}[{','.join(named)}]"
            self._call([str(self.python), "-I", "-m", "pip", "install", "--no-input", "-e", target], log)
        digest = self.digest()
        self.stamp.write_text(json.dumps({"digest": digest, "extras": sorted(wanted)}) + "\n", encoding="utf-8")
        self.unfinished.unlink()
        say("The environment is ready.")

    def _call(self, command: list[str], log: IO[str]) -> None:
        """Run `command` with its whole output in `log`. Raises SetUpError with what the output says."""
        environment = {key: value for key, value in os.environ.items() if key not in _MISLEADING}
        log.write(f"$ {' '.join(command)}\n")
        log.flush()
        lines: list[str] = []
        with subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
            env=environment,
        ) as process:
            try:
                assert process.stdout is not None
                for line in process.stdout:
                    lines.append(line)
                    log.write(line)
                    log.flush()
                    progress(line)
            except BaseException:
                process.terminate()
                raise
        if process.returncode:
            sentence = problems.from_output("".join(lines)) or "the environment could not be set up"
            raise SetUpError(f"{sentence} (all that was said: {shown(self.log)}).")


@contextlib.contextmanager
def _turn(path: Path) -> Iterator[None]:
    """Hold the lock file `path`; the system frees it when the process ends in whatever way."""
    with path.open("a+b") as file:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
        else:
            import fcntl

            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                say("Waiting for another set-up in this checkout to finish")
                fcntl.flock(file, fcntl.LOCK_EX)
        yield


def progress(line: str) -> None:
    """One short line for each large download, from a line of pip's output."""
    found = _LARGE_DOWNLOAD.match(line)
    if found:
        say(f"  {found[1]} {found[2]} ({found[3]})")
    elif line.startswith("Installing collected packages"):
        say("  unpacking")


def shown(path: Path) -> str:
    """A path for people: relative to where they are."""
    try:
        return os.path.relpath(path)
    except ValueError:  # another drive
        return str(path)


def say(line: str) -> None:
    """Tell the user; standard output is left to the command that runs afterwards."""
    print(line, file=sys.stderr, flush=True)
