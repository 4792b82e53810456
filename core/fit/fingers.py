"""Fingers of one hand: which parts of its surface are fingers, which is the thumb, their names and their joints."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..hand_proportions import THUMB
from .finger_joints import Chain, finger_chain, thumb_chain
from .hand_surface import HandSurface
from .line import Line, centre_line
from .surface import Array
from .walk import Limb

# A finger is longer than this many of its breadths, and so thick for its breadth: less are two that touch, or a mitten.
LEAST_SLENDER = 1.15
LEAST_ROUND = 0.62
# A finger is narrower than this part of the hand's length.
BROADEST = 0.21
# The thumb leaves the hand nearer to the wrist than every finger by this part of the hand's length.
EARLIER = 0.1
# A thumb bent by less than this says nothing about where it closes to.
PLAIN_THUMB = math.radians(25.0)
# Fingers that close by this tell the palm from the back.
LEAST_CLOSING = math.radians(8.0)
# A knuckle is in the middle of the skin within this of it, over the hand's length.
AROUND_KNUCKLE, DEEPEST = 0.06, 0.25
MOST_FINGERS = 12
# A part that stands out by less of the farthest way, and is no finger, is a bump.
PLAIN_PART = 0.13
# Fingers that stand free for less than this many of their breadths touch each other, as do those of which one is this
# many times as broad as another.
APART, UNEVEN = 1.75, 1.7
NAMES = ("index", "middle", "ring", "little")


@dataclass(frozen=True)
class FingerRead:
    """A finger: its name, its joints, where it closes to, whether it is the thumb, and its free part of the surface."""

    name: str
    chain: Chain
    curl: Array
    curl_guessed: bool
    thumb: bool
    part: Limb


@dataclass(frozen=True)
class HandRead:
    """The fingers of a hand from the thumb's side; the palm's direction by them, None where they don't tell.

    `signed`: whether thumb or bends told the palm from the back. `note` says what is wrong, "" if nothing.
    """

    fingers: tuple[FingerRead, ...]
    palm: Array | None
    note: str
    signed: bool = False


def fingers_of(hand: HandSurface, left: bool, palm: Array) -> HandRead:
    """The fingers of `hand`; `palm` is the palm's direction so far, unit, whose sign may be wrong."""
    sections = [(part, centre_line(hand.net, part, hand.distance)) for part in hand.parts if part.base > 0.0]
    plain = [(part, line) for part, line in sections if _is_finger(hand, part, line)]
    roots = np.array([line.points[-1] for _, line in plain]).reshape(-1, 3) - hand.wrist
    thumb = _thumb(hand, roots) if len(plain) > 1 else None
    others = [index for index in range(len(plain)) if index != thumb]
    note = _no_hand(hand, sections, [plain[index] for index in others])
    if note:
        return HandRead((), None, note)
    across = _across(hand, roots[others], palm)
    chains = {index: finger_chain(plain[index][1], _skin(hand, plain[index][0]), hand.wrist) for index in others}
    to_thumb = None if thumb is None else roots[thumb] - roots[others].mean(axis=0)
    direction, signed = _palm(hand, across, palm, to_thumb, left, list(chains.values()))
    # Fingers x thumb points out of a left palm, and into a right one.
    aside = np.cross(direction, hand.axis) * (1.0 if left else -1.0)
    others.sort(key=lambda index: -float(roots[index] @ aside))
    found = []
    if thumb is not None:
        root = hand.wrist + hand.length * (THUMB[0] * aside + THUMB[1] * hand.axis)
        part, line = plain[thumb]
        chain = thumb_chain(line, _skin(hand, part), root)
        # A thumb closes across the palm: towards the other side and the palm alike.
        found.append(_read("thumb", chain, direction - aside, direction, part))
    for number, index in enumerate(others):
        name = NAMES[number] if len(others) == len(NAMES) else f"finger_{number + 1}"
        found.append(_read(name, _in_the_palm(hand, chains[index], direction), direction, direction, plain[index][0]))
    return HandRead(tuple(found), direction, "", signed)


def _no_hand(hand: HandSurface, sections: list[tuple[Limb, Line]], fingers: list[tuple[Limb, Line]]) -> str:
    """Why what stands out of the hand are not its fingers, "" where they are; `fingers` are those without a thumb."""
    if not sections:
        return "has no fingers that stand apart from each other: a mitten, a hoof, or a fist"
    if len(fingers) > MOST_FINGERS:
        return f"has {len(fingers)} parts that stand out like fingers, more than a hand has"
    large = PLAIN_PART * float(hand.distance.max())
    broad = sum(part.length > large and not _is_finger(hand, part, line) for part, line in sections)
    if len(fingers) < 2 and broad <= 1:
        return "is a mitten: what stands out of it are not fingers"
    slender = [part.length / (2.0 * _breadth(line)[0]) for part, line in fingers]
    breadths = [_breadth(line)[0] for _, line in fingers]
    if broad or len(fingers) < 2 or np.median(slender) < APART or max(breadths) > UNEVEN * min(breadths):
        return "has fingers that touch each other, which can not be told apart: spread them, or place them by markers"
    return ""


