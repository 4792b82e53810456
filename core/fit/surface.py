"""From any polygon mesh to an even net of patches: small enough to walk, the same for coarse and for fine meshes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import FitError

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Faces = Sequence[Sequence[int]] | NDArray[np.int64] | NDArray[np.int32]

# Patches that a whole character's surface is divided into: a patch is then about 1 % of the height wide.
PATCHES = 6000
# Vertices nearer than this part of the mesh's size are one: seams of texture, normals, or a file of loose triangles.
WELD = 1e-5
# Parts are joined where they are nearest, and as far around it as this many patch widths.
JOINT_SLACK = 0.5
# More triangles than this come from a surface thousands of times larger than its extent: no character.
MOST_TRIANGLES = 4_000_000
# Vertices farther from the origin than this, metres, are a slip: areas of such a mesh end beyond what a double holds.
FARTHEST = 1e9


@dataclass(frozen=True)
class Net:
    """Patches of a surface and what joins them.

    Attributes:
        points: centres, (P, 3).
        areas: surface of each, (P,).
        edges: pairs of neighbours, (E, 2), each pair once.
        width: the patches' width, the unit of the points.
        vertices, triangles: the surface that they were made of, long edges cut, (V, 3) and (F, 3).
        patch: the patch of each vertex, (V,).
        given: whether a vertex is one of the mesh, and not on a cut edge, (V,).
    """

    points: Array
    areas: Array
    edges: Indices
    width: float
    vertices: Array
    triangles: Indices
    patch: Indices
    given: NDArray[np.bool_]


def triangles_of(vertices: Array, faces: Faces) -> Indices:
    """Triangles, (F, 3), of polygons as fans.

    Raises FitError for indices that name no vertex, vertices that are not finite points, or a mesh without a surface.
    """
    if vertices.ndim != 2 or vertices.shape[1] != 3 or not np.isfinite(vertices).all():
        raise FitError("the mesh has vertices that are not points in space: repair or export it again")
    if isinstance(faces, np.ndarray) and faces.ndim == 2 and faces.shape[1] >= 3:
        corners = faces.astype(np.int64)
        fans = [corners[:, [0, k, k + 1]] for k in range(1, corners.shape[1] - 1)]
        found = np.concatenate(fans) if fans else np.zeros((0, 3), np.int64)
    else:
        found = np.array(
            [(face[0], face[k], face[k + 1]) for face in faces for k in range(1, len(face) - 1)], np.int64
        ).reshape(-1, 3)
    if len(found) == 0:
        raise FitError("the mesh has no faces: give one with a surface, not points or edges alone")
    if found.min() < 0 or found.max() >= len(vertices):
        raise FitError("the mesh has faces on vertices that it does not have: repair or export it again")
    return found


def net_of(vertices: Array, triangles: Indices, patches: int = PATCHES) -> Net:
    """The net of about so many patches of a mesh, all of one piece. Raises FitError for a mesh without a surface."""
    if not np.abs(vertices).max(initial=0.0) <= FARTHEST:
        raise FitError(f"the mesh reaches farther than {FARTHEST:g} m: check its unit, or export it again")
    vertices, triangles, _ = _welded(vertices, triangles)
    whole = float(_areas(vertices, triangles).sum())
    extent = float(np.ptp(vertices, axis=0).max()) if len(vertices) else 0.0
    if not whole > 1e-9 * extent * extent or extent == 0.0:
        raise FitError("the mesh has no surface: its faces have no area")
    width = float(np.sqrt(whole / patches))
    vertices, triangles, given = _subdivided(vertices, triangles, width)
    used, triangles = np.unique(triangles, return_inverse=True)
    vertices, triangles = vertices[used], triangles.reshape(-1, 3)
    given = given[used]
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    patch = _patches(vertices, edges, width)
    count = int(patch.max()) + 1
    share = np.repeat(_areas(vertices, triangles) / 3.0, 3)
    # A vertex of no area still has a place.
    mass = np.bincount(triangles.ravel(), share, len(vertices)) + 1e-12 * whole
    areas = np.bincount(patch, mass, count).astype(np.float64)
    sums = [np.bincount(patch, mass * vertices[:, k], count) for k in range(3)]
    points = np.stack(sums, axis=1).astype(np.float64) / areas[:, None]
    links = _unique_pairs(patch[edges])
    return Net(points, areas, _joined(points, links, width), width, vertices, triangles, patch, given)


def components(count: int, edges: Indices) -> Indices:
    """A number for each of `count` nodes, the same for nodes that `edges`, (E, 2), join; numbers from 0, (count,)."""
    label = np.arange(count)
    first, second = edges[:, 0], edges[:, 1]
    while True:
        low = np.minimum(label[first], label[second])
        before = label.copy()
        np.minimum.at(label, label[first], low)
        np.minimum.at(label, label[second], low)
        while True:
            deeper = label[label]
            if np.array_equal(deeper, label):
                break
            label = deeper
        if np.array_equal(before, label):
            return np.asarray(np.unique(label, return_inverse=True)[1], np.int64)


def _areas(vertices: Array, triangles: Indices) -> Array:
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    return np.asarray(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))


def _welded(vertices: Array, triangles: Indices) -> tuple[Array, Indices, Indices]:
    """The mesh with vertices at one place made one, and the first of those that each of them was before."""
    extent = float(np.ptp(vertices[triangles.ravel()], axis=0).max())
    if extent == 0.0:
        return vertices, triangles, np.arange(len(vertices))
    _, first, where = np.unique(_keys(np.round(vertices / (WELD * extent))), return_index=True, return_inverse=True)
    return vertices[first], np.asarray(where).reshape(-1)[triangles], first


def _keys(lattice: Array) -> Indices:
    """One number for each row of whole numbers, (N, 3), in the rows' order: far faster to sort than rows."""
    rows = (lattice - lattice.min(axis=0)).astype(np.int64)
    sizes = rows.max(axis=0) + 1
    if float(sizes[0]) * float(sizes[1]) * float(sizes[2]) > 2.0**62:
        return np.asarray(np.unique(rows, axis=0, return_inverse=True)[1], np.int64).reshape(-1)
    return np.asarray((rows[:, 0] * sizes[1] + rows[:, 1]) * sizes[2] + rows[:, 2])


