"""Small mesh tools of the demo: lofts, balls, tubes, boxes, materials; everything is made from numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import bpy
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Colour = tuple[float, float, float]


@dataclass
class Sheet:
    """A mesh that grows part by part.

    It guards the running vertex count. `points` are (N, 3) arrays in metres, `faces` index all of them; every
    face has the index of its material, every vertex the name of its part.
    """

    points: list[Array] = field(default_factory=list)
    faces: list[tuple[int, ...]] = field(default_factory=list)
    materials: list[int] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)

    @property
    def count(self) -> int:
        """Vertices so far."""
        return len(self.parts)

    def add(self, points: Array, faces: Iterable[Sequence[int]], material: int, part: str) -> int:
        """Add a part whose faces count from its own first vertex; return that vertex's index in the sheet."""
        first = self.count
        self.points.append(np.asarray(points, float))
        self.parts.extend([part] * len(points))
        for face in faces:
            self.faces.append(tuple(first + index for index in face))
            self.materials.append(material)
        return first

    def join(self, faces: Iterable[Sequence[int]], material: int) -> None:
        """Add faces between vertices that are there."""
        for face in faces:
            self.faces.append(tuple(face))
            self.materials.append(material)

    def array(self) -> Array:
        """All vertices, (N, 3)."""
        return np.concatenate(self.points)


def ring_faces(rings: int, around: int, *, cap_start: bool = False, cap_end: bool = False) -> list[tuple[int, ...]]:
    """Quads between consecutive closed rings of `around` vertices, and flat caps where asked for."""
    faces: list[tuple[int, ...]] = []
    for ring in range(rings - 1):
        for step in range(around):
            after = (step + 1) % around
            low, high = ring * around, (ring + 1) * around
            faces.append((low + step, low + after, high + after, high + step))
    if cap_start:
        faces.append(tuple(reversed(range(around))))
    if cap_end:
        faces.append(tuple(range((rings - 1) * around, rings * around)))
    return faces


def ellipse_rings(rows: Sequence[tuple[float, float, float, float]], around: int, square: float = 1.0) -> Array:
    """Horizontal rings (R, around, 3) from rows (z, half width, half depth, y of the centre); they turn from +X to +Y.

    `square` below 1 makes the ellipses boxier.
    """
    angles = 2.0 * np.pi * np.arange(around) / around
    c, s = np.cos(angles), np.sin(angles)
    c, s = np.sign(c) * np.abs(c) ** square, np.sign(s) * np.abs(s) ** square
    return np.stack([np.stack([rx * c, cy + ry * s, np.full(around, z)], axis=-1) for z, rx, ry, cy in rows])


def add_rows(
    sheet: Sheet,
    rows: Sequence[tuple[float, float, float, float]],
    around: int,
    material: int,
    part: str,
    centre_x: float = 0.0,
    square: float = 1.0,
    capped: bool = True,
) -> int:
    """A lathe-like part from horizontal rings, lowest first."""
    rings = ellipse_rings(rows, around, square) + np.array([centre_x, 0.0, 0.0])
    return sheet.add(
        rings.reshape(-1, 3), ring_faces(len(rows), around, cap_start=capped, cap_end=capped), material, part
    )


