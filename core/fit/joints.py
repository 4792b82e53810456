"""Joints of one arm from its centre line, its cross-sections, and the surface around its root."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..anatomy import FOREARM, HAND, SHOULDER_HALF_BREADTH, UPPER_ARM
from ..errors import FitError
from .line import Line, along_line, continued, directions_of, straight, whole_part
from .surface import Array, Net
from .walk import Limb

# Parts of the arm from shoulder to fingertips, over stature.
ARM = UPPER_ARM + FOREARM
WHOLE = ARM + HAND
# The wrist is sought where a hand is between these parts of the arm long (Winter's: 0.245).
SHORTEST_HAND, LONGEST_HAND = 0.12, 0.34
# A wrist's section is at least this thick for its breadth.
ROUND_WRIST = 0.6
# A shoulder is farther than this many radii of the arm from any surface, or one segment this many times as long as the
# other: that is no arm.
FARTHEST_INSIDE = 2.5
# Of the way from tip to shoulder, at least this much has to stand free; the elbow is at 0.58 (Winter).
LEAST_SEEN = 0.65
MOST_UNEVEN = 2.0
# A hand is this much broader than the wrist, or it is a stub.
HAND_OVER_WRIST = 1.2
# A bend below the first is noise of the line; below the second its side is plain, but not its place; above the third
# the corner gives the elbow's place.
LEAST_BEND, PLACED_BEND, PLAIN_BEND = math.radians(4.0), math.radians(10.0), math.radians(20.0)
# Elbow, over the way from wrist to shoulder, is sought between these; sections nearer to it than the gap are left out.
ELBOW_SEARCH = (0.25, 0.65)
ELBOW_GAP = 0.06
FEWEST_SECTIONS = 4
# The end of a hand is looked for from its part beyond this, which the thumb does not reach.
OUTER_HAND = 0.7
# The shoulder's outside is reached where it is nearer to the axis than this part of the arm's radius.
NEAR_OUTSIDE = 0.6
# Sines of the arm's slant between which the shoulder's outside begins to tell where the joint is: about 17, 30 degrees.
LEVEL, SLANTED = 0.3, 0.5
ROUNDS = 2


@dataclass(frozen=True)
class Read:
    """A joint: its place, confidence from 0 to 1, and whether it was read from the mesh or guessed by proportion."""

    point: Array
    confidence: float
    guessed: bool


@dataclass(frozen=True)
class ArmJoints:
    """The joints of one arm; `bend` is the unit direction of the elbow, None for a straight arm."""

    shoulder: Read
    elbow: Read
    wrist: Read
    hand_end: Read
    bend: Array | None


def joints_of(net: Net, limb: Limb, line: Line, middle: float) -> ArmJoints:
    """The joints of the arm `limb` with the centre line `line`.

    `net` has its axes to the left, to the back, and up; `middle` is the body's middle on the first. Raises FitError
    where what was found is no arm.
    """
    word = "left" if net.points[limb.tip, 0] > middle else "right"
    whole = whole_part(line)
    radius = float(np.median(0.5 * (whole.broad + whole.thin)[-5:]))
    carried = continued(net, line, whole, 0.6 * float(whole.along[-1]))
    length = _length_by_breadth(carried, middle)
    for _ in range(ROUNDS):
        wrist_at, flare = _narrowest(carried, length)
        between = _between(carried, wrist_at, length - 0.5 * radius)
        if len(between.along) < 2 * FEWEST_SECTIONS:
            raise _lost(word)
        corner, bend, upper = _corner(between, wrist_at, length)
        bent = bend >= PLACED_BEND
        wrist_point = along_line(carried, wrist_at)
        begin, share = (corner, UPPER_ARM) if bent else (wrist_point, ARM)
        shoulder = _shoulder(net, upper, begin, share, radius, middle)
        inner = float(np.linalg.norm(shoulder.point - corner)) if bent else 0.0
        if bent:
            length = float(_nearest_along(carried, corner)) + inner
        else:
            length = wrist_at + float(np.linalg.norm(shoulder.point - wrist_point))
    has_hand = flare > HAND_OVER_WRIST
    if has_hand:
        wrist = Read(wrist_point, min(0.9, 0.5 + (flare - HAND_OVER_WRIST)), False)
    elif bent:
        at = length - inner * ARM / UPPER_ARM
        wrist = Read(along_line(carried, max(SHORTEST_HAND * length, at)), 0.4, True)
    else:
        wrist = Read(along_line(carried, length * HAND / WHOLE), 0.3, True)
    end = _hand_end(net.points[limb.patches], wrist.point, net.points[limb.tip])
    elbow, side = _elbow(carried, corner, bend, shoulder.point, wrist.point)
    seen = float(carried.along[-1]) / length
    _check(word, net, shoulder.point, elbow.point, wrist.point, radius, seen)
    return ArmJoints(shoulder, elbow, wrist, Read(end, 0.9 if has_hand else 0.5, False), side)


def _check(word: str, net: Net, shoulder: Array, elbow: Array, wrist: Array, radius: float, seen: float) -> None:
    """Raises FitError where the joints do not make an arm inside the mesh, or too little of the upper arm was seen."""
    upper, fore = float(np.linalg.norm(elbow - shoulder)), float(np.linalg.norm(wrist - elbow))
    inside = float(np.linalg.norm(net.points - shoulder, axis=1).min()) < FARTHEST_INSIDE * radius
    if not (seen > LEAST_SEEN and inside and MOST_UNEVEN * upper > fore and MOST_UNEVEN * fore > upper):
        raise _lost(word)


def _lost(word: str) -> FitError:
    return FitError(
        f"the {word} arm was found, but not its shoulder and elbow: it may be joined to the body far below the "
        "armpit; open the arms from the body, or place the joints by markers"
    )


def _hand_end(points: Array, wrist: Array, tip: Array) -> Array:
    """The end of the middle of the hand: on the line from the wrist through the outer part of the hand, (3,).

    The patch farthest from the torso, `tip`, may be at a corner of the hand.
    """
    along = tip - wrist
    size = float(np.linalg.norm(along))
    hand = points[np.linalg.norm(points - 0.5 * (wrist + tip), axis=1) < 0.75 * size]
    along = along / size
    for _ in range(2):
        height = (hand - wrist) @ along
        outer = hand[(height > OUTER_HAND * height.max()) & (height > 0.0)]
        spread = outer - wrist
        across = spread - (spread @ along)[:, None] * along
        # The middle of the extent, not of the mass, which fingers or a thumb would pull.
        aim = along * float((spread @ along).mean()) + _middle_of_extent(across)
        along = aim / np.linalg.norm(aim)
    return np.asarray(wrist + along * float(((hand - wrist) @ along).max()))


def _middle_of_extent(across: Array) -> Array:
    """The middle between the extremes along the directions in which points spread most, (3,)."""
    mean = across.mean(axis=0)
    axes = np.linalg.svd(across - mean, full_matrices=False)[2][:2]
    sides = (across - mean) @ axes.T
    return np.asarray(mean + 0.5 * (sides.max(axis=0) + sides.min(axis=0)) @ axes)


def _elbow(line: Line, corner: Array, bend: float, shoulder: Array, wrist: Array) -> tuple[Read, Array | None]:
    """The elbow and the direction in which it points, None where the arm is straight."""
    across = wrist - shoulder
    by_proportion = shoulder + across * UPPER_ARM / ARM
    if bend < LEAST_BEND:
        return Read(by_proportion, 0.5, True), None
    if bend >= PLACED_BEND:
        plain = min(1.0, (bend - PLACED_BEND) / (PLAIN_BEND - PLACED_BEND))
        elbow = Read(corner, 0.6 + 0.3 * plain, False)
    else:
        elbow = Read(along_line(line, _nearest_along(line, by_proportion)), 0.5, True)
    side = elbow.point - shoulder
    side = side - across * float(side @ across / (across @ across))
    size = float(np.linalg.norm(side))
    return elbow, side / size if size > 1e-6 * float(np.linalg.norm(across)) else None


def _nearest_along(line: Line, point: Array) -> float:
    return float(line.along[np.linalg.norm(line.points - point, axis=1).argmin()])


def _length_by_breadth(line: Line, middle: float) -> float:
    """Length of the arm from the tip to where its distance from the body's middle is a shoulder's, by proportion."""
    breadth = np.abs(line.points[:, 0] - middle)
    reached = np.flatnonzero(
        (breadth <= line.along * SHOULDER_HALF_BREADTH / WHOLE) & (line.along > 0.4 * line.along[-1])
    )
    if len(reached):
        return float(line.along[reached[0]])
    # Straight on in the direction of the last sections.
    direction = directions_of(line.points)[-1]
    inward = -float(direction[0]) * (1.0 if line.points[-1, 0] > middle else -1.0)
    ratio = SHOULDER_HALF_BREADTH / WHOLE
    more = (float(breadth[-1]) - ratio * float(line.along[-1])) / max(ratio + inward, 0.5 * ratio)
    return float(line.along[-1]) + more


def _narrowest(line: Line, length: float) -> tuple[float, float]:
    """Where the line is narrowest near the hand, from the tip, and how much broader the hand is than that."""
    where = (line.along > SHORTEST_HAND * length) & (line.along < LONGEST_HAND * length)
    if np.count_nonzero(where) < 3:
        return HAND / WHOLE * length, 0.0
    smooth = np.convolve(np.pad(line.broad, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    # Fingers side by side can be narrower than a wrist, but they are flatter.
    where_round = where & (line.thin > ROUND_WRIST * line.broad)
    index = np.flatnonzero(where_round if where_round.any() else where)
    least = int(index[smooth[index].argmin()])
    flare = float(smooth[: least + 1].max() / max(smooth[least], 1e-30))
    return float(line.along[least]), flare


def _between(line: Line, first: float, last: float) -> Line:
    """The sections of the line beyond `first` and before `last`."""
    inside = (line.along > first) & (line.along < last) & (line.broad > 0.0)
    return Line(line.points[inside], line.along[inside], line.broad[inside], line.thin[inside])


def _corner(line: Line, wrist_at: float, length: float) -> tuple[Array, float, tuple[Array, Array]]:
    """The elbow as the corner of two straight lines, their angle, and the upper arm's (point, direction inwards).

    The two lines that fit best, over all places of the corner; sections near to the corner are left out, because they
    cut both segments.
    """
    points, along = line.points, line.along
    reach = length - wrist_at
    best: tuple[float, Array, float, tuple[Array, Array]] | None = None
    for share in np.linspace(*ELBOW_SEARCH, 41):
        where = wrist_at + share * reach
        fore, upper = points[along < where - ELBOW_GAP * reach], points[along > where + ELBOW_GAP * reach]
        if len(fore) < FEWEST_SECTIONS or len(upper) < FEWEST_SECTIONS:
            continue
        (a, u), (b, v) = straight(fore), straight(upper)
        rest = (_off(fore, a, u) + _off(upper, b, v)) / (len(fore) + len(upper))
        if best is None or rest < best[0]:
            best = rest, _meeting(a, u, b, v), math.acos(max(-1.0, min(1.0, float(u @ v)))), (b, v)
    if best is None:
        return points.mean(axis=0), 0.0, straight(points)
    _, corner, bend, upper_line = best
    return corner, bend, upper_line if bend >= LEAST_BEND else straight(points)


def _off(points: Array, at: Array, direction: Array) -> float:
    offset = points - at
    return float((offset**2).sum() - ((offset @ direction) ** 2).sum())


def _meeting(a: Array, u: Array, b: Array, v: Array) -> Array:
    """The middle of the nearest points of two lines; for parallel ones, the middle of `a` and `b`."""
    cosine = float(u @ v)
    room = 1.0 - cosine * cosine
    if room < 1e-9:
        return 0.5 * (a + b)
    gap = b - a
    first = (float(gap @ u) - cosine * float(gap @ v)) / room
    second = (cosine * float(gap @ u) - float(gap @ v)) / room
    return 0.5 * (a + first * u + b + second * v)


def _shoulder(net: Net, upper: tuple[Array, Array], begin: Array, share: float, radius: float, middle: float) -> Read:
    """The shoulder joint on the upper arm's axis `upper`, inwards from `begin`, an elbow or wrist.

    A slanted arm's axis runs up to the shoulder's outside: the joint is where the outside, going towards the neck,
    begins to come nearer. The axis of a level arm goes on into the torso: there the joint is where its distance from
    the body's middle has to the arm's part `share` (over stature) the proportion of the handbook.
    """
    at, axis = upper
    start = at + axis * float((begin - at) @ axis)
    aside = 1.0 if start[0] > middle else -1.0
    by_breadth = aside * (start[0] - middle) / (SHOULDER_HALF_BREADTH / share - aside * float(axis[0]))
    by_breadth = max(float(by_breadth), 2.0 * radius)
    slant = float(axis[2])
    weight = min(1.0, max(0.0, (slant - LEVEL) / (SLANTED - LEVEL)))
    found = _under_outside(net, start, axis, by_breadth, radius, aside) if weight > 0.0 else None
    if found is None:
        return Read(start + by_breadth * axis, 0.4, True)
    depth = weight * found + (1.0 - weight) * by_breadth
    unlike = abs(found - by_breadth) / by_breadth
    return Read(start + depth * axis, max(0.3, 0.4 + 0.5 * weight - unlike), weight < 0.5)


def _under_outside(net: Net, start: Array, axis: Array, usual: float, radius: float, aside: float) -> float | None:
    """Depth along the axis at which the surface above and outside begins to come nearer; None if it does not."""
    # What is below or on the torso's side does not count: the armpit, the ribs.
    outwards = np.array([0.3 * aside, 0.0, 1.0])
    usual_gap: float | None = None
    for depth in np.arange(0.6 * usual, 1.8 * usual, 0.2 * net.width):
        offset = net.points - (start + depth * axis)
        outside = offset[offset @ outwards > 0.0]
        gap = float(np.linalg.norm(outside, axis=1).min()) if len(outside) else 0.0
        if usual_gap is None:
            usual_gap = gap
        usual_gap = max(usual_gap, min(gap, 1.1 * usual_gap))
        if gap <= NEAR_OUTSIDE * usual_gap:
            return float(depth - (usual_gap - gap) / axis[2])
    return None
