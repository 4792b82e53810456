"""For tests of dev.py: its modules are found in the checkout, and a copy of it stands in for a clone."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """What dev.py needs of a checkout, in a folder with a space in its name, without an environment."""
    folder = tmp_path / "a clone"
    folder.mkdir()
    for name in ("dev.py", "pyproject.toml", "__init__.py"):
        shutil.copy(ROOT / name, folder / name)
    shutil.copytree(ROOT / "devtools", folder / "devtools", ignore=shutil.ignore_patterns("__pycache__"))
    return folder
