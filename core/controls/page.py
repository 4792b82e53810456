"""The page "what each control does": one file for the animator, with the controls drawn and named as in the character.

It needs no network and no script, and prints on paper. Every text from a file is escaped.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ..proof.report.summary import clean
from .model import Array, Control, Dial, Sheet
from .picture import View, drawing, ink
from .style import STYLE
from .words import CHARACTER, FINGERS, GROUPS, Words, arm_words, row_of, words_of

# Size of the drawings, in their own units: as wide as the page at most, so that the numbers keep their size.
FRONT, SIDE, HAND = (620.0, 560.0), (330.0, 560.0), (380.0, 340.0)
# How far above the level the front and the side are seen from, radians.
RAISED = np.radians(14.0)
ORDER = (*[group for group in GROUPS if group != CHARACTER], CHARACTER)
# What a part without words says: `words.py` should have some.
UNKNOWN = Words(CHARACTER, "Control", "A control of the character.")


@dataclass(frozen=True)
class Row:
    """One line of the list: a part with its controls on every arm."""

    number: int
    words: Words
    controls: tuple[Control, ...]


def page(sheet: Sheet) -> str:
    """The page's HTML."""
    rows = rows_of(sheet)
    return "".join(_parts(sheet, rows))


def rows_of(sheet: Sheet) -> tuple[Row, ...]:
    """The parts, numbered in the order of their groups; the controls of a part on both arms have one number."""
    found: dict[str, list[Control]] = {}
    for control in sheet.controls:
        found.setdefault(row_of(control.role) or control.bone, []).append(control)
    told = [(words_of(controls[0].role) or UNKNOWN, tuple(controls)) for controls in found.values()]
    ordered = sorted(told, key=lambda entry: ORDER.index(entry[0].group))
    return tuple(Row(number, words, controls) for number, (words, controls) in enumerate(ordered, start=1))


def _parts(sheet: Sheet, rows: tuple[Row, ...]) -> Iterator[str]:
    title = f"What each control does: {sheet.name}"
    yield (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{_text(title)}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f'<header><p class="kind">What each control does</p><h1>{_text(sheet.name)}</h1></header>\n'
    )
    yield _pictures(sheet, rows)
    yield from _lists(rows)
    yield from _modes(sheet)
    yield from _dials(sheet)
    yield "</main>\n</body>\n</html>\n"


def _pictures(sheet: Sheet, rows: tuple[Row, ...]) -> str:
    left, back, up = sheet.facing.T
    fingers = {control.bone for row in rows if row.words.group == FINGERS for control in row.controls}
    numbers = _numbers(rows)
    out = ['<div class="views">\n']
    shown = [control for control in sheet.controls if control.lines]
    if not shown:
        return ""
    # From the front, the character's left is on the right of the paper; from a little above, rings show as rings.
    front = View("from the front", left, _raised(up, -back), *FRONT)
    out.append(_figure(front, sheet, shown, {bone: n for bone, n in numbers.items() if bone not in fingers}))
    near = {arm for arm in {control.arm for control in shown} if _is_left(sheet, arm)}
    beside = [control for control in shown if not control.arm or control.arm in near]
    if near and len(beside) < len(shown):
        # From its left, the character looks to the left of the paper.
        side = View("from its left", back, _raised(up, left), *SIDE)
        out.append(_figure(side, sheet, beside, {b: n for b, n in numbers.items() if b not in fingers}))
    for arm, palm in sheet.palms:
        own = [control for control in shown if control.arm == arm and control.bone in fingers]
        if own and arm in near:
            view = View(
                f"the {_text(arm_words(arm))} hand, from its back",
                -palm[:3, 0],
                _raised(palm[:3, 1], -palm[:3, 2]),
                *HAND,
                close=True,
            )
            out.append(_figure(view, sheet, own, numbers))
    out.append("</div>\n")
    return "".join(out) + _legend(sheet, rows)


def _raised(up: Array, towards: Array) -> Array:
    """The top of a drawing that is seen from `towards`, a little from above."""
    return np.asarray(up * np.cos(RAISED) - towards * np.sin(RAISED))


def _numbers(rows: tuple[Row, ...]) -> dict[str, int]:
    """The bones that get a number in a drawing: of a part with several bones on an arm, the first."""
    out: dict[str, int] = {}
    for row in rows:
        seen: set[str] = set()
        for control in row.controls:
            if control.arm not in seen or not control.arm:
                out[control.bone] = row.number
                seen.add(control.arm)
    return out


