"""Units that armatures are made in, and which of them fits an arm's size."""

from __future__ import annotations

import math

# Metres of one, the usual ones first. An inch and a foot are exact by their definition (international yard, 1959).
UNITS = ((1.0, "metres"), (0.01, "centimetres"), (0.001, "millimetres"), (0.0254, "inches"), (0.3048, "feet"))
# Below and above this no arm's joints are told apart, or one unit is longer than any character.
SMALLEST_UNIT, LARGEST_UNIT = 1e-4, 1e3
# From shoulder to wrist, metres: from a doll's to a giant's.
SHORTEST_ARM, LONGEST_ARM = 0.2, 3.0
# A grown person's: 0.332 of a stature of 1.7 m (Winter, fig. 4.1: upper arm 0.186, forearm 0.146).
USUAL_ARM = 0.56


def is_plausible(arm: float) -> bool:
    """Whether a character's arm can be `arm` metres long."""
    return SHORTEST_ARM <= arm <= LONGEST_ARM


def unit_for(arm: float) -> tuple[float, str] | None:
    """The unit, in metres, and its name, in which an arm of `arm` units is likeliest; None where it fits none.

    Metric units come first: an inch fits much of what a centimetre fits.
    """
    fitting = [(unit, word) for unit, word in UNITS if is_plausible(arm * unit)]
    metric = [item for item in fitting if item[1].endswith("metres")]
    return min(metric or fitting, key=lambda item: abs(math.log(arm * item[0] / USUAL_ARM)), default=None)


def nearest_unit(metres: float) -> tuple[float, str]:
    """The unit that `metres`, or so many of it to a metre, comes nearest to: people turn the two round."""

    def far(unit: float) -> float:
        # Of products that underflow there is no logarithm.
        return min(abs(math.log(metres) - math.log(unit)), abs(math.log(metres) + math.log(unit)))

    return min(UNITS, key=lambda item: far(item[0]))


def words(unit: float) -> str:
    """ "0.01 (centimetres)"."""
    name = next((word for known, word in UNITS if math.isclose(known, unit)), "")
    return f"{unit:g} ({name})" if name else f"{unit:g} metres"
