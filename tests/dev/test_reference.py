"""docs/reference.md is what the code says."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "devtools" / "reference.py"


def test_the_reference_is_up_to_date() -> None:
    pytest.importorskip("armwright", reason="the package is not installed here")
    page = runpy.run_path(str(REFERENCE))["page"]()
    assert page == (ROOT / "docs" / "reference.md").read_text(encoding="utf-8"), "run `python3 dev.py reference`"


def test_every_command_and_requirement_is_in_it() -> None:
    from armwright.addon.cli.main import COMMANDS
    from armwright.core.proof.report.summary import TITLES

    text = (ROOT / "docs" / "reference.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"### `{command.__name__.rsplit('.', 1)[-1]}" in text
    for requirement in TITLES:
        assert f"### `{requirement}`" in text