def _subdivided(vertices: Array, triangles: Indices, width: float) -> tuple[Array, Indices, NDArray[np.bool_]]:
    """The mesh with every triangle cut at its longest edge until none is longer than `width`.

    And for each vertex whether the mesh had it before.
    """
    before = len(vertices)
    done: list[Indices] = []
    while len(triangles):
        corners = vertices[triangles]
        lengths = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2)
        longest = lengths.argmax(axis=1)
        long = lengths.max(axis=1) > width
        done.append(triangles[~long])
        triangles, longest = triangles[long], longest[long]
        if sum(map(len, done)) + 2 * len(triangles) > MOST_TRIANGLES:
            raise FitError("the mesh's surface is far too large for its size: is it a cloud of loose pieces?")
        rows = np.arange(len(triangles))
        a, b, c = (triangles[rows, (longest + k) % 3] for k in range(3))
        pair = np.sort(np.stack([a, b], axis=1), axis=1)
        key, where = np.unique(pair[:, 0] * len(vertices) + pair[:, 1], return_inverse=True)
        pairs = np.stack([key // len(vertices), key % len(vertices)], axis=1)
        middle = len(vertices) + np.asarray(where).reshape(-1)
        vertices = np.concatenate([vertices, 0.5 * (vertices[pairs[:, 0]] + vertices[pairs[:, 1]])])
        triangles = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
    # The two triangles of an edge cut it at the same place, but not always in the same round.
    vertices, triangles, first = _welded(vertices, np.concatenate(done))
    return vertices, triangles, first < before


def _patches(vertices: Array, edges: Indices, width: float) -> Indices:
    """Which patch each vertex is in, (V,): vertices of one cell that edges inside the cell join.

    Two surfaces that pass through one cell, such as a hand beside a hip, stay apart.
    """
    cell = np.unique(_keys(np.floor(vertices / width)), return_inverse=True)[1].reshape(-1)
    inside = cell[edges[:, 0]] == cell[edges[:, 1]]
    return components(len(vertices), edges[inside])


def _unique_pairs(pairs: Indices) -> Indices:
    pairs = np.sort(pairs[pairs[:, 0] != pairs[:, 1]], axis=1)
    if len(pairs) == 0:
        return pairs
    key = np.unique(pairs[:, 0] * (int(pairs.max()) + 1) + pairs[:, 1])
    return np.stack([key // (int(pairs.max()) + 1), key % (int(pairs.max()) + 1)], axis=1)


def _joined(points: Array, edges: Indices, width: float) -> Indices:
    """`edges` and what joins the parts to one: each part, the smallest first, where it is nearest to another."""
    part = components(len(points), edges)
    extra: list[Indices] = []
    while part.max() > 0:
        sizes = np.bincount(part)
        small = int(sizes.argmin())
        own, others = np.flatnonzero(part == small), np.flatnonzero(part != small)
        nearest, distance = _nearest(points[own], points[others])
        close = distance <= distance.min() + JOINT_SLACK * width
        extra.append(np.stack([own[close], others[nearest[close]]], axis=1))
        part[own] = part[others[nearest[distance.argmin()]]]
        part = np.unique(part, return_inverse=True)[1].reshape(-1)
    return _unique_pairs(np.concatenate([edges, *extra]))


def _nearest(points: Array, others: Array) -> tuple[Indices, Array]:
    """The nearest of `others` to each point and its distance."""
    found = np.zeros(len(points), np.int64)
    away = np.zeros(len(points))
    step = max(1, 4_000_000 // len(others))
    squares = (others**2).sum(axis=1)
    for start in range(0, len(points), step):
        block = points[start : start + step]
        gap = squares[None, :] - 2.0 * block @ others.T
        found[start : start + step] = gap.argmin(axis=1)
        away[start : start + step] = np.linalg.norm(block - others[found[start : start + step]], axis=1)
    return found, away
