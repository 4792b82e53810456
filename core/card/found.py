"""A part of a card that was found, and what speaks for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Below this a person has to look.
LOW_CONFIDENCE = 0.6
MOST_CERTAIN = 0.99


@dataclass(frozen=True)
class Evidence:
    """Attributes:
    weight: how likely it alone makes the guess right, 0 to 1.
    what: it in words.
    """

    weight: float
    what: str


def confidence(evidence: Sequence[Evidence]) -> float:
    """How likely it is that not all of the evidence misleads, as if each were independent; rounded to 0.01."""
    doubt = 1.0
    for item in evidence:
        doubt *= 1.0 - item.weight
    return round(min(MOST_CERTAIN, 1.0 - doubt), 2)


def why(evidence: Sequence[Evidence]) -> str:
    """The reasons, the strongest first."""
    return "; ".join(item.what for item in sorted(evidence, key=lambda item: -item.weight)) or "nothing speaks for it"
