"""The rendered worst pose of a check as a figure: on the picture, what was held, where it went, and a scale bar."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..results import FAIL, PASS, Check
from ..verdicts import severity
from . import lens
from .camera import Camera
from .summary import MARKS, arm_name, clean, quantity

Array = NDArray[np.float64]

# Page units across the picture: few, so that words keep their size on a narrow screen.
WIDTH = 450.0
LENS_RADIUS = 46.0
LENS_FROM_SIDE, LENS_FROM_TOP = 62.0, 74.0
# The longest scale bar, part of the picture's width.
BAR = 0.24
# Pictures of a page.
MOST = 6
# A change of what is held is no frame of a motion: there is nothing that could be posed again.
NOT_POSED = "switch"


@dataclass(frozen=True)
class Shot:
    """A picture of a check's worst frame.

    Attributes:
        check: id of the check.
        png: the PNG file.
        view: how it was taken; metres, armature space.
        wanted, found: (3,) the held point that is furthest off, where it should be and where it was; None without one.
    """

    check: str
    png: bytes
    view: Camera
    wanted: Array | None
    found: Array | None


def worth_a_picture(checks: Sequence[Check], most: int = MOST) -> tuple[Check, ...]:
    """The worst check of each failing requirement, at most `most`; if nothing fails, the one nearest to its limit.

    Without those that are about the moment of a change.
    """
    ordered = sorted((check for check in checks if check.requirement != NOT_POSED), key=severity, reverse=True)
    worst = {check.requirement: check for check in reversed(ordered) if check.verdict == FAIL}
    failing = sorted(worst.values(), key=severity, reverse=True)[:most]
    if failing:
        return tuple(failing)
    return tuple(check for check in ordered if check.verdict == PASS)[:1]


def figure(shot: Shot, check: Check) -> str:
    """The `<figure>`."""
    view = shot.view
    words = (
        f"{arm_name(check.arm)} at frame {check.worst_frame} of {check.motion}: {check.measure} "
        f"{quantity(check.value, check.unit)}, limit {quantity(check.limit, check.unit)}"
    )
    code = base64.b64encode(shot.png).decode("ascii")
    height = WIDTH * view.height / view.width
    return (
        f'<figure class="shot" data-shot="{_text(check.id)}">\n<div class="over">'
        f'<img src="data:image/png;base64,{code}" width="{view.width}" height="{view.height}" '
        f'alt="{_text("Rendered pose: " + words)}">'
        f'<svg viewBox="0 0 {WIDTH:g} {height:g}" aria-hidden="true">{_drawn(shot, height)}</svg></div>\n'
        f"<figcaption>{MARKS[check.verdict]} {_text(words)}{_legend(shot)}<br><code>{_text(check.id)}</code>"
        "</figcaption>\n</figure>\n"
    )


def _drawn(shot: Shot, height: float) -> str:
    scale = shot.view.scale * WIDTH / shot.view.width
    size, label = lens.metric(BAR * WIDTH / scale)
    bar = lens.bar(14.0, height - 24.0, size * scale, label)
    if shot.wanted is None or shot.found is None:
        return bar
    spot, there = shot.view.project(np.stack([shot.wanted, shot.found]))[:, :2] * WIDTH / shot.view.width
    whole = float(np.linalg.norm(shot.found - shot.wanted)) * scale
    # On the side that the point is not.
    across = LENS_FROM_SIDE if spot[0] > WIDTH / 2.0 else WIDTH - LENS_FROM_SIDE
    middle = np.array([across, LENS_FROM_TOP])
    return bar + lens.slide(spot, there, middle, LENS_RADIUS, lens.metric, scale, whole)


def _legend(shot: Shot) -> str:
    if shot.wanted is None or shot.found is None:
        return ""
    return '<br><span class="ring-key">where it was put</span> <span class="dot-key">where it is</span>'


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
