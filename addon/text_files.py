"""Text files: written whole or not at all. Needs no host."""

from __future__ import annotations

import os
from pathlib import Path


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
