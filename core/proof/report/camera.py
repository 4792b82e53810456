"""Where a picture of a pose is taken from, what of it is where in the picture, and bones as solids."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Camera:
    """A parallel projection.

    Attributes:
        centre: (3,) what is in the middle of the picture, metres.
        right, up, away: (3,) unit vectors of the picture and of the view, at right angles.
        scale: pixels a metre.
        width, height: of the picture, pixels.
    """

    centre: Array
    right: Array
    up: Array
    away: Array
    scale: float
    width: int
    height: int

    def project(self, points: Array) -> Array:
        """Points (N, 3), metres, as (N, 3): pixels to the right and down, and depth in pixels."""
        offset = np.asarray(points, float) - self.centre
        flat = np.stack([offset @ self.right, -(offset @ self.up), offset @ self.away], axis=-1) * self.scale
        return np.asarray(flat + np.array([self.width / 2.0, self.height / 2.0, 0.0]))


def camera(points: Array, direction: Array, up: Array, margin: float, width: int, height: int) -> Camera:
    """Looks at `points` (N, 3) from `direction` (3,), with `margin` metres around them; `up` (3,) is up."""
    away = -direction / np.linalg.norm(direction)
    right = np.cross(away, up)
    right /= np.linalg.norm(right)
    upward = np.cross(right, away)
    flat = np.stack([points @ right, points @ upward], axis=-1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    size = high - low + 2.0 * margin
    middle = (low + high) / 2.0
    centre = middle[0] * right + middle[1] * upward + float((points @ away).mean()) * away
    return Camera(centre, right, upward, away, float(min(width / size[0], height / size[1])), width, height)


def blades(heads: Array, tails: Array, width: float = 0.09) -> tuple[Array, Ints]:
    """Bones as solids: vertices (6 B, 3) and triangles (8 B, 3) of double pyramids from heads to tails (B, 3).

    `width` is half their width, as part of their length.
    """
    along = tails - heads
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    other = np.where(np.abs(along[:, [2]]) < 0.9 * length, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    first = np.cross(along, other)
    first *= width * length / np.maximum(np.linalg.norm(first, axis=-1, keepdims=True), 1e-30)
    second = np.cross(along, first) / np.maximum(length, 1e-30)
    waist = heads + 0.18 * along
    corners = np.stack([heads, waist + first, waist + second, waist - first, waist - second, tails], axis=1)
    sides = [(1, 2), (2, 3), (3, 4), (4, 1)]
    faces = np.array([(0, b, a) for a, b in sides] + [(5, a, b) for a, b in sides])
    return corners.reshape(-1, 3), (np.arange(len(heads))[:, None, None] * 6 + faces).reshape(-1, 3)
