"""What a build has to turn on for a requirement sheet, and what to say about each line of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from .. import arm_words
from ..arm import names as n
from ..frames import ORDERS
from ..options import ArmOptions
from .model import HAND, ArmSheet, Need, Sheet

# Room that the limit of the stretch has over the furthest reach: at the limit itself rounding decides.
ROOM = 1.02
ALWAYS, DONE, LEFT, NOT_DONE = "always there", "done", "left as it is", "not done"
_THERE = {
    "swing": "the FK controls",
    "hold-hand": "the hand hold, with the dial from FK to IK at 1",
    "hold-elbow": "the elbow hold, with its dial at 1",
    "hold-both": "both holds, with both dials at 1",
    "plant": "the hand's rolls over heel, knuckles, fingertips and edges, and its spin",
    "shoulder": "the clavicle's control",
    "isolate": "the isolate dial",
    "blend": "the dial from FK to IK",
    "switch": "the sidebar's buttons, at any frame",
    "any-axis": "the elbow's aim",
    "twist": "the skin bones that share the roll",
}


@dataclass(frozen=True)
class Said:
    """What becomes of one line: which, one of ALWAYS, DONE, LEFT and NOT_DONE, and the rest of the sentence."""

    line: str
    what: str
    how: str

    def sentence(self) -> str:
        """ "left arm, stretch to 1.12 L: done: ..." """
        return f"{self.line}: {self.what}: {self.how}"


@dataclass(frozen=True)
class TurnedOn:
    """Attributes:
    options: to build with.
    dials: (arm, dial, value) to set on arms that are built for the first time.
    said: a sentence a line.
    """

    options: ArmOptions
    dials: tuple[tuple[str, str, float], ...]
    said: tuple[Said, ...]


def turned_on(sheet: Sheet, arms: Sequence[str], fingered: Sequence[str], options: ArmOptions, again: bool) -> TurnedOn:
    """What to build for `sheet`.

    Args:
        arms: of the character; `fingered` are those that have fingers.
        options: to start from.
        again: whether the arms are there already, and their dials the user's.
    """
    most = max((need.most for arm in sheet.arms if arm.arm in arms for need in arm.needs), default=0.0)
    limit = max(options.stretch_limit, math.ceil(most * ROOM * 100.0) / 100.0)
    raised = replace(options, stretch_limit=limit)
    dials: list[tuple[str, str, float]] = []
    said: list[Said] = []
    for arm in sheet.arms:
        if arm.arm not in arms:
            if arm.needs or arm.spaces:
                name = arm_words.name(arm.arm)
                said.append(Said(name, NOT_DONE, f"the character has no arm {arm.arm!r}; it has: {', '.join(arms)}"))
            continue
        for need in arm.needs:
            what, how = _need(arm, need, options, raised, fingered, again)
            said.append(Said(f"{arm_words.name(arm.arm)}, {need.requirement}", what, how))
        if arm.need("stretch") is not None and not again:
            dials.append((arm.arm, n.STRETCH, 1.0))
        said += [
            Said(f"{arm_words.name(arm.arm)}, {space.hold} on {space.on!r}", ALWAYS, "it is in the list of spaces")
            for space in arm.spaces
            if space.kind == HAND
        ]
        said += _orders(arm)
    return TurnedOn(raised, tuple(dials), tuple(said))


def _need(
    arm: ArmSheet, need: Need, before: ArmOptions, after: ArmOptions, fingered: Sequence[str], again: bool
) -> tuple[str, str]:
    if need.requirement == "stretch":
        limit = f"the limit of the stretch is {after.stretch_limit:g}"
        if after.stretch_limit > before.stretch_limit:
            limit += f", it was {before.stretch_limit:g}"
        if again:
            changed = after.stretch_limit > before.stretch_limit
            return (DONE if changed else LEFT), f"{limit}; the dials are as you have set them"
        return DONE, f"{limit}; the stretch dial is at 1"
    if need.requirement == "lift":
        return ALWAYS, "the lift dial, " + ("which is as you have set it" if again else "which is at 1 to begin with")
    if need.requirement == "fingers":
        if arm.arm in fingered:
            return ALWAYS, "the hand has fingers"
        return NOT_DONE, "the hand has no fingers: build it with --fingers, or with a --guide that has them"
    return ALWAYS, _THERE[need.requirement]


def _orders(arm: ArmSheet) -> list[Said]:
    """The rig's rotation orders are fixed: what would suit the motion better is said."""
    found = []
    for (joint, order), fixed in zip(vars(arm.orders).items(), ORDERS, strict=True):
        if order:
            how = f"the rig turns it in {fixed}"
            what = ALWAYS if order == fixed else LEFT
            found.append(Said(f"{arm_words.name(arm.arm)}, {joint.replace('_', ' ')} in {order}", what, how))
    return found
