"""Which limbs are arms: a pair, left and right, that is neither the legs nor the head."""

from __future__ import annotations

from itertools import product

import numpy as np

from ..errors import FitError
from .surface import Array, Net
from .walk import Body, Limb

# A hand is above this part of the height: arms that reach the floor are legs.
LOWEST_HAND = 0.12
# What stands on so many limbs is an animal: two legs and a tail are fewer.
FOUR_LEGS = 4
TWO_LEGS = 2
# Half a body is open along its middle: the rim there is longer than this part of its height.
RIM = 0.5
# A hand is this far from the middle, over the limb's length: less is a head or a tail.
LEAST_ASIDE = 0.15
# The shorter arm over the longer one; and how far a hand is from where the other's mirror image is, over its length.
LEAST_LIKENESS = 0.7
MOST_UNLIKE = 0.4
# An arm parts from the torso at this many of its mean radii from its tip, or more (a human one, from the middle of the
# upper arm: about 13).
LEAST_SLENDER = 3.5
# Length of the free part over the farthest way from the torso (a human one: above 0.5; an ear: below 0.3).
SHORTEST_ARM = 0.3


def arms_of(net: Net, body: Body) -> dict[str, Limb]:
    """The arms by side, left first; `net` has its axes to the left, to the back, and up.

    One alone only on a body that is whole and stands on two legs. Raises FitError with what was found instead.
    """
    ring = net.points[body.ring, 0]
    if not len(ring):
        raise FitError("the mesh has no torso between its limbs: check its unit, or place the joints by markers")
    middle = 0.5 * float(ring.min() + ring.max())
    low, high = float(net.points[:, 2].min()), float(net.points[:, 2].max())
    farthest = float(body.distance.max())
    floor = low + LOWEST_HAND * (high - low)
    standing = standing_limbs(net, body)
    if standing >= FOUR_LEGS:
        raise FitError(
            f"the mesh has no arms that can be told from legs, horns or ears: it stands on {standing} limbs; "
            "check the up direction, or place the joints by markers"
        )
    aside = [limb for limb in body.limbs if abs(_aside(net, limb, middle)) > LEAST_ASIDE * limb.length]
    raised = [limb for limb in aside if net.points[limb.tip, 2] > floor]
    arms = [
        limb
        for limb in raised
        # What meets nothing on its way to the torso's ring is the torso's own upper part.
        if limb.base > 0.0
        and limb.length > SHORTEST_ARM * farthest
        and limb.length > LEAST_SLENDER * _radius(net, limb)
    ]
    pairs = [
        (left, right)
        for left, right in product(arms, arms)
        if _aside(net, left, middle) > 0.0 > _aside(net, right, middle) and _alike(net, left, right, middle)
    ]
    if pairs:
        left, right = max(pairs, key=lambda pair: pair[0].length + pair[1].length)
        return {"L": left, "R": right}
    if len(arms) == 1 and standing == TWO_LEGS and not _is_half(net):
        return {"L" if _aside(net, arms[0], middle) > 0.0 else "R": arms[0]}
    raise FitError(_refusal(len(body.limbs), len(aside), len(raised), len(arms)))


def standing_limbs(net: Net, body: Body) -> int:
    """How many limbs reach down to the floor."""
    low, high = float(net.points[:, 2].min()), float(net.points[:, 2].max())
    return sum(bool(net.points[limb.tip, 2] <= low + LOWEST_HAND * (high - low)) for limb in body.limbs)


def _refusal(limbs: int, aside: int, raised: int, arms: int) -> str:
    advice = "check the up and front directions, or place the joints by markers"
    if aside and not raised:
        return f"the mesh has no arms: each of its {aside} limbs to the side reaches down to the floor; {advice}"
    if arms:
        found = "one arm-like limb" if arms == 1 else f"{arms} arm-like limbs, but no two of them a pair"
        return f"the mesh has {found}, and arms are read in pairs: mirror the mesh if it is half a body, or {advice}"
    return f"the mesh has no arms: of its {limbs} limbs none is long, slender and to a side; {advice}"


def _aside(net: Net, limb: Limb, middle: float) -> float:
    return float(net.points[limb.tip, 0]) - middle


def _radius(net: Net, limb: Limb) -> float:
    return float(net.areas[limb.patches].sum()) / (2.0 * np.pi * limb.length)


def _alike(net: Net, left: Limb, right: Limb, middle: float) -> bool:
    lengths = sorted((left.length, right.length))
    image: Array = net.points[right.tip] * [-1.0, 1.0, 1.0] + [2.0 * middle, 0.0, 0.0]
    gap = float(np.linalg.norm(net.points[left.tip] - image))
    return lengths[0] > LEAST_LIKENESS * lengths[1] and gap < MOST_UNLIKE * lengths[1]


def _is_half(net: Net) -> bool:
    """Whether the surface ends in a plane along the body's middle, as half of a mirrored mesh does."""
    sides = np.concatenate([net.triangles[:, [0, 1]], net.triangles[:, [1, 2]], net.triangles[:, [2, 0]]])
    edges, count = np.unique(np.sort(sides, axis=1), axis=0, return_counts=True)
    rim = net.vertices[edges[count == 1]]
    extent = np.ptp(net.vertices, axis=0)
    if len(rim) == 0:
        return False
    length = np.linalg.norm(rim[:, 0] - rim[:, 1], axis=1)
    low, high = float(net.vertices[:, 0].min()), float(net.vertices[:, 0].max())
    flat = [np.abs(rim[:, :, 0] - end).max(axis=1) < 0.02 * extent[2] for end in (low, high)]
    return max(float(length[side].sum()) for side in flat) > RIM * float(extent[2])
