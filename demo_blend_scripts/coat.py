"""Wren's oilskin coat: one sheet of quads, torso and sleeves, with loops around shoulder, elbow and cuff."""

from __future__ import annotations

import numpy as np

from ..core.frames import ArmFrames
from .shaping import Array, Sheet, ellipse_rings, ring_faces, smoothstep

AROUND = 32
# The armhole: columns to each side of the coat's side line, and rows.
HOLE_HALF = 3
HOLE_ROWS = (9, 13)
SLEEVE_AROUND = 4 * HOLE_HALF + 2 * (HOLE_ROWS[1] - HOLE_ROWS[0])

# (z, half width, half depth, y of the centre) from the lining inside the hem, over the hem, up to the collar;
# metres at a stature of 1.7 m.
ROWS = (
    (0.620, 0.170, 0.140, 0.005),
    (0.425, 0.222, 0.190, 0.005),
    (0.415, 0.240, 0.206, 0.005),
    (0.455, 0.240, 0.206, 0.005),
    (0.620, 0.222, 0.186, 0.000),
    (0.800, 0.206, 0.170, -0.004),
    (0.930, 0.196, 0.166, -0.010),
    (1.050, 0.186, 0.162, -0.012),
    (1.160, 0.182, 0.156, -0.006),
    (1.255, 0.184, 0.148, 0.000),
    (1.310, 0.184, 0.140, 0.004),
    (1.360, 0.178, 0.128, 0.008),
    (1.405, 0.166, 0.112, 0.010),
    (1.440, 0.142, 0.094, 0.010),
    (1.462, 0.108, 0.080, 0.008),
    (1.476, 0.080, 0.072, 0.004),
    (1.500, 0.074, 0.072, 0.000),
)
# (distance from the shoulder along the arm, radius); the forearm's part is added to the elbow's distance.
UPPER_RINGS = (
    (0.060, 0.076),
    (0.095, 0.073),
    (0.135, 0.069),
    (0.180, 0.065),
    (0.225, 0.062),
    (0.258, 0.060),
    (0.282, 0.059),
    (0.300, 0.059),
    (0.316, 0.059),
)
FORE_RINGS = (
    (0.016, 0.059),
    (0.034, 0.059),
    (0.058, 0.058),
    (0.095, 0.056),
    (0.140, 0.054),
    (0.185, 0.053),
    (0.215, 0.055),
    (0.232, 0.058),
    (0.246, 0.059),
    (0.250, 0.054),
    (0.236, 0.046),
    (0.205, 0.044),
)
UPPER_LENGTH, FORE_LENGTH = 0.3162, 0.2482


def coat_sheet(arms: tuple[ArmFrames, ...], scale: float) -> Sheet:
    """Torso and sleeves of the coat; parts are named "torso" and "sleeve"."""
    sheet = Sheet()
    rings = ellipse_rings([tuple(scale * value for value in row) for row in ROWS], AROUND, 0.86)
    rings = _folds(rings, scale)
    holes = {(row, column % AROUND) for row in range(*HOLE_ROWS) for column in _hole_columns("L") + _hole_columns("R")}
    inside = {
        (row, (middle + column) % AROUND)
        for row in range(HOLE_ROWS[0] + 1, HOLE_ROWS[1])
        for middle in (0, AROUND // 2)
        for column in range(1 - HOLE_HALF, HOLE_HALF)
    }
    number = {}
    points = []
    for row in range(len(ROWS)):
        for column in range(AROUND):
            if (row, column) not in inside:
                number[row, column] = len(points)
                points.append(rings[row, column])
    faces = []
    for row in range(len(ROWS) - 1):
        for column in range(AROUND):
            if (row, column) not in holes:
                after = (column + 1) % AROUND
                faces.append((number[row, column], number[row, after], number[row + 1, after], number[row + 1, column]))
    sheet.add(np.array(points), faces, 0, "torso")
    for arm in arms:
        _add_sleeve(sheet, arm, [number[place] for place in _hole_border(arm.side)])
    return sheet


def _folds(rings: Array, scale: float) -> Array:
    """Soft folds that grow towards the hem."""
    angles = 2.0 * np.pi * np.arange(AROUND) / AROUND
    depth = 0.035 * (1.0 - smoothstep(0.45 * scale, 0.95 * scale, rings[:, :1, 2]))
    wave = 1.0 + depth * (np.sin(6.0 * angles + 0.6) + 0.4 * np.sin(9.0 * angles))
    out = rings.copy()
    out[..., :2] *= wave[..., None]
    return out


def _hole_columns(side: str) -> list[int]:
    """Columns of the faces that the armhole takes away."""
    middle = 0 if side == "L" else AROUND // 2
    return list(range(middle - HOLE_HALF, middle + HOLE_HALF))


def _hole_border(side: str) -> list[tuple[int, int]]:
    """(row, column) of the armhole's vertices, once around, counterclockwise seen from outside."""
    middle = 0 if side == "L" else AROUND // 2
    low, high = HOLE_ROWS
    left, right = middle - HOLE_HALF, middle + HOLE_HALF
    loop = [(low, column) for column in range(left, right)]
    loop += [(row, right) for row in range(low, high)]
    loop += [(high, column) for column in range(right, left, -1)]
    loop += [(row, left) for row in range(high, low, -1)]
    return [(row, column % AROUND) for row, column in loop]


def sleeve_stations(arm: ArmFrames) -> list[tuple[Array, Array, Array, float]]:
    """Centre, and the two half axes' directions, and the radius of every ring of the sleeve."""
    out = []
    for rings, frame, length, built in (
        (UPPER_RINGS, arm.upper_arm, arm.upper_length, UPPER_LENGTH),
        (FORE_RINGS, arm.forearm, arm.forearm_length, FORE_LENGTH),
    ):
        for at, radius in rings:
            out.append(
                (frame[:3, 3] + frame[:3, 1] * at * length / built, frame[:3, 0], frame[:3, 2], radius * length / built)
            )
    return out


def _add_sleeve(sheet: Sheet, arm: ArmFrames, border: list[int]) -> None:
    stations = sleeve_stations(arm)
    edge = sheet.array()[border]
    _, first, second, _ = stations[0]
    # Seen from outside the border runs counterclockwise; the ring has to run the same way and start where it fits best.
    around = np.arange(SLEEVE_AROUND) * 2.0 * np.pi / SLEEVE_AROUND
    way = 1.0 if np.cross(first, second) @ arm.upper_arm[:3, 1] > 0.0 else -1.0

    def ring(station: tuple[Array, Array, Array, float], offset: float) -> Array:
        at, a, b, size = station
        angle = way * around + offset
        return np.asarray(at + size * (np.cos(angle)[:, None] * a + np.sin(angle)[:, None] * b))

    offsets = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    best = min(offsets, key=lambda offset: float(np.sum((ring(stations[0], offset) - edge) ** 2)))
    rings = np.stack([ring(station, best) for station in stations])
    start = sheet.add(rings.reshape(-1, 3), ring_faces(len(rings), SLEEVE_AROUND), 0, "sleeve")
    sheet.join(
        [
            (border[k], border[(k + 1) % SLEEVE_AROUND], start + (k + 1) % SLEEVE_AROUND, start + k)
            for k in range(SLEEVE_AROUND)
        ],
        0,
    )
