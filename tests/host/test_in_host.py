"""Runs every `host_*.py` beside this file in a host process of its own, with a time limit.

The host can hang when it exits, and it prints dependency cycles where no exception shows them: both are caught here.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FILES = sorted(HERE.glob("host_*.py"))
LIMIT_SECONDS = 900


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_all_hold_in_a_host_of_their_own(path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "pytest",
        str(path),
        "-o",
        "python_files=host_*.py",
        "-s",
        "-p",
        "no:cacheprovider",
    ]
    done = subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=LIMIT_SECONDS,
        cwd=HERE.parent.parent,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
    )
    assert "ependency cycle" not in done.stdout, done.stdout[-4000:]
    assert done.returncode == 0, done.stdout[-8000:]
    assert " passed" in done.stdout, done.stdout[-2000:]
    print(done.stdout[-2000:])
