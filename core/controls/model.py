"""What the page about a character's controls is made from: plain data, read from a plan or from the host."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Control:
    """A bone that the animator selects.

    Attributes:
        bone: its name.
        arm: the arm it belongs to ("L", "R", "lower.L", ...); "" for the body.
        role: the part that it plays (see `words.py`).
        lines: what is drawn, at rest: polylines (K, 3), armature space, metres.
        colour: red, green, blue, 0 to 1, as the host shows it; None where the host's theme decides.
    """

    bone: str
    arm: str
    role: str
    lines: tuple[Array, ...]
    colour: Colour | None = None


@dataclass(frozen=True)
class Dial:
    """A value that the animator sets, a custom property of `bone`."""

    bone: str
    key: str
    label: str
    low: float
    high: float
    default: float
    help: str
    angle: bool = False


@dataclass(frozen=True)
class ModeWords:
    """One of the things that an arm can hold: what the button says, and what it does."""

    label: str
    help: str


@dataclass(frozen=True)
class Limb:
    """A part of the body behind the controls: from `head` to `tail`, (3,), metres, as thick as `width`."""

    head: Array
    tail: Array
    width: float


@dataclass(frozen=True)
class Sheet:
    """Everything about one character.

    Attributes:
        name: the character's.
        controls: in the order in which they are to be told.
        dials: likewise.
        modes: what an arm can hold.
        limbs: the body, drawn behind the controls; less telling than `triangles`, for a character without a mesh.
        triangles: (T, 3, 3), the body's surface at rest, armature space; may be empty.
        facing: (3, 3), columns: the character's left, back and up.
        palms: for each arm with fingers, its hand's frame (4, 4): the hand is drawn from its back as well.
    """

    name: str
    controls: tuple[Control, ...]
    dials: tuple[Dial, ...]
    modes: tuple[ModeWords, ...]
    limbs: tuple[Limb, ...]
    triangles: Array
    facing: Array
    palms: tuple[tuple[str, Array], ...] = ()
