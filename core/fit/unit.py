"""The unit of a mesh file, which does not say it, from the character's size."""

from __future__ import annotations

from ..stature import SHORTEST_STATURE, TALLEST_STATURE

# Metres of one unit, and what such a unit is called, the likeliest first.
UNITS = ((1.0, "metres"), (0.01, "centimetres"), (0.001, "millimetres"), (100.0, "hundreds of metres"))


def unit_of(height: float) -> tuple[float, str]:
    """Metres of one unit of a character `height` units tall, and a sentence about it, "" for metres.

    A height that is a character's in no unit is taken as it is.
    """
    for unit, word in UNITS:
        if SHORTEST_STATURE <= height * unit <= TALLEST_STATURE:
            if unit == 1.0:
                return unit, ""
            return unit, (
                f"the character is {height:.4g} units tall, so they were taken for {word}, which makes it "
                f"{height * unit:.4g} m tall: give --unit METRES if that is wrong"
            )
    return 1.0, ""
