"""What the host is about to do that would keep a rig as it is borrowed: whoever has it gives it back first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy
from bpy.app.handlers import persistent

# Its autosave needs none: the host puts it off for as long as an operator runs in a window.
HANDLERS = ("save_pre", "load_pre", "render_init", "undo_pre", "redo_pre")
_lent: list[Callable[[], object]] = []


def before(give_back: Callable[[], object]) -> Callable[[], None]:
    """Have `give_back` called before anything of that; the answer takes it back, as often as it is called."""
    _lent.append(give_back)

    def withdraw() -> None:
        # By identity: two of the same operator's methods are equal.
        _lent[:] = [item for item in _lent if item is not give_back]

    return withdraw


@persistent  # type: ignore[untyped-decorator]
def _interrupt(*_: Any) -> None:
    for give_back in reversed(_lent[:]):
        give_back()


def attach() -> None:
    """Listen to the host."""
    for name in HANDLERS:
        getattr(bpy.app.handlers, name).append(_interrupt)


def detach() -> None:
    """Have everything given back, and no longer listen."""
    _interrupt()
    for name in HANDLERS:
        handlers = getattr(bpy.app.handlers, name)
        if _interrupt in handlers:
            handlers.remove(_interrupt)
