"""A requirement sheet as data: per arm what it has to do, with the frames of a recording that show it.

Frames count from 0 in the recording that was studied; a span's first and last frame are both in it.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..proof.report.summary import TITLES

FORMAT = "armwright.sheet"
VERSION = 1

# What an arm can be asked for: design's requirements, which have a proof each.
REQUIREMENTS = tuple(TITLES)
# The ones that a figure belongs to: how far the arm reaches, over its length.
WITH_MOST = ("stretch",)
HOLDS = ("hand", "elbow")
HAND, THING = "hand", "thing"
KINDS = (HAND, THING)
TURNS = ("tilt", "side", "twist")

Frames = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Recording:
    """The recorded motion that a sheet was read from, and what of it a proof plays.

    Attributes:
        source, source_sha256: name and digest of the file that was studied.
        rate: its frames a second.
        frames: how many it has.
        torso: file with the torso's motion, relative to the sheet; `proof` plays it.
        torso_sha256: its digest; a file that has changed is refused.
        torso_first: the recording's frame that the file starts with.
    """

    source: str
    source_sha256: str
    rate: float
    frames: int
    torso: str
    torso_sha256: str
    torso_first: int = 0


@dataclass(frozen=True)
class TorsoRange:
    """How far the torso moves while the arms do what is asked of them.

    Attributes:
        tilt, side, twist: least and most, degrees: forward, to the side and about up, away from its slow heading.
        travel: furthest from its slow path, arm lengths.
    """

    tilt: tuple[float, float]
    side: tuple[float, float]
    twist: tuple[float, float]
    travel: float = 0.0


@dataclass(frozen=True)
class Need:
    """One requirement of an arm.

    Attributes:
        requirement: one of REQUIREMENTS.
        why: what in the recording asks for it, for people.
        frames: where that is to be seen.
        most: the furthest reach, over the arm's length, for what is in WITH_MOST; 0 for the others.
    """

    requirement: str
    why: str = ""
    frames: Frames = ()
    most: float = 0.0


@dataclass(frozen=True)
class Space:
    """Something that a hold is carried by.

    Attributes:
        hold: one of HOLDS.
        kind: HAND for another arm's hand, THING for anything else.
        on: the other arm's id, or the thing's name.
        why, frames: as in Need.
    """

    hold: str
    kind: str
    on: str
    why: str = ""
    frames: Frames = ()


@dataclass(frozen=True)
class Orders:
    """Rotation orders that suit the motion, by joint; "" where any does."""

    clavicle: str = ""
    upper_arm: str = ""
    forearm: str = ""
    hand: str = ""


@dataclass(frozen=True)
class ArmSheet:
    """What one arm has to do.

    Attributes:
        arm: its id.
        length: of the recorded arm, metres; 0 where none was recorded.
        needs: its requirements, each once.
        spaces: what its holds are carried by besides the world.
        orders: rotation orders that suit it.
    """

    arm: str
    length: float = 0.0
    needs: tuple[Need, ...] = ()
    spaces: tuple[Space, ...] = ()
    orders: Orders = Orders()

    def need(self, requirement: str) -> Need | None:
        """The line of a requirement; None where the arm does not need it."""
        return next((need for need in self.needs if need.requirement == requirement), None)


@dataclass(frozen=True)
class Sheet:
    """What a character's arms have to do.

    Attributes:
        name: of the character or of the motion.
        arms: every arm that something is said of.
        recording: the motion that it was read from; None for a sheet that was written by hand.
        torso: how the torso moves; None where nothing is said.
    """

    name: str
    arms: tuple[ArmSheet, ...] = ()
    recording: Recording | None = None
    torso: TorsoRange | None = None

    @property
    def empty(self) -> bool:
        """Whether it asks for nothing."""
        return not any(arm.needs or arm.spaces for arm in self.arms)
