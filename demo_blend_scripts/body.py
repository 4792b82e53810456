"""What Wren has besides coat and gloves: head, beard, sou'wester, scarf, buttons, trousers, boots."""

from __future__ import annotations

import numpy as np

from .shaping import Sheet, add_ball, add_rows, add_tube, ring_faces, turn_x, turn_y, turn_z

SKIN, HAIR, DARK, OILSKIN, WOOL, CLOTH, RUBBER, BRASS = range(8)
NOSE_TURN = turn_x(-0.2)
NECK = np.array([0.0, -0.01, 1.475])
HEAD_SIZE = 1.13


def body_sheet() -> Sheet:
    """All of it at a stature of 1.7 m; parts are named "head" (rigid with the head), "neck", "front" and "legs"."""
    sheet = Sheet()
    _add_head(sheet)
    _add_hat(sheet)
    _add_scarf(sheet)
    _add_front(sheet)
    for side in (1.0, -1.0):
        _add_leg(sheet, side)
    # A head a little larger than life reads better from afar.
    for points, part in zip(sheet.points, _part_names(sheet), strict=True):
        if part == "head":
            points[:] = NECK + HEAD_SIZE * (points - NECK)
    return sheet


def _part_names(sheet: Sheet) -> list[str]:
    """The name of each block of points."""
    names, first = [], 0
    for points in sheet.points:
        names.append(sheet.parts[first])
        first += len(points)
    return names


def _add_head(sheet: Sheet) -> None:
    add_rows(
        sheet,
        ((1.44, 0.056, 0.058, 0.004), (1.48, 0.054, 0.056, -0.002), (1.53, 0.056, 0.06, -0.006)),
        16,
        SKIN,
        "neck",
    )
    add_ball(sheet, (0.0, -0.018, 1.588), (0.098, 0.108, 0.128), SKIN, "head", around=24, levels=14)
    for side in (1.0, -1.0):
        add_ball(sheet, (side * 0.038, -0.112, 1.612), (0.0145, 0.010, 0.018), DARK, "head")
        add_ball(sheet, (side * 0.0335, -0.1208, 1.6185), (0.0042, 0.0025, 0.0042), BRASS, "head", around=8, levels=6)
        add_ball(sheet, (side * 0.041, -0.116, 1.6425), (0.026, 0.012, 0.0085), HAIR, "head", turn_y(side * 0.18))
        add_ball(sheet, (side * 0.052, -0.100, 1.580), (0.026, 0.020, 0.022), SKIN, "head")
        add_ball(sheet, (side * 0.100, -0.012, 1.590), (0.016, 0.026, 0.034), SKIN, "head")
        # Moustache, whiskers and the sides of the beard.
        add_ball(sheet, (side * 0.029, -0.126, 1.553), (0.038, 0.020, 0.0175), HAIR, "head", turn_y(side * 0.38))
        add_ball(sheet, (side * 0.083, -0.045, 1.545), (0.024, 0.044, 0.062), HAIR, "head", turn_y(side * -0.15))
        add_ball(sheet, (side * 0.050, -0.090, 1.512), (0.046, 0.044, 0.054), HAIR, "head")
    add_ball(sheet, (0.0, -0.106, 1.495), (0.058, 0.046, 0.068), HAIR, "head", turn_x(0.25))
    add_ball(sheet, (0.0, -0.130, 1.588), (0.026, 0.026, 0.025), SKIN, "head", NOSE_TURN)


def _add_hat(sheet: Sheet) -> None:
    """A sou'wester: a round crown, a brim that is short in front and long over the neck."""
    around = 32
    angles = 2.0 * np.pi * np.arange(around) / around
    back = 0.5 + 0.5 * np.sin(angles)
    rows = []
    # (width of the brim, drop) inwards under the brim, over its edge, up the crown.
    for out, drop in (
        (-0.012, 0.004),
        (0.5, -0.004),
        (0.97, -0.004),
        (1.0, 0.0),
        (0.97, 0.005),
        (0.5, 0.006),
        (0.0, 0.008),
    ):
        brim = 0.045 + 0.060 * back**1.5
        width = 0.104 + max(out, 0.0) * brim
        depth = 0.116 + max(out, 0.0) * brim
        fall = max(out, 0.0) * (0.012 + 0.075 * back**1.5)
        rows.append(
            np.stack(
                [width * np.cos(angles), -0.010 + depth * np.sin(angles), 1.662 - 0.004 * back - fall + drop], axis=-1
            )
        )
    for lift, size in (
        (0.020, 1.01),
        (0.045, 1.0),
        (0.070, 0.93),
        (0.090, 0.80),
        (0.104, 0.58),
        (0.111, 0.30),
        (0.113, 0.04),
    ):
        rows.append(
            np.stack(
                [0.106 * size * np.cos(angles), -0.008 + 0.118 * size * np.sin(angles), np.full(around, 1.662 + lift)],
                axis=-1,
            )
        )
    sheet.add(np.concatenate(rows), ring_faces(len(rows), around, cap_end=True), OILSKIN, "head")
    ring = [(0.1085 * np.cos(a), -0.009 + 0.1205 * np.sin(a), 1.678) for a in angles]
    add_tube(sheet, ring, 0.0075, DARK, "head", around=8, closed=True)


