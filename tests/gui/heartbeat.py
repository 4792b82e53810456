"""How long a window goes without handling an event, what kept it, and where: for jobs that run inside the host.

A timer of the host's own fires once each time round its loop, so that the time between two of them is what nobody could
click in: events, updates and drawing together. A second thread looks at the first one's stack while that takes long.
"""

from __future__ import annotations

import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType
from typing import Any

import bpy

# Seconds: how often the stack is looked at, and from when on.
LOOK, LATE = 0.01, 0.08
# Of the files whose lines are told.
OURS = "armwright"


@dataclass
class Turn:
    """One time round the host's loop. It guards what is noted while it lasts.

    Attributes:
        seconds: by the clock.
        busy: of the main thread's own work; what waits for other programs or for the drawing's threads is not in it.
        within: seconds by the clock in what was wrapped, such as an operator's modal calls.
        drawn: seconds by the clock between the first and the last thing that a 3D view draws.
        views: how many 3D views were drawn.
        what: the words of `telling` when it began.
        lines: where the main thread was seen, as often as it was.
    """

    part: str
    what: str
    seconds: float = 0.0
    busy: float = 0.0
    within: float = 0.0
    drawn: float = 0.0
    views: int = 0
    lines: Counter[str] = field(default_factory=Counter)

    @property
    def rest(self) -> float:
        """Seconds by the clock without the drawing of 3D views, which is slow without a graphics card."""
        return self.seconds - self.drawn

    def told(self) -> dict[str, Any]:
        """For people and for JSON."""
        return {
            "seconds": round(self.seconds, 3),
            "busy": round(self.busy, 3),
            "within": round(self.within, 3),
            "drawn": round(self.drawn, 3),
            "views": self.views,
            "what": self.what,
            "lines": [f"{count} x {line}" for line, count in self.lines.most_common(3)],
        }


class Heartbeat:
    """Notes every turn of the host's loop until it is stopped. It guards the turns, the timer and the thread."""

    def __init__(self, telling: Callable[[], str]) -> None:
        self.turns: list[Turn] = []
        self.part = ""
        self._telling = telling
        self._turn = Turn("", "")
        self._start, self._cpu, self._drawing = time.perf_counter(), time.thread_time(), 0.0
        self._main = threading.get_ident()
        self._ends = threading.Event()
        self._handles = [
            bpy.types.SpaceView3D.draw_handler_add(self._draw_begins, (), "WINDOW", "PRE_VIEW"),
            bpy.types.SpaceView3D.draw_handler_add(self._draw_ends, (), "WINDOW", "POST_PIXEL"),
        ]
        # The host knows a timer by its identity, and each look at a method gives another one.
        self._timer = self._beat
        bpy.app.timers.register(self._timer, persistent=True)
        threading.Thread(target=self._watch, daemon=True).start()

    def stop(self) -> None:
        """No longer note anything."""
        self._ends.set()
        bpy.app.timers.unregister(self._timer)
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")

    @contextmanager
    def within(self) -> Iterator[None]:
        """What runs in here counts as `within` of the turn."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self._turn.within += time.perf_counter() - start

    def _beat(self) -> float:
        now, cpu = time.perf_counter(), time.thread_time()
        self._turn.seconds, self._turn.busy = now - self._start, cpu - self._cpu
        self.turns.append(self._turn)
        self._turn = Turn(self.part, self._telling())
        self._start, self._cpu = now, cpu
        return 0.0

    def _draw_begins(self) -> None:
        self._drawing = time.perf_counter()

    def _draw_ends(self) -> None:
        self._turn.views += 1
        self._turn.drawn += time.perf_counter() - self._drawing

    def _watch(self) -> None:
        while not self._ends.wait(LOOK):
            turn, late = self._turn, time.perf_counter() - self._start
            frame = sys._current_frames().get(self._main)
            if late > LATE and frame is not None and turn is self._turn:
                turn.lines[where(frame)] += 1


def where(frame: FrameType | None) -> str:
    """The innermost of our lines on a stack, such as "prove.py:132 prove"."""
    while frame is not None:
        name = frame.f_code.co_filename
        if OURS in name and "heartbeat" not in name and "freeze_job" not in name:
            return f"{name.rsplit(OURS, 1)[-1].lstrip('/')}:{frame.f_lineno} {frame.f_code.co_name}"
        frame = frame.f_back
    return "the host"


def wrapped(heart: Heartbeat, owner: type, name: str) -> None:
    """Have what an operator's `invoke` or `modal` takes noted as `within`."""
    plain = getattr(owner, name)

    # The host counts the arguments.
    def noting(self: Any, context: bpy.types.Context, event: bpy.types.Event) -> Any:
        with heart.within():
            return plain(self, context, event)

    setattr(owner, name, noting)
