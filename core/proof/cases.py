"""Cases of the proof: what the arm holds, and the corners of the dials."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

MODES = ("none", "hand", "elbow", "both")


@dataclass(frozen=True)
class Case:
    """One setting of an arm: `mode` is what it holds ("none", "hand", "elbow" or "both"); the dials are 0 to 1."""

    mode: str
    isolate: float
    lift: float
    stretch: float

    @property
    def ik(self) -> float:
        """The FK to IK dial of the mode."""
        return 1.0 if self.mode in ("hand", "both") else 0.0

    @property
    def elbow(self) -> float:
        """The elbow hold dial of the mode."""
        return 1.0 if self.mode in ("elbow", "both") else 0.0

    @property
    def label(self) -> str:
        """The part of a check's id that names the dials, such as "isolate=0,lift=1,stretch=0"."""
        return f"isolate={self.isolate:g},lift={self.lift:g},stretch={self.stretch:g}"

    @property
    def turned(self) -> str:
        """The dials that are not at their default, 0, for a narrow place: "iso lift 0.5"; 1 is not said."""
        dials = (("iso", self.isolate), ("lift", self.lift), ("str", self.stretch))
        return " ".join(name if value == 1.0 else f"{name} {value:g}" for name, value in dials if value != 0.0)


CORNERS = tuple(
    Case(mode, float(isolate), float(lift), float(stretch))
    for mode, isolate, lift, stretch in itertools.product(MODES, (0, 1), (0, 1), (0, 1))
)
