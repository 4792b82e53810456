"""Checks that read the code without running it."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from .environment import Environment


@dataclass(frozen=True)
class Check:
    """A command, the folder it runs in, and environment variables it needs."""

    name: str
    command: tuple[str, ...]
    folder: Path
    variables: Mapping[str, str] = field(default_factory=dict)


def static_checks(environment: Environment) -> tuple[Check, ...]:
    """Every static check, for a set-up `environment`. All of them work on both Pythons."""
    python, root = str(environment.python), environment.root
    typing = package_view(environment)
    mypy = (
        python, "-m", "mypy", "--config-file", str(root / "pyproject.toml"), "--cache-dir", str(root / ".mypy_cache"),
        "--python-version", environment.python_version,
    )  # fmt: skip
    only_here = {"MYPYPATH": str(typing)}
    linter = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    return (
        Check("ruff", (python, "-m", "ruff", "check", "."), root),
        Check("mypy --strict on core", (*mypy, "--strict", "-p", "armwright.core"), typing, only_here),
        Check("mypy on addon", (*mypy, "-p", "armwright.addon"), typing, only_here),
        Check("mypy --strict on devtools", (*mypy, "--strict", "devtools"), root),
        Check("import contract", (python, "-c", linter, "--no-cache", "--no-logo"), root),
    )


def package_view(environment: Environment) -> Path:
    """A folder in which the checkout is called `armwright`: mypy names packages by folder, and a clone has any name."""
    folder = environment.folder / "typing"
    folder.mkdir(exist_ok=True)
    link = folder / "armwright"
    if not link.exists():
        link.unlink(missing_ok=True)
        if sys.platform == "win32":
            import _winapi

            _winapi.CreateJunction(str(environment.root), str(link))
        else:
            link.symlink_to(Path("..") / ".." / "..", target_is_directory=True)
    return folder
