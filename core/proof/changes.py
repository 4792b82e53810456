"""Which changes of what an arm holds a proof makes, in walks that make each of them once."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from ..motion.clip import Clip, make_clip
from ..motion.sweeps import SHORTEST_SWEEP, fk_sweep
from .cases import CORNERS, MODES, Case

Array = NDArray[np.float64]
Node = TypeVar("Node", bound=Hashable)

DIALS = ("isolate", "lift", "stretch")
# The modes in which a hold is obeyed, and with it what carries it.
OBEYED = {"hand": ("hand", "both"), "elbow": ("elbow", "both")}
# Poses in the middle of a motion.
POSES = 3
# Multiples of the golden ratio's fraction fill a circle evenly and never meet.
GOLDEN = 0.6180339887498949


@dataclass(frozen=True)
class DialChange:
    """Another mode, or one of the dials turned on or off.

    Attributes:
        before, after: corners of the matrix that differ in the mode or in one dial.
    """

    before: Case
    after: Case

    @property
    def kind(self) -> str:
        """What changes."""
        return "mode" if self.after.mode != self.before.mode else "dial"

    @property
    def way(self) -> str:
        """What it becomes: "to-hand", "isolate-on"."""
        if self.kind == "mode":
            return f"to-{self.after.mode}"
        dial = next(dial for dial in DIALS if getattr(self.after, dial) != getattr(self.before, dial))
        return f"{dial}-{'on' if getattr(self.after, dial) else 'off'}"


@dataclass(frozen=True)
class SpaceChange:
    """Another thing that carries a hold.

    Attributes:
        case: the mode, which obeys the hold, and the dials.
        hold: "hand" or "elbow".
        before, after: what carries it.
    """

    case: Case
    hold: str
    before: str
    after: str

    @property
    def kind(self) -> str:
        """What changes."""
        return f"{self.hold}-space"

    @property
    def way(self) -> str:
        """From and to: "world-to-torso"."""
        return f"{self.before}-to-{self.after}"


def circuit(start: Node, leads_to: Callable[[Node], Sequence[Node]]) -> tuple[Node, ...]:
    """A closed walk from `start` that takes each directed edge of a graph exactly once.

    Args:
        leads_to: the nodes that the edges of a node end at; the graph has to be connected, with as many edges into
            each node as out of it.

    Source: Hierholzer 1873, Mathematische Annalen 6:30. Raises ProofError for a graph without such a walk.
    """
    left: dict[Node, list[Node]] = {}
    edges = 0
    waiting = [start]
    while waiting:
        node = waiting.pop()
        if node not in left:
            left[node] = list(leads_to(node))
            edges += len(left[node])
            waiting += left[node]
    path, out = [start], []
    while path:
        ahead = left[path[-1]]
        if ahead:
            path.append(ahead.pop())
        else:
            out.append(path.pop())
    if len(out) != edges + 1 or out[0] != start:
        raise ProofError(f"no walk from {start} takes each change once: some can not be taken back")
    return tuple(reversed(out))


def dial_walk() -> tuple[DialChange, ...]:
    """Every change of the mode and of a dial, from each of the 32 corners, in one walk from the free arm and back."""
    walk = circuit(CORNERS[0], _neighbours)
    return tuple(DialChange(before, after) for before, after in pairwise(walk))


def space_walk(case: Case, hold: str, spaces: Sequence[str]) -> tuple[SpaceChange, ...]:
    """Every ordered pair of `spaces`, in one walk from the first and back to it; none for a single space."""
    walk = circuit(spaces[0], lambda here: [space for space in spaces if space != here])
    return tuple(SpaceChange(case, hold, before, after) for before, after in pairwise(walk))


def _neighbours(case: Case) -> list[Case]:
    modes = [replace(case, mode=mode) for mode in MODES if mode != case.mode]
    flips = [replace(case, **{dial: 1.0 - getattr(case, dial)}) for dial in DIALS]
    return modes + flips


def plant_dials(poses: int) -> tuple[tuple[str, Array], ...]:
    """Dials of a planted hand in each of the `poses`, spread over their ranges: a change leaves them as they are."""
    half = np.pi / 2.0
    ranges = {"hand_roll": (-half, np.pi), "hand_side": (-half, half), "hand_spin": (-np.pi, np.pi)}
    dials = [
        (name, low + (high - low) * ((GOLDEN * (np.arange(1, poses + 1) + place / 2.0)) % 1.0))
        for place, (name, (low, high)) in enumerate(ranges.items())
    ]
    return (*dials, ("finger_bend", np.full(poses, np.pi / 4.0)))


def mid_motion(clip: Clip, poses: int = POSES) -> Clip:
    """Poses in the middle of `clip`, and named for it: its torso and clavicle, with the arms of an FK sweep.

    The poses are spread over it unevenly, so that a motion's own period does not bring them together.
    """
    swung = fk_sweep(max(clip.frames, SHORTEST_SWEEP))
    shares = (GOLDEN * np.arange(1, poses + 1)) % 1.0
    torso, arms = ((shares * count).astype(int) for count in (clip.frames, swung.frames))
    return make_clip(
        clip.name,
        poses,
        torso=clip.torso[torso],
        travel=clip.travel[torso],
        clavicle=clip.clavicle[torso],
        upper_arm=swung.upper_arm[arms],
        forearm=swung.forearm[arms],
        hand_channels=swung.hand_channels[arms],
    )
