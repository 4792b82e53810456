"""How a rig's arm is switched: which influences make it hold something, what sets them, and to which values.

A driver's expression is put through the allow-listed interpreter of `core/plan/expressions.py`; nothing is run.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product

from ..errors import PlanError
from ..plan.expressions import evaluate
from .model import Dial, Setting
from .sketch import RigSketch, SketchConstraint, SketchDriver, SketchProperty

# An influence is on or off if it is so near to it.
EXACT = 0.01
# Values of one property, and combinations of all, that are tried.
MOST_STEPS, MOST_TRIES = 8, 4096
# What a value is asked to be in a mode.
Wanted = float


@dataclass(frozen=True)
class Switch:
    """An influence that decides what an arm holds.

    Attributes:
        bone, item: the constraint and whose it is.
        what: "hand" or "elbow": it is on where this is held; "fk": it is on where the hand is not held.
    """

    bone: str
    item: SketchConstraint
    what: str

    def wanted(self, mode: str) -> Wanted:
        """The influence that the mode asks for."""
        hand, elbow = mode in ("hand", "both"), mode in ("elbow", "both")
        return float({"hand": hand, "elbow": elbow, "fk": not hand}[self.what])


@dataclass(frozen=True)
class Knob:
    """What sets influences: a property, or a constraint's influence itself."""

    bone: str
    property: str = ""
    constraint: str = ""


def knobs_of(switch: Switch) -> tuple[Knob, ...]:
    """What sets the switch's influence; empty for an influence that something else than a property drives."""
    item = switch.item
    drivers = [driver for driver in (item.driver, item.mute_driver) if driver is not None]
    if item.driver is None and not (item.mute_driver and item.mute_driver.sources):
        return (Knob(switch.bone, constraint=item.name),)
    return tuple(Knob(source.bone, source.property) for driver in drivers for source in driver.sources)


class Panel:
    """The properties of a rig and what they do to influences. It holds the sketch's properties by place."""

    def __init__(self, sketch: RigSketch) -> None:
        owners: list[tuple[str, tuple[SketchProperty, ...]]] = [("", sketch.properties)]
        owners += [(bone.name, bone.properties) for bone in sketch.bones]
        self._known = {(bone, item.name): item for bone, items in owners for item in items}

    def steps(self, knob: Knob) -> tuple[float, ...]:
        """Values worth trying: 0 and 1, the limits, and whole numbers between near limits."""
        if knob.constraint:
            return (0.0, 1.0)
        item = self._known.get((knob.bone, knob.property))
        low, high = (None, None) if item is None else (item.low, item.high)
        tried: dict[float, None] = {0.0: None, 1.0: None}
        if low is not None and high is not None and high - low <= 1e6:
            tried.update({low: None, high: None})
            if high - low <= MOST_STEPS and high - low > 1.0:
                tried.update({low + step: None for step in range(int(high - low) + 1)})
        inside = (step for step in tried if (low is None or step >= low) and (high is None or step <= high))
        return tuple(islice(inside, MOST_STEPS + 2))

    def influence(self, switch: Switch, values: Mapping[Knob, float]) -> float | None:
        """The switch's influence with the knobs at `values`, the rest as they stand; None where nothing says it."""
        item = switch.item
        if item.driver is None:
            strength: float | None = values.get(Knob(switch.bone, constraint=item.name), item.influence)
        else:
            strength = self._driven(item.driver, values)
        if item.mute_driver is not None and item.mute_driver.sources:
            muted = self._driven(item.mute_driver, values)
            return None if strength is None or muted is None else strength * (muted < 0.5)
        return strength

    def _driven(self, driver: SketchDriver, values: Mapping[Knob, float]) -> float | None:
        given: dict[str, float] = {}
        for source in driver.sources:
            item = self._known.get((source.bone, source.property))
            standing = 0.0 if item is None else item.value
            given[source.variable] = values.get(Knob(source.bone, source.property), standing)
        if not given:
            return None
        if not driver.expression:
            return max(0.0, min(1.0, next(iter(given.values()))))
        try:
            return max(0.0, min(1.0, evaluate(driver.expression, given)))
        except PlanError:
            return None


def settings_for(mode: str, switches: Sequence[Switch], panel: Panel) -> tuple[tuple[Setting, ...], float]:
    """What to set for `mode`, and how far the worst influence is then from what the mode asks for.

    An expression that can not be read is taken to pass its property on: the second figure is then 0.5 or more.
    """
    knobs = tuple(dict.fromkeys(knob for switch in switches for knob in knobs_of(switch)))
    shared = [knob for knob in knobs if knob.property]
    best, least = dict.fromkeys(shared, 0.0), float("inf")
    driven = [switch for switch in switches if any(knob.property for knob in knobs_of(switch))]
    for tried in islice(product(*(panel.steps(knob) for knob in shared)), MOST_TRIES):
        values = dict(zip(shared, tried, strict=True))
        off = max((_off(switch, mode, values, panel) for switch in driven), default=0.0)
        if off < least - 1e-9:
            best, least = values, off
    for switch in switches:
        for knob in knobs_of(switch):
            if knob.constraint:
                best[knob] = switch.wanted(mode)
    stuck = any(not knobs_of(switch) for switch in switches)
    found = tuple(Setting(knob.bone, best[knob], knob.property, knob.constraint) for knob in knobs)
    return found, max(0.0 if least == float("inf") else least, 0.5 * stuck)


def _off(switch: Switch, mode: str, values: Mapping[Knob, float], panel: Panel) -> float:
    strength = panel.influence(switch, values)
    if strength is not None:
        return abs(strength - switch.wanted(mode))
    passed = next((values[knob] for knob in knobs_of(switch) if knob in values), 0.0)
    return 0.5 + 0.1 * abs(passed - switch.wanted(mode))


def dial_between(off: Sequence[Setting], on: Sequence[Setting]) -> Dial | None:
    """The dial that goes from the one mode's settings to the other's; None where not exactly one setting differs."""
    before = {(item.bone, item.property, item.constraint): item.value for item in off}
    differ = [item for item in on if before.get((item.bone, item.property, item.constraint)) != item.value]
    if len(differ) != 1:
        return None
    item = differ[0]
    start = before.get((item.bone, item.property, item.constraint))
    return None if start is None else Dial(item.bone, item.property, item.constraint, start, item.value)


def muted(switches: Sequence[Switch]) -> Iterator[Switch]:
    """Switches whose constraint is turned off, and that no influence turns on."""
    return (switch for switch in switches if switch.item.muted and switch.item.mute_driver is None)
