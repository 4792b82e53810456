"""The tree of the joints that carry skin, without the working bones in between (pure: from rest geometry).

In a rig the bones that carry skin hang on working bones; what is handed over has none of those. A bone of an arm goes
on where another one ends (upper arm after clavicle, a finger's second bone after its first), so its parent is the bone
whose rest tail is at its rest head. Where nothing ends there (a clavicle, a finger's root), and for the character's
other bones, the parent is the nearest ancestor in the rig that carries skin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Head and tail of neighbours are the same point up to this part of the longer bone: the host's single precision, with
# room for heads that are a metre and more from the origin.
TOUCH = 1e-3


@dataclass(frozen=True)
class SkinBone:
    """A bone that carries skin.

    Attributes:
        name: unique.
        ancestors: the rig's parents of the bone, nearest first, whether they carry skin or not.
        head, tail: (3,), at rest, armature space.
        of_arm: whether it is part of the arms that were built.
    """

    name: str
    ancestors: tuple[str, ...]
    head: Array
    tail: Array
    of_arm: bool


def skin_parents(bones: Sequence[SkinBone]) -> dict[str, str]:
    """The parent of every bone among `bones`, "" for none, parents before children and otherwise in the order given."""
    known = {bone.name for bone in bones}
    parents: dict[str, str] = {}
    for bone in bones:
        above = next((name for name in bone.ancestors if name in known), "")
        before = _before(bone, bones) if bone.of_arm else ""
        parents[bone.name] = before or above
    for bone in bones:
        # Bones that touch in a ring go on from each other; one of them has to hang where the rig has it.
        if _is_ring(bone.name, parents):
            parents[bone.name] = next((name for name in bone.ancestors if name in known), "")
    return _sorted(bones, parents)


def _before(bone: SkinBone, bones: Sequence[SkinBone]) -> str:
    """The arm's bone whose tail is at the head of `bone`: the one most in line with it, if there are several."""
    found = []
    for place, other in enumerate(bones):
        length = max(_length(bone), _length(other))
        if other.name == bone.name or not other.of_arm or np.linalg.norm(other.tail - bone.head) > TOUCH * length:
            continue
        along = float((bone.tail - bone.head) @ (other.tail - other.head)) / max(_length(bone) * _length(other), 1e-30)
        found.append((-round(along, 6), place, other.name))
    return min(found)[2] if found else ""


def _length(bone: SkinBone) -> float:
    return float(np.linalg.norm(bone.tail - bone.head))


def _is_ring(name: str, parents: dict[str, str]) -> bool:
    seen, at = {name}, parents[name]
    while at:
        if at == name:
            return True
        if at in seen:
            return False
        seen.add(at)
        at = parents[at]
    return False


def _sorted(bones: Sequence[SkinBone], parents: dict[str, str]) -> dict[str, str]:
    out: dict[str, str] = {}

    def add(name: str) -> None:
        if name in out:
            return
        if parents[name]:
            add(parents[name])
        out[name] = parents[name]

    for bone in bones:
        add(bone.name)
    return out
