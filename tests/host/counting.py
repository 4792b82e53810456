"""How often a function of a module is called while something works."""

from __future__ import annotations

from typing import Any

import pytest


def count_calls(monkeypatch: pytest.MonkeyPatch, work: dict[str, int], owner: Any, name: str, what: str) -> None:
    """From now on each call of `owner`'s `name` adds one to `work[what]`."""
    plain = getattr(owner, name)

    def counting(*arguments: Any, **named: Any) -> Any:
        work[what] = work.get(what, 0) + 1
        return plain(*arguments, **named)

    monkeypatch.setattr(owner, name, counting)
