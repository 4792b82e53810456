"""A measure over the frames of a motion as an inline SVG: the limit as a line, the worst frame marked.

pygal draws axis, lines and marks. What it would put into a page besides (a script, a style sheet, the day) is taken out
again; the page's own style sheet colours what is left. What the lines stand for is in the words of `key`, outside of
the drawing, where they keep their size on a narrow screen.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import groupby
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from ...errors import ProofError
from ..results import Check, Trace
from .summary import clean, quantity, superscript

Array = NDArray[np.float64]
# A place in the drawing: the frame, and the height in units of the axis; None where the line is interrupted.
Place = tuple[float, float | None]

WIDTH, HEIGHT = 480, 220
# Room that labels are given, user units: that of a narrow page, where they are larger.
LABEL_SIZE = 16
MARK_RADIUS = 5.0
# More points than these can not be told apart at this width.
MOST_COLUMNS = 420
# A linear axis hides what is smaller than this part of the largest.
LINEAR_SPAN = 50.0
UNIT_NAMES = {"L": "arm lengths, L", "deg": "degrees", "1": "as a factor"}
# Decades shown below the smaller of the limit and the largest value; rounding noise further down says nothing.
MOST_DECADES = 3
# Smaller is drawn as 0: below it quotients run out of digits, and then out of doubles.
LEAST_SHOWN = 1e-290
# The series by the class that the page's style sheet knows, in the order in which they are drawn.
SERIES = ("hole", "limit", "curve", "mark")
# Parts of pygal's drawing that are for its script and its own style sheet.
_UNUSED_TAGS = {"defs", "title", "desc", "rect"}
_UNUSED_CLASSES = ("titles", "tooltip-overlay")
_DECIMALS = re.compile(r"-?\d+\.\d+")


def plot(check: Check, trace: Trace, first: int = 0, linear: bool = False) -> str:
    """The `<svg>` of `trace.values`, which are of `check`; sizes are user units, the page scales it.

    `first` is what the first frame is called. The axis is in powers of ten where that shows more, unless `linear`.

    Raises ProofError where pygal is not installed.
    """
    values = np.abs(np.asarray(trace.values, float))
    if not len(values):
        return ""
    axis = _Axis(values, check.limit, linear)
    last = max(len(values) - 1, 1)
    label = clean(
        f"{check.measure} over {len(values)} frames: worst {quantity(check.value, check.unit)} at frame "
        f"{check.worst_frame + first}, limit {quantity(check.limit, check.unit)}"
    )
    with _library() as pygal:
        chart = pygal.XY(
            width=WIDTH,
            height=HEIGHT,
            margin=8,
            margin_top=20,
            margin_right=14,
            spacing=4,
            style=pygal.style.Style(label_font_size=LABEL_SIZE, value_font_size=LABEL_SIZE),
            show_legend=False,
            show_x_guides=False,
            print_labels=True,
            min_scale=3,
            max_scale=6,
            disable_xml_declaration=True,
            no_prefix=True,
            js=(),
            classes=("plot",),
            range=(axis.low, axis.high),
            xrange=(0, last),
            value_formatter=axis.word,
        )
        chart.x_labels = [{"label": "frame", "value": last / 2}] + [
            {"label": str(frame + first), "value": frame} for frame in sorted({0, len(values) - 1})
        ]
        if axis.ticks:
            chart.y_labels = axis.ticks
        curve, holes = _curve(values, axis)
        series: tuple[list[Any], ...] = (
            holes,
            [(0, axis.place(check.limit)), (last, axis.place(check.limit))],
            curve,
            _worst(check, values, axis, first),
        )
        for name, places in zip(SERIES, series, strict=True):
            mark = name == "mark"
            chart.add(
                None, places, stroke=not mark, show_dots=mark, dots_size=MARK_RADIUS, allow_interruptions=not mark
            )
        chart.add_xml_filter(lambda root: _for_a_page(root, label))
        return str(chart.render())


def key(check: Check) -> str:
    """What the lines stand for, as a paragraph of HTML."""
    unit = UNIT_NAMES.get(check.unit, clean(check.unit))
    limit, worst = quantity(check.limit, check.unit), quantity(check.value, check.unit)
    return (
        f'<p class="key"><span>{html.escape(unit)}</span>'
        f'<span class="limit-key">limit {html.escape(limit)}</span>'
        f'<span class="mark-key">worst {html.escape(worst)}</span></p>'
    )


@contextmanager
def _library() -> Iterator[Any]:
    """pygal, drawing with the standard library's XML even where another is installed, so that the page is the same.

    It is asked for here and not at import: the add-on starts without it. Raises ProofError where it is missing.
    """
    try:
        import pygal
        import pygal.etree
        import pygal.style
    except ImportError as problem:
        raise ProofError(
            f"the report page needs the Python package pygal, which does not import ({problem}): install the extension "
            "from its zip, which brings it, or in a checkout start with dev.py, which installs it"
        ) from problem
    tree = pygal.etree.etree
    other = tree.lxml
    tree.to_etree()
    try:
        yield pygal
    finally:
        if other:
            tree.to_lxml()


class _Axis:
    """The axis of values: linear or in powers of ten, so that values and limit are inside.

    Heights on it are powers of ten where it is logarithmic, otherwise values over `unit`: the library is given numbers
    of ordinary size whatever the values are.
    """

    def __init__(self, values: Array, limit: float, linear: bool) -> None:
        finite = values[np.isfinite(values)]
        shown = np.append(finite, limit)
        positive = shown[shown > LEAST_SHOWN]
        top = float(positive.max(initial=0.0)) or 1.0
        self.ticks: list[dict[str, Any]] = []
        self.low, self.unit = 0.0, 10.0 ** math.floor(math.log10(top))
        self.high = top / self.unit * 1.15
        self.plain = linear
        self.logarithmic = not linear and bool(len(positive)) and top / LINEAR_SPAN >= float(positive.min())
        if not self.logarithmic:
            return
        deepest = math.log10(min(limit or top, float(finite.max(initial=0.0)) or top)) - MOST_DECADES
        least = max(math.log10(float(positive.min())), deepest, math.log10(LEAST_SHOWN))
        first, last = math.floor(least), math.ceil(math.log10(top) + math.log10(1.2))
        self.low, self.high = float(first), float(last)
        # Small and large powers of ten are shortest as such.
        self.ticks = [
            {
                "label": f"10{superscript(power)}" if not -2 <= power <= 3 else quantity(10.0**power, "1"),
                "value": power,
            }
            for power in range(first, last + 1, max(1, math.ceil((last - first) / 5)))
        ]

    def place(self, value: float) -> float:
        """The height of a value, within the axis."""
        if self.logarithmic:
            return min(max(math.log10(value) if value > 0.0 else self.low, self.low), self.high)
        return min(max(value / self.unit, self.low), self.high)

    def word(self, height: float) -> str:
        """A tick's label on a linear axis."""
        return self.figure(height * self.unit, "1")

    def figure(self, value: float, unit: str) -> str:
        """A value in words: with two digits, and three where the axis was asked to be linear."""
        if self.plain and math.isfinite(value):
            return f"{value:.3g}" if unit == "1" else f"{value:.3g} {clean(unit)}"
        return quantity(value, unit)