def add_ball(
    sheet: Sheet,
    centre: Sequence[float],
    radii: Sequence[float],
    material: int,
    part: str,
    turn: Array | None = None,
    around: int = 16,
    levels: int = 10,
) -> int:
    """An ellipsoid; `turn` (3, 3) rotates it about its centre."""
    tilt = np.pi * (np.arange(1, levels)) / levels
    spin = 2.0 * np.pi * np.arange(around) / around
    body = np.stack(
        [
            np.outer(np.sin(tilt), np.cos(spin)),
            np.outer(np.sin(tilt), np.sin(spin)),
            np.repeat(-np.cos(tilt)[:, None], around, axis=1),
        ],
        axis=-1,
    ).reshape(-1, 3)
    points = np.concatenate([body, [[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]]) * np.array(radii, float)
    faces = ring_faces(levels - 1, around)
    south, north, last = len(body), len(body) + 1, (levels - 2) * around
    for step in range(around):
        after = (step + 1) % around
        faces.append((south, after, step))
        faces.append((north, last + step, last + after))
    if turn is not None:
        points = points @ turn.T
    return sheet.add(points + np.array(centre, float), faces, material, part)


def tube_rings(path: Array, radii: Array, around: int, side: Array) -> Array:
    """Rings (P, around, 3) about a path (P, 3); the first vertex of each lies as near to `side` as it can."""
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    first = side - along * (along @ side)[:, None]
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(along, first)
    angles = 2.0 * np.pi * np.arange(around) / around
    return np.asarray(
        path[:, None]
        + radii[:, None, None]
        * (np.cos(angles)[None, :, None] * first[:, None] + np.sin(angles)[None, :, None] * second[:, None])
    )


def add_tube(
    sheet: Sheet,
    path: Sequence[Sequence[float]] | Array,
    radius: float | Array,
    material: int,
    part: str,
    around: int = 12,
    side: Sequence[float] = (0.0, 0.0, 1.0),
    closed: bool = False,
) -> int:
    """A tube along a path that never runs along `side`; `closed` joins its end to its start."""
    line = np.asarray(path, float)
    radii = np.broadcast_to(np.asarray(radius, float), (len(line),)).copy()
    if closed:
        line = np.concatenate([line, line[:1]])
        radii = np.concatenate([radii, radii[:1]])
        padded = np.concatenate([line[-2:-1], line, line[1:2]])
        rings = tube_rings(padded, np.concatenate([radii[-2:-1], radii, radii[1:2]]), around, np.array(side, float))[
            1:-2
        ]
        faces = ring_faces(len(rings), around)
        last = (len(rings) - 1) * around
        faces += [(last + step, last + (step + 1) % around, (step + 1) % around, step) for step in range(around)]
        return sheet.add(rings.reshape(-1, 3), faces, material, part)
    rings = tube_rings(line, radii, around, np.array(side, float))
    return sheet.add(rings.reshape(-1, 3), ring_faces(len(rings), around, cap_start=True, cap_end=True), material, part)


def add_box(
    sheet: Sheet,
    centre: Sequence[float],
    size: Sequence[float],
    material: int,
    part: str = "",
    turn: Array | None = None,
) -> int:
    """A box; `turn` (3, 3) rotates it about its centre."""
    corners = np.array([[x, y, z] for z in (-0.5, 0.5) for y in (-0.5, 0.5) for x in (-0.5, 0.5)]) * np.array(
        size, float
    )
    if turn is not None:
        corners = corners @ turn.T
    faces = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    return sheet.add(corners + np.array(centre, float), faces, material, part)


def turn_z(angle: float) -> Array:
    """Rotation about Z, (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def turn_x(angle: float) -> Array:
    """Rotation about X, (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def turn_y(angle: float) -> Array:
    """Rotation about Y, (3, 3)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def smoothstep(low: float, high: float, value: Array) -> Array:
    """0 below `low`, 1 above `high`, smooth between."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def material(
    name: str, colour: Colour, roughness: float = 0.6, *, metallic: float = 0.0, glow: float = 0.0, gloss: float = 0.0
) -> bpy.types.Material:
    """A plain material; `glow` is how strongly it shines in its own colour, `gloss` a clear coat over it."""
    made = bpy.data.materials.new(name)
    made.use_nodes = True
    made.diffuse_color = (*colour, 1.0)
    shader = next(node for node in made.node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Roughness"].default_value = roughness
    shader.inputs["Metallic"].default_value = metallic
    shader.inputs["Coat Weight"].default_value = gloss
    if glow:
        shader.inputs["Emission Color"].default_value = (*colour, 1.0)
        shader.inputs["Emission Strength"].default_value = glow
    return made


def mesh_object(
    name: str, sheet: Sheet, materials: Sequence[bpy.types.Material], *, smooth: bool = True, subdivide: int = 0
) -> bpy.types.Object:
    """The sheet as an object in the scene's active collection, faces turned outwards."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(sheet.array().tolist(), [], sheet.faces)
    for entry in materials:
        mesh.materials.append(entry)
    mesh.polygons.foreach_set("material_index", np.array(sheet.materials, np.int32))
    mesh.polygons.foreach_set("use_smooth", np.full(len(sheet.faces), smooth))
    mesh.update()
    made = bpy.data.objects.new(name, mesh)
    bpy.context.collection.objects.link(made)
    if subdivide:
        modifier = made.modifiers.new("smooth", "SUBSURF")
        modifier.levels = modifier.render_levels = subdivide
    return made


def add_shape(item: bpy.types.Object, name: str, points: Array) -> None:
    """A shape key with the vertices (N, 3) of the object's mesh elsewhere, off; the first key is the mesh as it is."""
    key = item.shape_key_add(name=name, from_mix=False)
    key.data.foreach_set("co", points.astype(np.float32).ravel())
    key.value = 0.0
