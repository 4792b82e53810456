"""Which arms are a pair, which of them is the left one, and what to call them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..guide import SIDES, Vec3
from .limbs import Limb, dot, minus
from .name_pairs import known_sides, side_in, side_pair

# Mirrored points may be so far apart, as a part of the arm's length.
MIRRORED = 0.05
# An elbow that is off the line from shoulder to wrist points back, if nearly so (trade fact: arms are modelled so).
POINTS_BACK = 0.5
DEFAULT_FRONTS: dict[Vec3, Vec3] = {
    (0.0, 0.0, 1.0): (0.0, -1.0, 0.0),
    (0.0, 0.0, -1.0): (0.0, 1.0, 0.0),
    (0.0, 1.0, 0.0): (0.0, 0.0, 1.0),
    (0.0, -1.0, 0.0): (0.0, 0.0, -1.0),
}


@dataclass(frozen=True)
class Row:
    """Arms at one height: the left one and the right one; None where there is none. `mirrored`: they are a pair."""

    left: Limb | None
    right: Limb | None
    mirrored: bool


def front_of(limbs: Sequence[Limb], up: Vec3) -> tuple[Vec3, float, str]:
    """Where the character looks, how sure that is, and why. At +X is the left where this is the default."""
    default = DEFAULT_FRONTS[up]
    turned: Vec3 = (-default[0], -default[1], -default[2])
    votes = [side_in(name) == ("L" if limb.points[2][0] > 0.0 else "R") for limb in limbs
             for name in limb.bones if side_in(name)]  # fmt: skip
    if votes and (all(votes) or not any(votes)):
        return (default if votes[0] else turned), 0.9, "the names say left and right"
    back = 0.0
    for limb in limbs:
        shoulder, elbow, wrist = limb.points
        line = minus(wrist, shoulder)
        size = dot(line, line)
        share = dot(minus(elbow, shoulder), line) / size if size > 0.0 else 0.0
        off = minus(minus(elbow, shoulder), (share * line[0], share * line[1], share * line[2]))
        depth = -dot(off, default)
        if math.hypot(*off) > 0.01 * limb.length and abs(depth) > POINTS_BACK * math.hypot(*off):
            back += math.copysign(1.0, depth)
    if back:
        return (default if back > 0.0 else turned), 0.75, "the elbows point back"
    return default, 0.5, "by habit: nothing says it"


def is_left(limb: Limb, up: Vec3, front: Vec3) -> bool:
    """Whether the arm is on the character's left, which is at up × front."""
    left = up[1] * front[2] - up[2] * front[1]
    return limb.points[2][0] * left > 0.0


def rows_of(limbs: Sequence[Limb], up: Vec3, front: Vec3) -> tuple[Row, ...]:
    """The arms by pairs, the highest first."""

    def height(limb: Limb) -> float:
        return dot(limb.points[0], up)

    ordered = sorted(limbs, key=lambda limb: (-height(limb), limb.bones))
    lefts = [limb for limb in ordered if is_left(limb, up, front)]
    rights = [limb for limb in ordered if not is_left(limb, up, front)]
    rows: list[Row] = []
    for left in tuple(lefts):
        other = min(rights, key=lambda right: _apart(left, right), default=None)
        if other is not None and _apart(left, other) <= MIRRORED * left.length:
            rows.append(Row(left, other, True))
            lefts.remove(left)
            rights.remove(other)
    for at in range(max(len(lefts), len(rights))):
        rows.append(Row(lefts[at] if at < len(lefts) else None, rights[at] if at < len(rights) else None, False))
    return tuple(sorted(rows, key=lambda row: -max(height(limb) for limb in (row.left, row.right) if limb)))


def ids_of(rows: Sequence[Row]) -> tuple[tuple[str, str], ...]:
    """Ids of the left and the right arm of each row."""
    words = {1: ("",), 2: ("upper", "lower"), 3: ("upper", "middle", "lower")}
    names = words.get(len(rows), tuple(f"pair_{number}" for number in range(1, len(rows) + 1)))
    return tuple((f"{name}.{SIDES[0]}", f"{name}.{SIDES[1]}") if name else SIDES for name in names)


def names_pair_up(one: Sequence[str], other: Sequence[str]) -> str:
    """What says that the bones are named as a pair, in the same way each; "" where they are not."""
    found = {side_pair(a, b) for a, b in zip(one, other, strict=True)}
    pair = found.pop() if len(found) == 1 else None
    if pair is None:
        return ""
    known = known_sides(pair) is not None
    return f"the names differ by {pair[0]} and {pair[1]}" + ("" if known else ", on every bone alike")


def _apart(left: Limb, right: Limb) -> float:
    """How far the one arm's mirror image is from the other, at the joint where it is furthest."""
    return max(math.dist((-a[0], a[1], a[2]), b) for a, b in zip(left.points, right.points, strict=True))
