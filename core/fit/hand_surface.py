"""The surface of one hand as a net of its own, fine enough to tell fingers apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .surface import Array, Indices, Net, components, net_of
from .walk import Graph, Limb, limbs_of

# Patches that a hand's surface is divided into: a finger is then about six wide.
HAND_PATCHES = 5000
# The hand's surface begins this part of its length before the wrist, and ends this part beyond its end.
BEFORE, BEYOND = 0.08, 1.5
# What stands out of the palm by this part of the farthest way from the wrist is a part of its own: a little finger or a
# thumb does by 0.2 to 0.3, a closed little finger by half of that.
PART = 0.09
FEWEST_PATCHES = 60


@dataclass(frozen=True)
class HandSurface:
    """One hand.

    Attributes:
        net: its surface, from just before the wrist on.
        distance: over the surface from the wrist, (P,).
        parts: what stands out of it, longest first; one alone is the whole hand.
        wrist, end: joints, (3,).
        axis: unit, from wrist to end.
        length: between them.
        corners: vertices of the mesh itself in it.
    """

    net: Net
    distance: Array
    parts: tuple[Limb, ...]
    wrist: Array
    end: Array
    axis: Array
    length: float
    corners: int


def hand_surface(net: Net, limb: Limb, wrist: Array, end: Array) -> HandSurface | None:
    """The hand of the arm `limb`, between `wrist` and `end`; None where there is hardly any surface."""
    length = float(np.linalg.norm(end - wrist))
    axis = (end - wrist) / length
    own = np.zeros(len(net.points), bool)
    own[limb.patches] = True
    offset = net.points - wrist
    height = offset @ axis
    own &= (height > -BEFORE * length) & (np.linalg.norm(offset - 0.5 * length * axis, axis=1) < BEYOND * length)
    # Only what hangs together with the hand's end: a folded arm's upper arm may be as far along.
    own &= _hanging_together(net, own, end)
    triangles = net.triangles[own[net.patch[net.triangles]].all(axis=1)]
    if own.sum() < FEWEST_PATCHES // 6 or len(triangles) < FEWEST_PATCHES:
        return None
    fine = net_of(net.vertices, triangles, HAND_PATCHES)
    height = (fine.points - wrist) @ axis
    start = np.flatnonzero(height <= height.min() + max(2.0 * fine.width, 0.04 * length))
    graph = Graph(fine)
    distance = graph.distances(start.tolist())
    parts = limbs_of(graph, distance, PART * float(distance.max()))
    corners = int(np.count_nonzero(net.given[np.unique(triangles)]))
    return HandSurface(fine, distance, parts, wrist, end, axis, length, corners)


def _hanging_together(net: Net, own: Array, end: Array) -> Array:
    part: Indices = components(len(net.points), net.edges[own[net.edges].all(axis=1)])
    inside = np.flatnonzero(own)
    if len(inside) == 0:
        return own
    nearest = inside[np.linalg.norm(net.points[inside] - end, axis=1).argmin()]
    return np.asarray(part == part[nearest])
