"""The ladder by the lamp room: it hangs from two brackets under the eaves and sways a little in the wind."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ..addon.curves import curves_of
from ..addon.host import matrix_to_numpy
from .shaping import Array, Sheet, add_ball, add_box, add_tube, mesh_object, turn_z

# In plan, about the tower's axis (radians, positive towards +X), and how far from it the rungs hang, metres.
ANGLE = -0.25 * np.pi
DISTANCE = 1.34
# The pins that it hangs from, and the rungs, metres over the floor and apart. A ladder's rungs are commonly 0.25 to
# 0.30 m apart (common practice).
PIN_HEIGHT = 2.50
LOWEST, SPACING, RUNGS = 0.24, 0.26, 9
RUNG_THICKNESS = 0.021
HALF_WIDTH = 0.22
UPRIGHT = (0.034, 0.042)
FOOT, TOP = 0.10, 2.58
# The wall under the eaves, which the brackets are fixed to: distance from the tower's axis.
WALL = 1.05
# The sway: to the sides and to and from the wall (degrees), frames for one period.
SIDEWAYS, SIDEWAYS_PERIOD = 0.7, 70
INWARDS, INWARDS_PERIOD = 0.15, 44
SWAY_STEP = 4


def outward_from_wall() -> Array:
    """Unit vector from the tower's axis to the ladder, (3,)."""
    return np.array([np.sin(ANGLE), -np.cos(ANGLE), 0.0])


def rung_height(number: int) -> float:
    """Metres over the floor; rung 0 is the lowest."""
    return LOWEST + SPACING * number


def rung_in_ladder(number: int, aside: float = 0.0) -> Array:
    """The middle of a rung in the ladder's own axes, (3,); `aside` is along it, to the right of one who climbs."""
    return np.array([aside, 0.0, rung_height(number) - PIN_HEIGHT])


def make_ladder(
    centre: Array, wood: bpy.types.Material, iron: bpy.types.Material
) -> tuple[bpy.types.Object, bpy.types.Object]:
    """The ladder, which turns about its pins, and its brackets; `centre` (3,) is the tower's axis at the floor.

    The ladder's axes: X along the rungs, Y to the wall, Z up.
    """
    sheet, fixed = Sheet(), Sheet()
    for side in (-HALF_WIDTH, HALF_WIDTH):
        add_box(sheet, (side, 0.0, 0.5 * (FOOT + TOP) - PIN_HEIGHT), (*UPRIGHT, TOP - FOOT), 0)
        pin = np.array([1.35 * side, DISTANCE - WALL, PIN_HEIGHT])
        for start, end in (
            ((side, 0.0, PIN_HEIGHT), pin),
            ((0.85 * side, 0.0, PIN_HEIGHT), (1.17 * side, 0.0, PIN_HEIGHT)),
        ):
            add_tube(fixed, [start, end], 0.013, 0, "", around=8)
        add_ball(fixed, (1.17 * side, 0.0, PIN_HEIGHT), (0.02, 0.02, 0.02), 0, "", around=10, levels=6)
    for number in range(RUNGS):
        middle = rung_in_ladder(number)
        aside = np.array([HALF_WIDTH, 0.0, 0.0])
        add_tube(sheet, [middle - aside, middle + aside], RUNG_THICKNESS, 0, "", around=12)
    ladder = mesh_object("ladder", sheet, [wood], smooth=False)
    for face in ladder.data.polygons:
        face.use_smooth = face.index >= 12
    foot = centre + DISTANCE * outward_from_wall()
    turned = turn_z(ANGLE)
    ladder.rotation_euler = (0.0, 0.0, ANGLE)
    ladder.location = (foot + np.array([0.0, 0.0, PIN_HEIGHT])).tolist()
    fixed.points = [fixed.array() @ turned.T + foot]
    return ladder, mesh_object("ladder.brackets", fixed, [iron])


def sway(ladder: bpy.types.Object, first: int, last: int) -> None:
    """Key the ladder's swaying over a range of frames."""
    for frame in range(first, last + SWAY_STEP, SWAY_STEP):
        phase = 2.0 * np.pi * (frame - first)
        aside = np.radians(SIDEWAYS) * np.sin(phase / SIDEWAYS_PERIOD)
        inwards = np.radians(INWARDS) * np.sin(phase / INWARDS_PERIOD + 1.0)
        ladder.rotation_euler = (float(inwards), float(aside), ANGLE)
        ladder.keyframe_insert("rotation_euler", frame=frame)
    for curve in curves_of(ladder.animation_data.action):
        curve.update()


def rung_in_world(ladder: bpy.types.Object, number: int, aside: float) -> tuple[Array, Array]:
    """Point (3,) on a rung's middle line and the ladder's axes (3, 3), in the world at the current frame."""
    graph = bpy.context.evaluated_depsgraph_get()
    pose = matrix_to_numpy(ladder.evaluated_get(graph).matrix_world)
    at = pose[:3, :3] @ rung_in_ladder(number, aside) + pose[:3, 3]
    return at, pose[:3, :3]


def distance_to_rungs(points: Array, numbers: Sequence[int]) -> Array:
    """Distance of points (N, 3), in the ladder's axes, to the nearest of some rungs, (N,); inside it is negative."""
    out = np.full(len(points), np.inf)
    for number in numbers:
        middle = rung_in_ladder(number)
        beyond = np.maximum(np.abs(points[:, 0]) - HALF_WIDTH, 0.0)
        aside = np.hypot(points[:, 1] - middle[1], points[:, 2] - middle[2])
        out = np.minimum(out, np.hypot(aside, beyond) - RUNG_THICKNESS)
    return out


def distance_to_uprights(points: Array) -> Array:
    """Distance of points (N, 3), in the ladder's axes, to the nearer upright, (N,); inside it is negative."""
    half = 0.5 * np.array([*UPRIGHT, TOP - FOOT])
    middle = np.array([HALF_WIDTH, 0.0, 0.5 * (FOOT + TOP) - PIN_HEIGHT])
    mirrored = points.copy()
    mirrored[:, 0] = np.abs(points[:, 0])
    beyond = np.abs(mirrored - middle) - half
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    return np.asarray(outside + np.minimum(beyond.max(axis=1), 0.0))