def _curve(values: Array, axis: _Axis) -> tuple[list[Place], list[Place]]:
    """The curve, interrupted where there is no number, and lines there; of many frames the largest of each column."""
    columns: list[tuple[int, float]] = []
    step = math.ceil(len(values) / MOST_COLUMNS)
    for start in range(0, len(values), step):
        column = values[start : start + step]
        finite = np.isfinite(column)
        at = int(np.argmax(column)) if finite.all() else int(np.argmin(finite))
        columns.append((start + at, float(column[at])))
    curve: list[Place] = []
    holes: list[Place] = []
    for known, group in groupby(columns, key=lambda column: math.isfinite(column[1])):
        run = list(group)
        if known:
            # A line to the same place draws a dot where a frame stands alone.
            curve += [(frame, axis.place(value)) for frame, value in (run * 2 if len(run) == 1 else run)]
        else:
            curve.append((run[0][0], None))
            holes += [place for frame, _ in run for place in ((frame, axis.low), (frame, axis.high), (frame, None))]
    return curve, holes


def _worst(check: Check, values: Array, axis: _Axis, first: int) -> list[dict[str, Any]]:
    """The worst frame, with its label; at the top if its value is no number."""
    if not 0 <= check.worst_frame < len(values):
        return []
    value = float(values[check.worst_frame])
    label = f"frame {check.worst_frame + first}: {axis.figure(value, check.unit)}"
    return [
        {"value": (check.worst_frame, axis.place(value) if math.isfinite(value) else axis.high), "label": clean(label)}
    ]


def _for_a_page(root: Element, label: str) -> Element:
    """pygal's drawing without what is for its script and its style sheet, with our classes and short numbers."""
    for name in ("xmlns", "id"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-label", label)
    _strip(root)
    for group in root.iter("g"):
        found = re.search(r"\bserie-(\d+)", group.get("class", ""))
        if found:
            _series(group, SERIES[int(found[1])])
    # The label goes beside the mark, on the side where there is room.
    mark, text = root.find(".//circle"), root.find(".//text[@class='mark-text']")
    if mark is not None and text is not None:
        x, y = float(mark.get("cx", "0")), float(mark.get("cy", "0"))
        right = x > WIDTH / 2 - 50
        text.set("x", f"{x + (-9.0 if right else 9.0):.1f}")
        text.set("y", f"{max(y - 9.0, -4.0):.1f}")
        text.set("text-anchor", "end" if right else "start")
    for element in root.iter():
        for name in ("d", "x", "y", "cx", "cy"):
            if name in element.attrib:
                element.set(name, _DECIMALS.sub(lambda found: f"{float(found[0]):.1f}", element.get(name, "")))
    return root


def _strip(parent: Element) -> None:
    for child in list(parent):
        if child.tag in _UNUSED_TAGS or not isinstance(child.tag, str) or child.get("class", "") in _UNUSED_CLASSES:
            parent.remove(child)
            continue
        _strip(child)
        kind = child.get("class", "")
        if "tooltip-overlay" in kind or (child.tag == "g" and not len(child)):
            parent.remove(child)
        elif child.tag == "text":
            child.set("class", "mark-text" if kind == "label" else "tick")
        elif child.tag == "path" and "reactive" not in kind:
            child.set("class", "grid")
        elif child.tag == "g" and "axis x" not in kind and "axis y" not in kind and "serie-" not in kind:
            child.attrib.pop("class", None)


def _series(group: Element, name: str) -> None:
    """One path for a line, however often it is interrupted."""
    paths = group.findall("path")
    if paths:
        paths[0].set("d", "".join(path.get("d", "").replace(" L", "L") for path in paths))
        paths[0].set("class", name)
        for path in paths[1:]:
            group.remove(path)
    for circle in group.iter("circle"):
        circle.set("class", name)
    group.attrib.pop("class", None)
