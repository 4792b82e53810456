"""`card`: draft the rig card of arms that were built by other means, or check one against its armature."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from ...core.card import card_json
from ...core.card.model import Guess, RigCard
from ...core.errors import CardError
from ..text_files import write_text

LOOK = "check this"
HEADINGS = ("arm", "role", "found", "sure", "why")
# What is longer is cut in the table; the card has it whole.
WIDEST, MOST_REASONS = 46, 2


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    command = commands.add_parser(
        "card",
        help="draft the rig card of arms that were built by other means, or check one",
        description="Drafts a rig card, which says what plays which part in arms that were built by other means, and "
        "prints how sure each guess is. With --check: exit code 0 if the card fits the armature, 1 if not.",
    )
    command.add_argument("file", type=Path, metavar="FILE.blend")
    command.add_argument("--armature", default=None, metavar="NAME", help="armature to look at, if there are several")
    what = command.add_mutually_exclusive_group()
    what.add_argument("--out", type=Path, default=None, metavar="CARD.json", help="write the draft")
    what.add_argument("--check", type=Path, default=None, metavar="CARD.json", help="check this card instead")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the armature; draft and print, or check."""
    from ...core.card.draft import draft
    from ..card_sketch import sketch_of
    from . import files

    given = None if options.check is None else card_json.read_file(options.check)
    armature = files.open_armature(options.file, options.armature, with_arms=False)
    sketch = sketch_of(armature)
    if given is not None:
        return _check(given, sketch)
    card = draft(sketch)
    for line in table(card):
        print(line)
    if options.out is not None:
        write_text(options.out, card_json.to_text(card))
        print(f"{options.out}: {len(card.arms)} arms; look at what says {LOOK!r}, correct it, then --check it")
    return 0


def table(card: RigCard) -> Iterator[str]:
    """The card's guesses as lines of text; those that are not sure, and the least sure of all, say so."""
    from ...core.card.found import LOW_CONFIDENCE

    least = min((guess.confidence for guess in card.guesses), default=0.0)
    rows = [HEADINGS, *(_row(guess) for guess in card.guesses)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS) - 1)]
    for number, row in enumerate(rows):
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        mark = ""
        if number:
            sure = card.guesses[number - 1].confidence
            mark = f"[{LOOK}] " if sure < LOW_CONFIDENCE or sure == least else ""
        yield f"{'  '.join(cells)}  {mark}{row[-1]}"


def _row(guess: Guess) -> tuple[str, ...]:
    found = guess.found if len(guess.found) <= WIDEST else guess.found[: WIDEST - 3] + "..."
    return (
        guess.arm or "-",
        guess.role,
        found or "-",
        f"{guess.confidence:.2f}",
        "; ".join(guess.why.split("; ")[:MOST_REASONS]),
    )


def _check(given: card_json.CardFile, sketch) -> int:  # type: ignore[no-untyped-def]
    """Print what is wrong with the card, a line each; 1 if anything is."""
    from ...core.card.fit_check import check_fit, of_another

    try:
        check_fit(given, sketch)
    except CardError as problem:
        print(problem)
        return 1
    print(f"{given.name}: fits {sketch.rig!r}, {len(given.card.arms)} arms")
    for said in of_another(given.card, sketch.rig):
        print(f"note: {said}")
    return 0
