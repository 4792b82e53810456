"""What is wrong with a file that people edit: found all together and said a line each, with the place in the file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import ArmwrightError, CardError
from .places import Path, Places, written

# More than these say nothing new to somebody who has a card to correct.
MOST_SAID = 20
# Characters of a line: a hostile name must not flood a terminal.
LONGEST_LINE = 600


@dataclass(frozen=True)
class Problem:
    """Attributes:
    path: of the field that is wrong, such as `("arms", 0, "hand")`; empty for the whole file.
    what: what is wrong with it and what to do.
    """

    path: Path
    what: str

    def sentence(self) -> str:
        """ "arms[0].hand: ..." """
        return f"{written(self.path)}: {self.what}" if self.path else self.what


def refuse(
    problems: Sequence[Problem],
    places: Places | None = None,
    name: str = "",
    error: type[ArmwrightError] = CardError,
) -> None:
    """Raise `error` with a line for each of the problems, up to MOST_SAID; nothing where there are none.

    `places` and `name` are of the file that the card was read from.
    """
    if not problems:
        return
    places = Places() if places is None else places
    ordered = sorted(problems, key=lambda problem: places.line(problem.path) or 0)
    lines = [_plain(places.put(problem.sentence(), name)) for problem in ordered[:MOST_SAID]]
    if len(ordered) > MOST_SAID:
        lines.append(f"and {len(ordered) - MOST_SAID} more")
    raise error("\n".join(lines))


def _plain(line: str) -> str:
    """A line cut to its length, with nothing that a terminal would obey."""
    short = line if len(line) <= LONGEST_LINE else f"{line[: LONGEST_LINE - 3]}..."
    return short if short.isprintable() else "".join(c if c.isprintable() else repr(c)[1:-1] for c in short)
