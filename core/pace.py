"""Long work in steps: whole, or so that whoever does it has a turn in between.

Steps are a generator. What it yields is where it could be left for a while, and what it returns is the outcome; closing
it early puts back what it has borrowed.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator
from contextlib import closing
from typing import Any, TypeVar

Outcome = TypeVar("Outcome")
Told = TypeVar("Told")


class Pace:
    """When work has taken long enough for once. It guards when a turn is over, and how long the others' turns took.

    Attributes:
        seconds: how long a turn is.
        away: seconds of all turns of others so far.
    """

    def __init__(self, seconds: float, clock: Callable[[], float] = time.monotonic) -> None:
        self.seconds = seconds
        self._clock = clock
        self.away = 0.0
        self._left: float | None = None
        self._until = clock() + seconds

    def begin(self) -> None:
        """A turn begins, and that of the others is over."""
        now = self._clock()
        if self._left is not None:
            self.away += now - self._left
        self._left, self._until = None, now + self.seconds

    def due(self) -> bool:
        """Whether the turn is over."""
        now = self._clock()
        if now < self._until:
            return False
        if self._left is None:
            self._left = now
        return True


# From beginning to end without a turn in between.
UNBROKEN = Pace(math.inf)


def whole(steps: Generator[Any, None, Outcome]) -> Outcome:
    """The outcome of all steps at once."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]


def told(
    steps: Generator[int, None, Outcome], pace: Pace, tell: Callable[[int], Told]
) -> Generator[Told, None, Outcome]:
    """The same steps, of which only those are left at which a turn is over; `tell` says what each of them yields."""
    with closing(steps):
        while True:
            try:
                done = next(steps)
            except StopIteration as end:
                return end.value  # type: ignore[no-any-return]
            if pace.due():
                yield tell(done)
