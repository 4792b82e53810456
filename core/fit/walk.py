"""Ways along the net: distances over the surface, and the limbs that stand out from the torso by them."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .surface import Array, Indices, Net, components

# The ends of limbs that the middle of the body is sought between: hands, feet, head, and one to spare.
ENDS = 6
# A limb stands out by this part of the farthest distance: more than a finger (0.06 of the stature of about 0.6, for a
# farthest point at a hand or foot), less than a head (0.18).
STANDS_OUT = 0.13
# Where its girth is this many times that of the bands before, in all bands after, a limb has opened into the torso; an
# elbow takes fewer bands.
OPENS = 1.5
BEFORE, AFTER = 6, 10


@dataclass(frozen=True)
class Limb:
    """A part of the surface that stands out from the torso.

    Attributes:
        tip: its farthest patch.
        patches: its patches, those farther than `base`.
        base: distance from the torso's ring at which it parts from the rest.
        length: distance of its tip beyond `base`.
    """

    tip: int
    patches: Indices
    base: float
    length: float


@dataclass(frozen=True)
class Body:
    """Distances and limbs.

    Attributes:
        ring: patches of the torso's ring that distances count from.
        distance: over the surface, (P,).
        limbs: longest first.
    """

    ring: Indices
    distance: Array
    limbs: tuple[Limb, ...]


class Graph:
    """Neighbours and edge lengths as lists, which the walk reads fastest."""

    def __init__(self, net: Net) -> None:
        both = np.concatenate([net.edges, net.edges[:, ::-1]])
        both = both[np.argsort(both[:, 0], kind="stable")]
        lengths = np.linalg.norm(net.points[both[:, 0]] - net.points[both[:, 1]], axis=1)
        starts = np.searchsorted(both[:, 0], np.arange(len(net.points) + 1)).tolist()
        ends, sizes = both[:, 1].tolist(), lengths.tolist()
        self.near = [list(zip(ends[a:b], sizes[a:b], strict=True)) for a, b in pairwise(starts)]

    def distances(self, sources: list[int]) -> Array:
        """Shortest way over the edges from any of `sources`, (P,) (Dijkstra)."""
        far = float("inf")
        best = [far] * len(self.near)
        heap = [(0.0, source) for source in sources]
        for source in sources:
            best[source] = 0.0
        while heap:
            reached, node = heapq.heappop(heap)
            if reached > best[node]:
                continue
            for other, size in self.near[node]:
                beyond = reached + size
                if beyond < best[other]:
                    best[other] = beyond
                    heapq.heappush(heap, (beyond, other))
        return np.array(best)


def body_of(net: Net) -> Body:
    """Distances from the torso and the limbs; `net` has its third axis up."""
    graph = Graph(net)
    ring = _torso_ring(net, graph)
    distance = graph.distances(ring.tolist())
    return Body(ring, distance, limbs_of(graph, distance, STANDS_OUT * float(distance.max())))


def _torso_ring(net: Net, graph: Graph) -> Indices:
    """Patches at the height of the middle between the ends of the limbs, around the torso."""
    ends = [int(graph.distances([0]).argmax())]
    apart = graph.distances(ends[:1])
    farthest = apart.copy()
    for _ in range(ENDS - 1):
        ends.append(int(apart.argmax()))
        found = graph.distances(ends[-1:])
        farthest = np.maximum(farthest, found)
        apart = np.minimum(apart, found)
    centre = int(farthest.argmin())
    level = np.abs(net.points[:, 2] - net.points[centre, 2]) < net.width
    part = components(len(net.points), net.edges[level[net.edges].all(axis=1)])
    return np.flatnonzero(level & (part == part[centre]))


def limbs_of(graph: Graph, distance: Array, least: float) -> tuple[Limb, ...]:
    """Limbs: what is farther than a level parts into pieces; a piece that stands out by `least` when it meets another.

    Patches are taken from the farthest inwards; where two pieces meet, those that stand out are limbs, and what they
    become together is the body. A piece that hardly stands out, such as a finger, goes into the one that it meets.
    """
    owner = [-1] * len(distance)
    tips: list[int] = []
    members: list[list[int]] = []
    is_body: list[bool] = []
    limbs: list[Limb] = []

    def end(piece: int, level: float) -> None:
        if not is_body[piece] and distance[tips[piece]] - level >= least:
            length = float(distance[tips[piece]]) - level
            limbs.append(Limb(tips[piece], np.array(members[piece]), level, length))
            is_body[piece] = True

    for node in np.argsort(-distance, kind="stable").tolist():
        level = float(distance[node])
        pieces = sorted({owner[other] for other, _ in graph.near[node]} - {-1})
        if not pieces:
            owner[node] = len(tips)
            tips.append(node)
            members.append([node])
            is_body.append(False)
            continue
        large = [p for p in pieces if is_body[p] or distance[tips[p]] - level >= least]
        if len(large) > 1:
            for piece in large:
                end(piece, level)
        keep = max(pieces, key=lambda p: len(members[p]))
        tip = max((tips[p] for p in pieces), key=lambda t: float(distance[t]))
        body = any(is_body[p] for p in pieces)
        for piece in pieces:
            if piece != keep:
                for member in members[piece]:
                    owner[member] = keep
                members[keep] += members[piece]
                members[piece] = []
        tips[keep], is_body[keep] = tip, body
        owner[node] = keep
        members[keep].append(node)
    for piece in range(len(tips)):
        if members[piece]:
            end(piece, 0.0)
    return tuple(sorted(limbs, key=lambda limb: -limb.length))


def from_tip(net: Net, limb: Limb, distance: Array) -> tuple[Limb, Array]:
    """The limb up to where it opens into the torso, and levels, (P,), that grow towards its tip.

    Level sets around a limb that hangs beside the body are upright to it when they count from its tip, and aslant when
    they count from the torso, as `distance` does. They grow all at once where they pass the armpit: where they do, and
    stay so, the limb ends. Otherwise it stays as it is.
    """
    away = Graph(net).distances([limb.tip])
    own = np.zeros(len(away), bool)
    own[limb.patches] = True
    first = int(float(away[~own].min()) / net.width)
    last = int(float(away[own].max()) / net.width)
    count = int(float(away.max()) / net.width) + 1
    girth = np.bincount((away / net.width).astype(np.int64), net.areas, count)
    # A band of patches is ragged: its girth is taken over three.
    girth = np.convolve(np.pad(girth, 1, mode="edge"), np.ones(3) / 3.0, mode="valid")
    for index in range(max(BEFORE + 1, first), min(last, count - AFTER)):
        usual = float(np.median(girth[index - BEFORE - 1 : index - 1]))
        if girth[index : index + AFTER].min() > OPENS * usual:
            length = index * net.width
            return Limb(limb.tip, np.flatnonzero(away < length), -length, length), -away
    return limb, distance
