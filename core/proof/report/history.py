"""The comparison with an earlier proof, for a terminal and for the page."""

from __future__ import annotations

import html
from collections.abc import Iterator

from ..history import GREW, REGRESSIONS, Change, Comparison, growth_of
from .summary import WORDS, clean, number_of, quantity

# Rows of a kind that are shown; the others are counted.
MOST_LINES, MOST_ROWS = 12, 60


def headline(found: Comparison) -> str:
    """The comparison in one sentence."""
    start = f"Against the earlier proof, {number_of(found.compared, 'check')} compared: "
    if not found.regressions:
        return start + "nothing got worse."
    counts = {kind: sum(change.kind == kind for change in found.regressions) for kind in REGRESSIONS}
    return start + ", ".join(f"{count:,} {kind}" for kind, count in counts.items() if count) + "."


def rule(found: Comparison) -> str:
    """What counts as grown."""
    return (
        f"A value has grown if it is more than {found.growth:g} times what it was and uses more than "
        f"{100.0 * found.floor:g} % of its limit."
    )


def text(found: Comparison) -> str:
    """Lines for a terminal."""
    lines = ["", headline(found), rule(found), *found.notes]
    lines += [
        f"  {change.kind:<20} {_figures(change, plain=True):<28} {clean(change.check.id)}"
        for change in found.regressions[:MOST_LINES]
    ]
    if len(found.regressions) > MOST_LINES:
        lines.append(f"  and {len(found.regressions) - MOST_LINES:,} more")
    return "\n".join(lines)


def message(change: Change) -> str:
    """One change in a line: what became of which measure, and how its value and verdict were and are."""
    check = change.check
    then, now = (
        "not measured" if item is None else f"{quantity(item.value, item.unit, plain=True)} ({WORDS[item.verdict]})"
        for item in (change.before, change.after)
    )
    limit = quantity(check.limit, check.unit, plain=True)
    return f"{clean(check.measure)} {change.kind}: {then} then, {now} now, limit {limit}"


def section(found: Comparison) -> Iterator[str]:
    """The page's section."""
    yield '<section aria-labelledby="history">\n<h2 id="history">Since the earlier proof</h2>\n'
    yield f"<p>{_text(headline(found))} {_text(rule(found))}</p>\n"
    if found.notes:
        yield "<ul>\n" + "".join(f"<li>{_text(note)}</li>\n" for note in found.notes) + "</ul>\n"
    yield from _table(found.regressions, "What got worse", open_=True)
    yield from _table(found.told, "What else is different", open_=False)
    yield "</section>\n"


def _table(changes: tuple[Change, ...], title: str, *, open_: bool) -> Iterator[str]:
    if not changes:
        return
    yield f"<details{' open' if open_ else ''}><summary>{title} ({len(changes):,})</summary>\n"
    yield f'<div class="scroll" role="region" tabindex="0" aria-label="{title}">\n<table>\n<thead><tr>'
    yield "".join(f"<th scope=col>{name}</th>" for name in ("what", "then", "now", "times", "check"))
    yield "</tr></thead>\n<tbody>\n"
    for change in changes[:MOST_ROWS]:
        before = "" if change.before is None else _value(change.before.value, change.before.unit, change.before.verdict)
        after = "" if change.after is None else _value(change.after.value, change.after.unit, change.after.verdict)
        times = quantity(growth_of(change), "1") if change.kind == GREW else ""
        cells = (change.kind, before, after, times, change.check.id)
        yield "<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in cells) + "</tr>\n"
    yield "</tbody></table>\n</div>\n"
    if len(changes) > MOST_ROWS:
        yield f"<p>{len(changes) - MOST_ROWS:,} more are left out here.</p>\n"
    yield "</details>\n"


def _figures(change: Change, *, plain: bool) -> str:
    def value(check: object) -> str:
        return "-" if check is None else quantity(check.value, check.unit, plain=plain)  # type: ignore[attr-defined]

    return f"{value(change.before)} -> {value(change.after)}"


def _value(value: float, unit: str, verdict: str) -> str:
    return f"{quantity(value, unit)}, {verdict.replace('_', ' ')}"


def _text(words: str) -> str:
    return html.escape(clean(words), quote=True)
