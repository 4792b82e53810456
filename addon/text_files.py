"""Text files: written whole or not at all. Needs no host."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..core.errors import HostError


def check_free(*paths: Path, replace: bool) -> None:
    """Raise HostError for the first file that is there, unless somebody has said that it may be replaced."""
    there = next((path for path in paths if path.exists()), None)
    if there is not None and not replace:
        raise HostError(f"{there.name!r} is there already: choose another name, or allow it to be replaced")


@contextmanager
def writing_to(path: Path) -> Iterator[None]:
    """What the system says against writing becomes a HostError with what to do."""
    try:
        yield
    except OSError as problem:
        raise HostError(f"{path}: {problem.strerror}: choose another folder") from problem


def write_text(path: Path, text: str) -> None:
    """Write `text` to `path` through a file beside it, so that a full disk or an interruption leaves the old file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
