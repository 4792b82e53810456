"""For tests inside the host: an empty file for each test, characters to build on, and a clean end of the process."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def empty_file() -> Iterator[Any]:
    """The host's data, with nothing in the file."""
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    yield bpy.data


@pytest.fixture
def wren(empty_file: Any) -> Any:
    """Wren's armature with both arms, from stature."""
    from characters import wren_on_own_armature

    return wren_on_own_armature()


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    """Leave at once where the host was used: it can hang when its process ends normally."""
    if "bpy" in sys.modules:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(int(getattr(config, "host_exit", 1)))


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    session.config.host_exit = exitstatus  # type: ignore[attr-defined]
