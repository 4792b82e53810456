"""How thick a character's arms are, with their clothes: what controls are drawn around. From vertices alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..guide import ArmGuide, GirthGuide, Guide
from ..hand_frames import frame_along

Array = NDArray[np.float64]

# The part of a segment that is looked at, over its length: joints are thicker, or merge with the body.
MIDDLE = (0.3, 0.8)
SECTORS = 16
# A sector counts from so many of them on; the surface is looked for up to so many arm lengths from the bone.
FEWEST_SECTORS = 6
FARTHEST = 0.4
# In a sector, what lies outside the nearest surface by up to this factor is a layer of clothing; farther out is another
# limb. A sector that starts this many times farther out than the usual one does not see the arm.
LAYERS, AWAY = 1.8, 3.0
# Of the points, so that a buckle does not count: percent on either end.
SPARED = 3.0


def with_girth(guide: Guide, vertices: Array) -> Guide:
    """`guide` with the girth of every arm that has none and that `vertices`, (V, 3), armature space, tell it of."""
    arms = tuple(
        arm if arm.girth is not None else replace(arm, girth=girth_of(arm, np.asarray(vertices, float)))
        for arm in guide.arms
    )
    return replace(guide, arms=arms)


def girth_of(arm: ArmGuide, vertices: Array) -> GirthGuide | None:
    """The girth of `arm` in the surface whose points are `vertices`, (V, 3); None where it is not around the arm.

    About each bone's middle the points are sorted by direction; the surface is what lies nearest, with the layers just
    outside it, so that a torso beside the arm does not count.
    """
    shoulder, elbow, wrist, end = (np.array(joint) for joint in (arm.shoulder, arm.elbow, arm.wrist, arm.hand_end))
    length = float(np.linalg.norm(elbow - shoulder) + np.linalg.norm(wrist - elbow))
    upper = _around(vertices, shoulder, elbow, np.array(arm.palm), length)
    fore = _around(vertices, elbow, wrist, np.array(arm.palm), length)
    hand = _around(vertices, wrist, end, np.array(arm.palm), length)
    if upper is None or fore is None or hand is None:
        return None
    return GirthGuide(
        upper_arm=max(_extent(upper, 0), _extent(upper, 1)),
        forearm=max(_extent(fore, 0), _extent(fore, 1)),
        hand_width=_extent(hand, 0),
        hand_depth=_extent(hand, 1),
    )


def _around(vertices: Array, head: Array, tail: Array, palm: Array, length: float) -> Array | None:
    """Points (N, 2), across and out of the palm, of the surface about a bone's middle; None where there is none."""
    axis = tail - head
    hint = np.cross(axis, palm)
    if not np.linalg.norm(hint) > 1e-6 * np.linalg.norm(axis):
        return None
    local = (vertices - head) @ frame_along(head, tail, hint, "girth")[:3, :3]
    along = local[:, 1] / float(np.linalg.norm(axis))
    across = local[:, (0, 2)]
    radius = np.linalg.norm(across, axis=1)
    near = (along > MIDDLE[0]) & (along < MIDDLE[1]) & (radius < FARTHEST * length)
    across, radius = across[near], radius[near]
    sector = ((np.arctan2(across[:, 1], across[:, 0]) / (2.0 * np.pi) % 1.0) * SECTORS).astype(int) % SECTORS
    nearest = np.full(SECTORS, np.inf)
    np.minimum.at(nearest, sector, radius)
    seen = np.isfinite(nearest)
    if seen.sum() < FEWEST_SECTORS:
        return None
    nearest[nearest > AWAY * np.median(nearest[seen])] = 0.0
    return np.asarray(across[radius <= LAYERS * nearest[sector]])


def _extent(points: Array, axis: int) -> float:
    """Half of what `points` (N, 2) measure along an axis, metres."""
    low, high = np.percentile(points[:, axis], (SPARED, 100.0 - SPARED))
    return float(high - low) / 2.0
