"""Which part of an arm takes over the weights of which vertex group: guessed from old bones, or given as JSON."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .. import codec
from ..errors import BindError, shown
from .shares import TINY

Array = NDArray[np.float64]

# An old bone is an arm's segment, or lies along one, where it is about parallel to it, near it, and mostly beside it.
# Degrees; distance over the segment's length; part of the old bone.
MOST_ANGLE = 30.0
MOST_DISTANCE = 0.2
LEAST_BESIDE = 0.5
# Clavicles and hands are built in many lengths: only the joint that they share with the arm has to be near, as a part
# of their own length, and the direction may differ by more. Degrees.
JOINT_ANGLE = 50.0
JOINT_DISTANCE = 0.35


@dataclass(frozen=True)
class Stretch:
    """A straight part of a skeleton at rest: `head` and `tail`, (3,), in one space for all.

    `joint` says which end of an arm's part is its joint with the segments: "tail" for a clavicle, "head" for a hand;
    "" for a segment.
    """

    head: Array
    tail: Array
    joint: str = ""

    @property
    def length(self) -> float:
        """From head to tail, in their unit."""
        return float(np.linalg.norm(self.tail - self.head))


def guess_mapping(old: Mapping[str, Stretch], parts: Mapping[str, Stretch]) -> dict[str, str]:
    """The part of `parts` that each of the `old` bones lies along; those that lie along none are left out.

    Several old bones may lie along one segment, as the twist bones of another rig do.
    """
    out: dict[str, str] = {}
    for name, bone in old.items():
        scores = {part: _score(bone, place) for part, place in parts.items()}
        best = min(scores, key=lambda part: scores[part], default=None)
        if best is not None and np.isfinite(scores[best]):
            out[name] = best
    return out


def read_mapping(path: Path) -> dict[str, str]:
    """The mapping in a JSON file; raises BindError as `parse_mapping` does, or if the file can not be read."""
    return parse_mapping(codec.read_bytes(path, "mapping", BindError))


def parse_mapping(text: str | bytes) -> dict[str, str]:
    """The mapping in a JSON text: an object whose keys are vertex groups and whose values are parts or bones.

    Raises BindError with what is wrong.
    """
    data = codec.parse(text, "mapping", BindError)
    twice = getattr(data, "twice", None)
    if twice is not None:
        raise BindError(f"the vertex group {shown(twice)} is mapped twice: keep one of them")
    for old, part in data.items():
        if not isinstance(part, str):
            raise BindError(
                f"the mapping of {shown(old)} is {shown(part)}: give the name of a part or a bone, in quotes"
            )
    return dict(data)


def check_mapping(mapping: Mapping[str, str], groups: Collection[str], targets: Collection[str]) -> None:
    """Refuse, with BindError, a mapping that is empty, from a group that is not there, or to what is not there."""
    if not mapping:
        raise BindError(
            "no vertex group belongs to a bone that lies along an arm: say which group goes where in a mapping, "
            'such as {"old_upper_arm": "upper_arm.L"}'
        )
    for old, part in mapping.items():
        if old not in groups:
            raise BindError(f"no mesh has a vertex group named {shown(old)}; there is: {_some(groups)}")
        if part not in targets:
            raise BindError(
                f"{shown(old)} is mapped to {shown(part)}, which is no part of an arm; there is: {_some(targets)}"
            )


def _some(names: Collection[str]) -> str:
    known = sorted(names)[:16]
    return (", ".join(known) or "none") + (", …" if len(names) > len(known) else "")


def _score(bone: Stretch, part: Stretch) -> float:
    """How badly an old bone fits a part, 0 for the same place; infinity if it is none of it."""
    angle = math.degrees(math.acos(min(max(float(_direction(bone) @ _direction(part)), -1.0), 1.0)))
    if part.joint:
        ends = (bone.tail, part.tail) if part.joint == "tail" else (bone.head, part.head)
        gap = float(np.linalg.norm(ends[0] - ends[1])) / max(part.length, TINY)
        return gap + angle / 90.0 if angle <= JOINT_ANGLE and gap <= JOINT_DISTANCE else math.inf
    axis = _direction(part)
    points = np.stack([bone.head, bone.tail]) - part.head
    place = points @ axis
    aside = float(np.linalg.norm(points - place[:, None] * axis, axis=1).max()) / max(part.length, TINY)
    low, high = np.clip(np.sort(place), 0.0, part.length)
    beside = float(high - low) / max(abs(float(place[1] - place[0])), TINY)
    if angle > MOST_ANGLE or aside > MOST_DISTANCE or beside < LEAST_BESIDE:
        return math.inf
    return aside + (1.0 - beside) + angle / 90.0


def _direction(part: Stretch) -> Array:
    return np.asarray((part.tail - part.head) / max(part.length, TINY))