def _add_scarf(sheet: Sheet) -> None:
    angles = 2.0 * np.pi * np.arange(24) / 24
    for height, size, radius, tilt in ((1.474, 1.0, 0.030, 0.012), (1.500, 0.90, 0.027, 0.020)):
        ring = [
            (0.082 * size * np.cos(a), -0.004 + 0.084 * size * np.sin(a), height + tilt * np.sin(a)) for a in angles
        ]
        add_tube(sheet, ring, radius, WOOL, "neck", around=12, closed=True)
    tail = [
        (-0.045, -0.085, 1.475),
        (-0.056, -0.128, 1.440),
        (-0.064, -0.152, 1.385),
        (-0.068, -0.166, 1.320),
        (-0.072, -0.174, 1.262),
    ]
    first = add_tube(
        sheet, tail, np.array([0.024, 0.030, 0.032, 0.034, 0.036]), WOOL, "front", around=12, side=(1.0, 0.0, 0.0)
    )
    _flatten(sheet, first, 0.42)


def _flatten(sheet: Sheet, first: int, share: float) -> None:
    """Press the newest part, which starts at vertex `first`, flat along Y about each vertex's own ring."""
    points = sheet.points[-1]
    rings = points.reshape(-1, 12, 3)
    middle = rings.mean(axis=1, keepdims=True)
    rings[..., 1] = middle[..., 1] + share * (rings[..., 1] - middle[..., 1])
    assert first + len(points) == sheet.count


def _add_front(sheet: Sheet) -> None:
    """Buttons, pocket flaps and the storm flap's edge."""
    for z, y in ((1.30, -0.142), (1.17, -0.166), (1.04, -0.178), (0.91, -0.181)):
        for side in (1.0, -1.0):
            add_ball(sheet, (side * 0.040, y, z), (0.015, 0.009, 0.015), DARK, "front", around=12, levels=6)
    for side in (1.0, -1.0):
        # The flap lies on the coat's curve: turned to its side and leaning with its skirt.
        add_ball(sheet, (side * 0.125, -0.158, 0.86), (0.056, 0.010, 0.021), OILSKIN, "front", turn_z(side * 0.50))


def _add_leg(sheet: Sheet, side: float) -> None:
    x = side * 0.105
    add_rows(
        sheet,
        (
            (0.28, 0.068, 0.072, 0.01),
            (0.45, 0.078, 0.082, 0.005),
            (0.62, 0.088, 0.092, 0.0),
            (0.80, 0.098, 0.105, 0.0),
            (0.90, 0.09, 0.10, 0.0),
        ),
        20,
        CLOTH,
        "legs",
        x,
    )
    rows = (
        (0.000, 0.060, 0.132, -0.052),
        (0.006, 0.068, 0.142, -0.054),
        (0.028, 0.070, 0.145, -0.054),
        (0.032, 0.064, 0.138, -0.053),
        (0.060, 0.064, 0.130, -0.046),
        (0.088, 0.061, 0.108, -0.028),
        (0.112, 0.059, 0.082, -0.006),
        (0.150, 0.060, 0.070, 0.008),
        (0.220, 0.070, 0.076, 0.010),
        (0.300, 0.080, 0.084, 0.010),
        (0.345, 0.085, 0.089, 0.010),
        (0.350, 0.091, 0.095, 0.010),
        (0.372, 0.091, 0.095, 0.010),
        (0.376, 0.082, 0.086, 0.010),
        (0.340, 0.070, 0.074, 0.010),
    )
    first = add_rows(sheet, rows, 24, RUBBER, "legs", x, square=0.85)
    points = sheet.points[-1]
    # Toes a little outwards.
    points[:] = (points - (x, 0.0, 0.0)) @ turn_z(side * 0.16).T + (x, 0.0, 0.0)
    assert first + len(points) == sheet.count
