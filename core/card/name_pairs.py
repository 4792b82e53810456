"""What bones' names say: whether two are one name for two sides, in whatever language; plain words in a few."""

from __future__ import annotations

import re

# Splits at what is no letter and no digit, between small and capital letters, and around numbers.
_PART = re.compile(r"[^\W\d_]+|\d+")
_HUMP = re.compile(r"(?<=[a-zà-ÿ])(?=[A-Z])")

# Left and right in a few languages, plain dictionary words and their initials.
SIDE_WORDS = (("l", "r"), ("left", "right"), ("links", "rechts"), ("gauche", "droite"), ("izquierda", "derecha"),
              ("izquierdo", "derecho"), ("sinistra", "destra"), ("sinistro", "destro"), ("左", "右"))  # fmt: skip
# Plain anatomy words that speak for a joint.
JOINT_WORDS = {
    "clavicle": ("clavicle", "collarbone", "collar", "shoulder", "scapula"),
    "upper_arm": ("humerus", "upperarm", "upper arm", "arm up", "oberarm", "bras", "brazo"),
    "forearm": ("ulna", "radius", "forearm", "fore arm", "lower arm", "lowerarm", "elbow", "unterarm", "avant bras"),
    "hand": ("hand", "palm", "wrist", "carpus", "main", "mano"),
}


def parts(name: str) -> tuple[str, ...]:
    """A name's parts, small letters: ("fore", "arm", "l") for "ForeArm.L"."""
    return tuple(part.lower() for part in _PART.findall(_HUMP.sub(" ", name)))


def side_pair(one: str, other: str) -> tuple[str, str] | None:
    """The parts in which the names differ, where it is exactly one; None otherwise."""
    first, second = parts(one), parts(other)
    if len(first) != len(second):
        return None
    differ = [(a, b) for a, b in zip(first, second, strict=True) if a != b]
    return differ[0] if len(differ) == 1 else None


def known_sides(pair: tuple[str, str]) -> bool | None:
    """True for (left, right), False for (right, left), None for words that are no sides."""
    if pair in SIDE_WORDS:
        return True
    return False if (pair[1], pair[0]) in SIDE_WORDS else None


def side_in(name: str) -> str:
    """ "L" or "R" where exactly one word of the name is a side, otherwise ""."""
    found = {side for part in parts(name) for pair in SIDE_WORDS for side, word in zip("LR", pair, strict=True)
             if part == word}  # fmt: skip
    return found.pop() if len(found) == 1 else ""


def says(name: str, role: str) -> bool:
    """Whether the name has one of the plain words for the joint."""
    text = f" {' '.join(parts(name))} "
    return any(f" {word} " in text for word in JOINT_WORDS.get(role, ()))
