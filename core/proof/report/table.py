"""The proof as plain text for a terminal: a line per requirement, findings, rotation orders, then one sentence."""

from __future__ import annotations

from ..results import FAIL, NOT_APPLICABLE, OUT_OF_REACH, Results
from .summary import WORDS, Group, by_requirement, clean, quantity, setting, verdict_sentence

_HEADS = ("requirement", "verdict", "worst", "limit", "measure", "arm", "case", "checks", "failed", "out of reach")
_RIGHT = {"worst", "limit", "checks", "failed", "out of reach"}


def table(results: Results) -> str:
    """Aligned text: a line for each requirement with its worst check, findings, rotation orders, the verdict."""
    rows = [_line(clean(name), found) for name, found in by_requirement(results.checks).items()]
    widths = [max(len(row[column]) for row in (_HEADS, *rows)) for column in range(len(_HEADS))]
    lines = []
    if rows:
        lines = [_aligned(_HEADS, widths), "  ".join("-" * width for width in widths)]
        lines += [_aligned(row, widths) for row in rows] + [""]
    if results.findings:
        found = [f"  {clean(item.where)}: {clean(item.what)} {clean(item.advice)}" for item in results.findings]
        lines += ["found in the file", *found, ""]
    if results.orders:
        lines += ["rotation orders", *(f"  {clean(order.sentence)}" for order in results.orders), ""]
    return "\n".join([*lines, verdict_sentence(results)]) + "\n"


def _line(name: str, found: Group) -> tuple[str, ...]:
    worst = found.worst
    word = WORDS[found.verdict].upper() if found.verdict == FAIL else WORDS[found.verdict]
    if found.verdict == NOT_APPLICABLE:
        return (name, word, *[""] * 5, "0", "0", "0")
    return (
        name,
        word,
        quantity(worst.value, worst.unit, plain=True),
        quantity(worst.limit, worst.unit, plain=True),
        clean(worst.measure),
        worst.arm,
        setting(worst),
        str(found.applicable),
        str(found.counts[FAIL]),
        str(found.counts[OUT_OF_REACH]),
    )


def _aligned(row: tuple[str, ...], widths: list[int]) -> str:
    cells = [
        text.rjust(width) if head in _RIGHT else text.ljust(width)
        for head, text, width in zip(_HEADS, row, widths, strict=True)
    ]
    return "  ".join(cells).rstrip()