def _read(name: str, chain: Chain, usual: Array, palm: Array, part: Limb) -> FingerRead:
    thumb = name == "thumb"
    curl, plain = usual / np.linalg.norm(usual), False
    # A finger that seems to bend backwards is straight, and its line is noise; a thumb's is drawn aside by its ball.
    if chain.curl is not None and min(float(chain.curl @ usual), float(chain.curl @ palm)) > 0.0:
        plain = not thumb or chain.bend > PLAIN_THUMB
        curl = chain.curl if plain else curl
    return FingerRead(name, chain, np.asarray(curl), not plain, thumb, part)


def _in_the_palm(hand: HandSurface, chain: Chain, palm: Array) -> Chain:
    """The chain with its knuckle, which was put straight on from the finger, in the middle of the palm's thickness."""
    offset = hand.net.vertices - chain.joints[0]
    depth = offset @ palm
    aside = np.linalg.norm(offset - depth[:, None] * palm, axis=1)
    near = depth[(aside < AROUND_KNUCKLE * hand.length) & (np.abs(depth) < DEEPEST * hand.length)]
    if len(near) < 4:
        return chain
    joints = chain.joints.copy()
    joints[0] = joints[0] + palm * 0.5 * float(near.min() + near.max())
    return replace(chain, joints=joints)


def _is_finger(hand: HandSurface, part: Limb, line: Line) -> bool:
    broad, thin = _breadth(line)
    return (
        part.length > LEAST_SLENDER * 2.0 * broad
        and thin > LEAST_ROUND * broad
        and 2.0 * broad < BROADEST * hand.length
    )


def _breadth(line: Line) -> tuple[float, float]:
    """Half the larger and half the smaller breadth in the middle of a part."""
    middle = (line.along > 0.25 * line.along[-1]) & (line.along < 0.8 * line.along[-1])
    if not middle.any():
        middle = np.ones(len(line.along), bool)
    return max(float(np.median(line.broad[middle])), 1e-9), float(np.median(line.thin[middle]))


def _skin(hand: HandSurface, part: Limb) -> Array:
    """The finger's own vertices: its tip is between patches' centres."""
    own = np.zeros(len(hand.net.points), bool)
    own[part.patches] = True
    return np.asarray(hand.net.vertices[own[hand.net.patch]])


def _thumb(hand: HandSurface, roots: Array) -> int | None:
    """Which part is the thumb: it leaves the hand earlier than the others, and to a side of them."""
    height = roots @ hand.axis
    order = np.argsort(height)
    if height[order[1]] - height[order[0]] < EARLIER * hand.length:
        return None
    first, others = int(order[0]), order[1:]
    if len(others) >= 2:
        across = _spread(hand, roots[others])
        side = roots @ across
        if side[others].min() < side[first] < side[others].max():
            return None
    return first


def _spread(hand: HandSurface, roots: Array) -> Array:
    """The direction at a right angle to the hand in which roots of fingers lie side by side, unit."""
    flat = roots - np.outer(roots @ hand.axis, hand.axis)
    across = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2][0]
    across = across - hand.axis * float(across @ hand.axis)
    return np.asarray(across / np.linalg.norm(across))


def _across(hand: HandSurface, roots: Array, palm: Array) -> Array:
    """Across the palm: along the row of knuckles where there are enough of them, otherwise by the palm's direction."""
    return _spread(hand, roots) if len(roots) >= 3 else np.asarray(np.cross(palm, hand.axis))


def _palm(
    hand: HandSurface, across: Array, palm: Array, to_thumb: Array | None, left: bool, chains: list[Chain]
) -> tuple[Array, bool]:
    """Out of the palm: at right angles to hand and knuckles; and whether the hand told its sign.

    The thumb tells it, or fingers that close; otherwise it is that of `palm`.
    """
    direction = np.cross(hand.axis, across)
    direction = direction / np.linalg.norm(direction)
    if to_thumb is not None:
        aside = float(to_thumb @ across) * (1.0 if left else -1.0)
        return np.asarray(direction if aside > 0.0 else -direction), True
    # The middle one of them all: a short finger's bend may be off.
    closing = float(np.median([0.0 if chain.curl is None else chain.bend * float(chain.curl @ direction)
                               for chain in chains]))  # fmt: skip
    signed = abs(closing) > LEAST_CLOSING
    towards = closing if signed else float(direction @ palm)
    return np.asarray(direction if towards > 0.0 else -direction), signed
