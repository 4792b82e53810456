"""What each part is called and does, in one sentence: the only place where the page's words about controls stand."""

from __future__ import annotations

import re
from dataclasses import dataclass

SHOULDER, BODY, HELD, FINGERS, CHARACTER = "shoulder", "body", "held", "fingers", "character"

# Group: heading, and what holds its controls.
GROUPS: dict[str, tuple[str, str]] = {
    SHOULDER: ("The shoulder", "It travels with the torso, and never disturbs a hand or an elbow that is held."),
    BODY: (
        "Travels with the body",
        "Where the torso goes they go along. They swing an arm that is free (FK); the isolate dial says "
        "whether it turns with the torso. Only the elbow aim is for a hand that is held.",
    ),
    HELD: (
        "Held in a space",
        "These stay put in the world, or in what you choose in the sidebar: torso, head, the other hand, a prop. "
        "They count as far as the arm holds with its hand or elbow.",
    ),
    FINGERS: ("Fingers", "They follow the hand, whatever it is held by."),
    CHARACTER: ("The body", "They carry the arms."),
}


@dataclass(frozen=True)
class Words:
    """About a part: its group, its name, and what it does."""

    group: str
    title: str
    sentence: str


ROLE_WORDS: dict[str, Words] = {
    "fk_clavicle": Words(
        SHOULDER, "Shoulder", "Turn it to shrug, drop, or bring the shoulder forward and back; it carries the dials."
    ),
    "fk_upper_arm": Words(BODY, "Upper arm", "Turn it to swing the whole free arm from the shoulder."),
    "fk_forearm": Words(
        BODY,
        "Forearm",
        "Turn it about X to bend the elbow and about Y to roll the forearm; it swings from a held elbow as well.",
    ),
    "fk_hand": Words(BODY, "Hand", "Turn it to bend the wrist of a hand that is not held."),
    "elbow_aim": Words(BODY, "Elbow aim", "Move it to say where the elbow points while the hand is held."),
    "hand_hold": Words(HELD, "Hand hold", "Move and turn it: a held hand is where this is, and the elbow follows."),
    "elbow_hold": Words(
        HELD, "Elbow hold", "Move it: a held elbow is where this is; turn it to turn the forearm that swings from it."
    ),
    "finger_dials": Words(FINGERS, "All fingers", "It carries the dials that close and spread the fingers at once."),
    "root": Words(CHARACTER, "Root", "Move and turn it to place the whole character."),
    "torso": Words(CHARACTER, "Torso", "Turn it to lean and twist the torso; the lowest one also moves it."),
    "head": Words(CHARACTER, "Head", "Turn it to turn the head."),
}
# `fk_<finger>_<number>`: any name that a guide gives to a finger.
FINGER_ROLE = re.compile(r"fk_(?P<finger>.+)_(?P<number>[0-9]+)")
THUMB = "thumb"


def words_of(role: str) -> Words | None:
    """What a role's control is called and does; None for a part that nobody has put into words."""
    if role in ROLE_WORDS:
        return ROLE_WORDS[role]
    found = FINGER_ROLE.fullmatch(role)
    if found is None:
        return None
    name = found["finger"].replace("_", " ")
    title = name.capitalize() if name == THUMB or name.endswith("finger") else f"{name.capitalize()} finger"
    return Words(
        FINGERS, title, f"Turn them about X to bend the {title.lower()}, bone by bone from its root on; Z spreads it."
    )


def row_of(role: str) -> str:
    """Roles that are told together have the same row: the bones of one finger."""
    found = FINGER_ROLE.fullmatch(role) if role not in ROLE_WORDS else None
    return f"fk_{found['finger']}" if found else role


def arm_words(arm: str) -> str:
    """ "left", "lower right": for people; an id that names no side stays as it is."""
    pair, _, side = arm.rpartition(".")
    words = {"L": "left", "R": "right"}.get(side)
    if words is None:
        return arm
    return f"{pair.replace('.', ' ').replace('_', ' ')} {words}".strip()
