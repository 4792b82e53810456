"""What an arm's id says: its side, and what people call the arm. To all else an id is a name."""

from __future__ import annotations

from collections.abc import Sequence

from .guide import SIDES

SIDE_WORDS = dict(zip(SIDES, ("left", "right"), strict=True))
# Arms that a sentence names one by one; of more it says how many.
MOST_NAMED = 3
# An id is a part of bones' names, which have 63 bytes in the host.
LONGEST_ID = 63


def side_of(arm: str) -> str:
    """ "L" or "R": the side of the arm with this id ("L", "lower.L").

    An id that names no side counts as left: motions describe the left arm, and what is not its mirror image takes them
    as they are.
    """
    side = _side_or_none(arm)
    return SIDES[0] if side is None else side


def words(arm: str) -> str:
    """ "left" for "L", "lower left" for "lower.L"; an id that names no side is its own words."""
    side = _side_or_none(arm)
    if side is None:
        return arm
    return f"{arm[: -len(side) - 1].replace('_', ' ')} {SIDE_WORDS[side]}".strip()


def name(arm: str) -> str:
    """ "lower left arm"."""
    return f"{words(arm)} arm"


def names(arms: Sequence[str], of: Sequence[str]) -> str:
    """What to call `arms`, which are some of the arms `of` a character: "both arms", "left and lower left arms"."""
    if len(arms) == 1:
        return name(arms[0])
    if len(arms) == len(of):
        return "both arms" if len(arms) == 2 else f"all {len(arms)} arms"
    if len(arms) > MOST_NAMED:
        return f"{len(arms)} of {len(of)} arms"
    each = [words(arm) for arm in arms]
    return f"{', '.join(each[:-1])} and {each[-1]} arms" if each else "no arm"


def is_id(text: str) -> bool:
    """Whether `text` can be an arm's id: one printable line, neither empty nor long."""
    return bool(text.strip()) and text.isprintable() and len(text.encode("utf-8", "replace")) <= LONGEST_ID


def partner(arm: str, arms: Sequence[str]) -> str | None:
    """The arm of the same pair on the other side; None where the character has none."""
    side = _side_or_none(arm)
    other = None if side is None else arm[: -len(side)] + SIDES[1 - SIDES.index(side)]
    return other if other in arms else None


def pairs(arms: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The arms by pairs, the left one first; an arm whose partner the character does not have is alone."""
    found: dict[tuple[str, ...], None] = {}
    for arm in arms:
        other = partner(arm, arms)
        found[(arm,) if other is None else tuple(sorted((arm, other)))] = None
    return tuple(found)


def pair_words(pair: Sequence[str]) -> str:
    """ "left and right", "lower left and right"; the words of an arm that is alone."""
    return words(pair[0]) if len(pair) == 1 else f"{words(pair[0])} and {SIDE_WORDS[side_of(pair[1])]}"


def _side_or_none(arm: str) -> str | None:
    end = arm.rpartition(".")[2]
    return end if end in SIDES else None
