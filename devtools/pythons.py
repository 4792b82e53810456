"""Finds the Python of another host: this one, pyenv's newest, or one on the search path; asked, never believed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from .problems import SetUpError

PATIENCE_SECONDS = 20


def python_of(version: tuple[int, int]) -> str:
    """The interpreter of a Python version. Raises SetUpError where this machine has none."""
    if sys.version_info[:2] == version:
        return sys.executable
    for candidate in _candidates(version):
        if _is(candidate, version):
            return candidate
    wanted = f"{version[0]}.{version[1]}"
    raise SetUpError(
        f"there is no Python {wanted} on this machine: install one, so that python{wanted} is on the search path"
    )


def _candidates(version: tuple[int, int]) -> Iterator[str]:
    wanted = f"{version[0]}.{version[1]}"
    versions = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv") / "versions"
    found = [path for path in versions.glob(f"{wanted}.*/bin/python") if _patch(path) is not None]
    yield from (str(path) for path in sorted(found, key=lambda path: _patch(path) or 0, reverse=True))
    for name in (f"python{wanted}", "python3", "python"):
        on_path = shutil.which(name)
        if on_path:
            yield on_path


def _patch(path: Path) -> int | None:
    """The last number of a version's folder, such as 7 of `3.11.7`; None for one that is no plain release."""
    match = re.fullmatch(r"\d+\.\d+\.(\d+)", path.parents[1].name)
    return int(match[1]) if match else None


def _is(python: str, version: tuple[int, int]) -> bool:
    question = "import sys; print(*sys.version_info[:2])"
    try:
        done = subprocess.run(
            [python, "-I", "-c", question],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=PATIENCE_SECONDS,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0 and done.stdout.split() == [str(number) for number in version]
