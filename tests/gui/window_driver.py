"""The mouse and the keyboard of the X server, and the questions to the job inside the host. Standard library only."""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path
from typing import Any

# Seconds: between two movements to a place, for an answer, for the host to notice the mouse, between press and release,
# on the button afterwards, for a click to take effect.
AGAIN, PATIENCE, NOTICE, PRESS, STAY, EFFECT = 0.03, 60.0, 0.05, 0.1, 0.9, 12.0
# Pixels: no row of the sidebar is lower than the one, no button narrower than the other.
ROW, COLUMN = 18, 15
# How far from its last place a button is looked for first, pixels.
NEAR = 90


class Missed(Exception):
    """A button is not there, a click hit nothing, or it did something else than it says."""


class Window:
    """One host's window: asks the job, moves the mouse, remembers where it saw which button."""

    def __init__(self, exchange: Path) -> None:
        self.exchange = exchange
        self.number = 0
        self.seen: dict[str, tuple[int, int]] = {}
        self.probes = 0
        # How far down the sidebar was looked at, pixels below its top.
        self.looked_to = 0
        geometry = self.ask("geometry")
        self.sidebar, self.view, self.host = geometry["sidebar"], geometry["view"], geometry["host"]

    def ask(self, what: str, /, **more: Any) -> dict[str, Any]:
        """One question to the job; raises Missed with the job's own words where it fails."""
        self.number += 1
        draft, answer = self.exchange / "question.part", self.exchange / "answer.json"
        draft.write_text(json.dumps({"ask": what, "number": self.number, **more}))
        draft.replace(self.exchange / "question.json")
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if answer.exists():
                found: dict[str, Any] = json.loads(answer.read_text())
                if found["number"] == self.number:
                    if "error" in found:
                        raise Missed(f"{what}: {found['error']}")
                    return found
            time.sleep(0.01)
        raise Missed(f"the host gave no answer to {what!r} within {PATIENCE:g} seconds")

    def at(self, x: int, y: int, notice: float = NOTICE) -> str:
        """Move the mouse there; what the host says is under it: a command, a property's path, or ""."""
        # Twice: the first movement takes the host out of the button it was over, the second into this one.
        _xdotool("mousemove", x - 1, y, "sleep", AGAIN, "mousemove", x, y)
        time.sleep(notice)
        self.probes += 1
        found = self.ask("hover")
        return found["command"] or found["path"]

    def find(self, wanted: str) -> tuple[int, int]:
        """Where the button is, asking the host; raises Missed where the sidebar has no such button."""
        place = self._near(wanted)
        if place is not None:
            return place
        # On from where it was looked at last, and once more from the top: it may have moved up.
        if not self.look_over(wanted, self.looked_to) and not self.look_over(wanted, 0):
            known = "\n  ".join(sorted(self.seen))
            raise Missed(f"there is no button {wanted} in the sidebar; there are:\n  {known}")
        place = self._near(wanted)
        if place is None:
            raise Missed(f"{wanted} was at {self.seen[wanted]}, and is not there any more")
        return place

    def _near(self, wanted: str) -> tuple[int, int] | None:
        """The mouse onto the button where it was seen or not far from there; None if it is elsewhere."""
        if wanted not in self.seen:
            return None
        x, y = self.seen[wanted]
        # A line more or less above moves a button up or down; a slow host names a button when the mouse is past it.
        for down in sorted(range(-NEAR, NEAR + 1, ROW // 2), key=abs):
            for along in (0, -COLUMN // 2, -COLUMN, -2 * COLUMN, COLUMN // 2):
                place = (x + along, y + down)
                if self.at(*place) == wanted and self.at(*place, notice=0.4) == wanted:
                    self.seen[wanted] = place
                    return place
        return None

    def look_over(self, wanted: str, start: int) -> bool:
        """Go over the sidebar from `start` pixels below its top, noting the middle of every button that can be pressed,
        until the row of `wanted` is behind; whether it was there.
        """
        left, top, width, height = self.sidebar
        row = range(left + 6, left + width - 4, COLUMN)
        last: tuple[str, ...] = ()
        first_y = 0
        along: dict[str, list[int]] = {}
        for y in range(top + 4 + start, top + height, ROW * 2 // 3):
            coarse = {x: self.at(x, y) for x in row[1::4]}
            if tuple(coarse.values()) != last:
                if wanted in along:
                    self.looked_to = y - top - 4
                    return True
                # Another row of buttons; a row is looked at closely only once.
                last, first_y, along = tuple(coarse.values()), y, {}
                for x in row if any(last) else ():
                    along.setdefault(coarse.get(x) or self.at(x, y), []).append(x)
            for name, places in along.items():
                if name:
                    self.seen[name] = (places[(len(places) - 1) // 2], (first_y + y) // 2)
        self.looked_to = height
        return wanted in along

    def click(self, wanted: str, button: int = 1) -> None:
        """Press the button that the host says is under the mouse."""
        self.find(wanted)
        self.press(button)

    def press(self, button: int = 1) -> None:
        """Press and release, where the mouse is, and stay: a mouse that leaves too soon takes the press back."""
        _xdotool("mousedown", button)
        time.sleep(PRESS)
        _xdotool("mouseup", button)
        time.sleep(STAY)

    def key(self, *names: str) -> None:
        """Press keys, where the mouse is."""
        for name in names:
            _xdotool("key", name)
            time.sleep(PRESS)

    def over_view(self) -> None:
        """Move the mouse into the 3D view, away from the sidebar."""
        left, top, width, height = self.view
        _xdotool("mousemove", left + width // 3, top + height // 2)
        time.sleep(0.3)

    def undo(self) -> list[str]:
        """Ctrl+Z in the view, once; what is not as it was at the mark."""
        self.over_view()
        self.key("ctrl+z")
        until = time.monotonic() + EFFECT / 4
        while True:
            lines: list[str] = self.ask("differences")["lines"]
            if not lines or time.monotonic() > until:
                return lines
            time.sleep(0.3)

    def wait(self, fulfilled: Any, effect: float = EFFECT) -> dict[str, Any] | None:
        """The state as soon as `fulfilled(state)` holds; None if it never does."""
        until = time.monotonic() + effect
        while time.monotonic() < until:
            state = self.ask("state")
            if fulfilled(state):
                return state
            time.sleep(0.2)
        return None


def _xdotool(*arguments: object) -> None:
    subprocess.run(["xdotool", *map(str, arguments)], check=True)
