"""Keeps the shape of a curve while a key is set on it: the host lets the neighbours' automatic handles swing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import bpy
import numpy as np

from .convert_splice import cut

# Keys closer than this are one key, frames.
SAME_FRAME = 1e-4
# Handles shorter than this have lost their direction to single precision, frames.
SHORT_HANDLE = 1.0
AUTOMATIC = ("AUTO", "AUTO_CLAMPED")


@dataclass(frozen=True)
class Point:
    """A key: itself and its handles (frame, value), their types, and how it goes on."""

    co: tuple[float, float]
    left: tuple[float, float]
    right: tuple[float, float]
    left_type: str
    right_type: str
    interpolation: str


Shapes = dict[tuple[str, int], tuple[Point, ...]]


def shapes_of(curves: Iterable[bpy.types.FCurve]) -> Shapes:
    """The keys of some curves."""
    return {
        (curve.data_path, curve.array_index): tuple(
            Point(
                tuple(point.co),
                tuple(point.handle_left),
                tuple(point.handle_right),
                point.handle_left_type,
                point.handle_right_type,
                point.interpolation,
            )
            for point in curve.keyframe_points
        )
        for curve in curves
    }


def restore(curves: Iterable[bpy.types.FCurve], before: Shapes, frame: float) -> None:
    """After a key was set at `frame`: the other keys' handles as before, and the way up to the key as it was."""
    for curve in curves:
        known = before.get((curve.data_path, curve.array_index), ())
        if not known:
            continue
        was_there = False
        for point in curve.keyframe_points:
            old = next((item for item in known if abs(item.co[0] - point.co.x) < SAME_FRAME), None)
            if abs(point.co.x - frame) < SAME_FRAME:
                was_there = old is not None
            elif old is not None:
                _put(point, "left", old.left, old.left_type)
                _put(point, "right", old.right, old.right_type)
        if not was_there:
            _split(curve, known, frame)


def _put(point: bpy.types.Keyframe, side: str, handle: tuple[float, float], kind: str) -> None:
    """Give a key's handle back its place, as a handle that stays there if the host has moved it."""
    if np.abs(np.subtract(getattr(point, f"handle_{side}"), handle)).max() < 1e-7:
        return
    # An aligned pair stays straight under the animator's hand, as an automatic one was.
    setattr(point, f"handle_{side}_type", "ALIGNED" if kind in AUTOMATIC else "FREE")
    setattr(point, f"handle_{side}", handle)


def _split(curve: bpy.types.FCurve, known: tuple[Point, ...], frame: float) -> None:
    """Handles of the new key's left and of the key before it, so that the curve between them is what it was."""
    earlier = [item for item in known if item.co[0] < frame - SAME_FRAME]
    later = [item for item in known if item.co[0] > frame + SAME_FRAME]
    if not earlier or earlier[-1].interpolation not in ("BEZIER", "LINEAR", "CONSTANT"):
        return
    new = next(point for point in curve.keyframe_points if abs(point.co.x - frame) < SAME_FRAME)
    last = next(point for point in curve.keyframe_points if abs(point.co.x - earlier[-1].co[0]) < SAME_FRAME)
    if earlier[-1].interpolation == "CONSTANT" or (later and earlier[-1].interpolation != "BEZIER"):
        return
    if later:
        first = cut(np.array([earlier[-1].co, earlier[-1].right, later[0].left, later[0].co]), frame)[0]
        right, left = first[1], first[2]
    else:
        # Beyond the last key the curve is a straight line.
        start, end = np.array(last.co), np.array(new.co)
        right, left = start + (end - start) / 3.0, end - (end - start) / 3.0
    # The host turns the other handle of an aligned pair after this one, whose direction a short one says coarsely.
    aligned = later and earlier[-1].right_type in AUTOMATIC and right[0] - earlier[-1].co[0] > SHORT_HANDLE
    last.handle_right_type = "ALIGNED" if aligned else "FREE"
    last.handle_right = right.tolist()
    new.handle_left_type = new.handle_right_type = "FREE"
    new.handle_left = left.tolist()
