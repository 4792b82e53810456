"""Every measure of the sweep."""

from __future__ import annotations

from ...errors import ProofError, shown
from ..measure import Measure
from . import elbow_speed, held, joints, jump, lift, planted, turns

MEASURES: tuple[Measure, ...] = (
    *held.MEASURES,
    *planted.MEASURES,
    *joints.MEASURES,
    *turns.MEASURES,
    *lift.MEASURES,
    *elbow_speed.MEASURES,
    *jump.MEASURES,
)


def measure_named(name: str) -> Measure:
    """The measure called `name`; raises ProofError with those that there are."""
    for measure in MEASURES:
        if measure.name == name:
            return measure
    raise ProofError(f"there is no measure {shown(name)}; there is: {', '.join(item.name for item in MEASURES)}")