def _figure(view: View, sheet: Sheet, controls: list[Control], numbers: Mapping[str, int]) -> str:
    shape = drawing(view, controls, numbers, sheet.limbs, sheet.triangles)
    return f'<figure style="--wide:{view.width:g}">{shape}<figcaption>{view.title}</figcaption></figure>\n'


def _is_left(sheet: Sheet, arm: str) -> bool:
    """Whether an arm's controls are more to the character's left than to its right."""
    points = [line for control in sheet.controls if control.arm == arm for line in control.lines]
    return bool(points) and float(np.concatenate(points).mean(axis=0) @ sheet.facing[:, 0]) > 0.0


def _legend(sheet: Sheet, rows: tuple[Row, ...]) -> str:
    """The colours: what holds a control, by the colour that most of its kind have."""
    items, known = [], list[str]()
    for group in ORDER:
        colours = [ink(control.colour) for row in rows if row.words.group == group for control in row.controls]
        most = max(dict.fromkeys(colours), key=colours.count, default="")
        if colours and most not in known:
            known.append(most)
            items.append(f'<li style="--own:{most}">{_text(GROUPS[group][0])}</li>')
    return f'<ul class="legend">{"".join(items)}</ul>\n'


def _lists(rows: tuple[Row, ...]) -> Iterator[str]:
    for group in ORDER:
        own = [row for row in rows if row.words.group == group]
        if not own:
            continue
        heading, held = GROUPS[group]
        yield f'<section class="{group}"><h2>{_text(heading)}</h2>\n<p class="note">{_text(held)}</p>\n<ol>\n'
        yield from map(_row, own)
        yield "</ol></section>\n"


def _row(row: Row) -> str:
    names: dict[str, list[str]] = {}
    for control in row.controls:
        names.setdefault(control.arm, []).append(control.bone)
    chips = "".join(map(_names, names, names.values()))
    own = ink(row.controls[0].colour)
    return (
        f'<li style="--own:{own}"><b class="badge">{row.number}</b><div><h3>{_text(row.words.title)}</h3>'
        f'<p>{_text(row.words.sentence)}</p><p class="names">{chips}</p></div></li>\n'
    )


def _names(arm: str, bones: list[str]) -> str:
    """The bones of one arm, with its side before them."""
    side = f"<i>{_text(arm_words(arm))}</i> " if arm else ""
    codes = " ".join(f'<code data-bone="{_text(bone)}">{_text(bone)}</code>' for bone in bones)
    return f"<span>{side}{codes}</span>"


def _modes(sheet: Sheet) -> Iterator[str]:
    if not sheet.modes:
        return
    yield '<section class="modes"><h2>What an arm holds</h2>\n<p class="note">Four buttons an arm in the sidebar '
    yield "(N, tab Armwright). The pose stays as it is on that frame.</p>\n<dl>\n"
    for mode in sheet.modes:
        yield f"<dt>{_text(mode.label)}</dt><dd>{_text(mode.help)}</dd>\n"
    yield "</dl></section>\n"


def _dials(sheet: Sheet) -> Iterator[str]:
    if not sheet.dials:
        return
    found: dict[tuple[object, ...], list[Dial]] = {}
    for dial in sheet.dials:
        found.setdefault((dial.key, dial.low, dial.high, dial.default, dial.help), []).append(dial)
    yield '<section class="dials"><h2>Dials</h2>\n<p class="note">Sliders of the sidebar; each can be keyed where it '
    yield "stands.</p>\n<table><thead><tr><th scope=col>dial</th><th scope=col>what it does</th>"
    yield "<th scope=col>range</th><th scope=col>default</th></tr></thead>\n<tbody>\n"
    for dials in found.values():
        first = dials[0]
        on = ", ".join(_text(dial.bone) for dial in dials)
        yield (
            f'<tr data-dial="{_text(first.key)}"><th scope=row>{_text(first.label)}<small>{_text(first.key)} of {on}'
            f'</small></th><td>{_text(first.help)}</td><td class="range">{_value(first.low, first)} to '
            f'{_value(first.high, first)}</td><td class="range">{_value(first.default, first)}</td></tr>\n'
        )
    yield "</tbody></table></section>\n"


def _value(value: float, dial: Dial) -> str:
    if dial.angle:
        return f"{np.degrees(value):.4g}°".replace("-", "\N{MINUS SIGN}")
    return f"{value:.4g}".replace("-", "\N{MINUS SIGN}")


def _text(text: str) -> str:
    return html.escape(clean(text), quote=True)
