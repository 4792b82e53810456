"""What a transfer has measured, as data and as a small table."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from .transfer import Transferred

FORMAT, VERSION = "armwright.transfer", 1


def as_data(done: Transferred) -> dict[str, Any]:
    """For JSON. Lengths are arm lengths (L), angles degrees, frames the scene's."""
    found = [{**asdict(item), "worst": item.worst + done.first} for item in done.differences]
    return {
        "format": FORMAT,
        "version": VERSION,
        **{name: value for name, value in asdict(done).items() if name != "differences"},
        "slide": done.slide,
        "rolling": "the hand's hold is keyed",
        "differences": found,
    }


def frames(count: int) -> str:
    """How many, in words."""
    return f"{count} frame{'s' * (count != 1)}"


def table(done: Transferred) -> list[str]:
    """Lines for people."""
    lines = [f"{'arm':8}{'joint':11}{'unit':8}{'median':>9}{'95 %':>9}{'max':>9}  frame{'  free':>9}{'held':>9}"]
    for item in done.differences:
        figures = "".join(f"{value:9.3g}" for value in (item.median, item.most_frames, item.most))
        # No frame of the kind, or nothing that differs.
        ends = "".join(f"{value:9.3g}" if value else f"{'-':>9}" for value in (item.free, item.held))
        lines.append(f"{item.arm or '-':8}{item.joint:11}{item.unit:8}{figures}{item.worst + done.first:7d}{ends}")
    for hold in done.holds:
        reach = (
            f", out of reach in {frames(hold.out_of_reach)}, short by up to {hold.missing:.3g} L "
            f"(frame {hold.missing_frame})"
            if hold.out_of_reach
            else ""
        )
        rolls = f", rolls in {frames(hold.rolls)} (keyed there)" if hold.rolls else ""
        lines.append(
            f"{hold.arm} {hold.part} on {hold.on}, {hold.first} to {hold.last}: slide {hold.slide:.1e} L, moved by up "
            f"to {hold.moved:.3g} L from the recording ({hold.led_in:.2g} at its start, {hold.led_out:.2g} at its end)"
            f"{rolls}{reach}"
        )
    return [*lines, *(f"note: {note}" for note in done.notes)]
