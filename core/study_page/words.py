"""What a study's page says in plain words: what to do about each requirement, and what it was read from."""

from __future__ import annotations

from collections.abc import Sequence

from .. import arm_words
from ..proof.report.summary import clean, listed
from ..sheet.model import ArmSheet, Need, Sheet
from ..study.phases import ELBOW, HAND, HELD, ROLL, SWING

# What the rows of the timeline are called, in their order.
KIND_WORDS = {
    SWING: "swings free",
    HAND: "hand planted",
    ROLL: "hand rolls",
    HELD: "holds on",
    ELBOW: "elbow planted",
}
_ADVICE = {
    "swing": "Leave the arm free (FK): nothing holds it there.",
    "hold-hand": "Hold the hand (IK) over these frames; then the torso can move as it likes.",
    "hold-elbow": "Plant the elbow over these frames, and let forearm and hand swing from it.",
    "hold-both": "Plant the elbow and hold the hand over these frames.",
    "plant": "Roll the planted hand by its dials: the point that it rolls over stays put.",
    "stretch": "Turn the stretch dial up here, or the hand falls short of where it was.",
    "lift": "Leave the lift dial up: the shoulder then rises with the raised arm by itself.",
    "shoulder": "Key the clavicle's control: the shoulder does more than a raised arm explains.",
    "switch": "Change what is held by the sidebar's buttons on these frames, so that nothing pops.",
    "isolate": "Turn the isolate dial up, so that the arm does not turn with the torso.",
    "blend": "Blend from FK to IK by the dial.",
    "any-axis": "Keep the elbow's aim away from the line from shoulder to hand.",
    "twist": "Spread the roll over the skin bones.",
    "fingers": "Give the hand fingers.",
}
_HOLDING = {
    "hold-hand": "a held hand",
    "hold-elbow": "a planted elbow",
    "hold-both": "elbow and hand held at once",
    "plant": "a hand that rolls",
}


def advice(need: Need) -> str:
    """What to do about a requirement."""
    return _ADVICE[need.requirement]


def headline(sheet: Sheet) -> str:
    """The study in one sentence."""
    name = clean(sheet.name)
    holding = [arm for arm in sheet.arms if _holds(arm)]
    if sheet.empty:
        return f"{name} asks nothing of an arm's rig."
    if not holding:
        swing = "swings" if len(sheet.arms) == 1 else "swing"
        return f"In {name} nothing has to be held: the {_arms(sheet.arms)} {swing} free."
    what = listed([words for name, words in _HOLDING.items() if any(arm.need(name) for arm in holding)])
    return f"{name} needs {what}, on the {_arms(holding)}."


def _holds(arm: ArmSheet) -> bool:
    return any(arm.need(name) for name in _HOLDING)


def _arms(arms: Sequence[ArmSheet]) -> str:
    words = [arm_words.words(arm.arm) for arm in arms]
    return f"{listed(words)} arm{'' if len(words) == 1 else 's'}"
