"""Work beside the window, which goes on: for what reads nothing of the host's, so that the host may draw meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

T = TypeVar("T")

# Seconds that one look at the work may take.
LOOK = 0.02


class Done(Generic[T]):
    """What work gave at its end."""

    def __init__(self, value: T) -> None:
        self.value = value


def beside(work: Callable[[], T]) -> Iterator[Done[T] | None]:
    """Run `work` in a thread: None while it works, what it gave at last. Raises what it raises.

    Left early, the work goes on to its end, and nobody reads what it gives.
    """
    found: list[T] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            found.append(work())
        except BaseException as problem:
            failed.append(problem)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(LOOK)
        yield None
    if failed:
        raise failed[0]
    yield Done(found[0])
