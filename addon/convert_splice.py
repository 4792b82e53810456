"""Keys of one curve, as an array; and new keys for a range set into them, so that the curve outside stays as it was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# One entry a key, of KEY.
Keys = NDArray[Any]

# Everything that the host keeps of a key, by its own names; enumerations as its numbers.
KEY = np.dtype(
    [
        ("handle_left_type", "i4"),
        ("handle_right_type", "i4"),
        ("interpolation", "i4"),
        ("easing", "i4"),
        ("type", "i4"),
        ("back", "f4"),
        ("amplitude", "f4"),
        ("period", "f4"),
        ("co", "f4", 2),
        ("handle_left", "f4", 2),
        ("handle_right", "f4", 2),
        ("select_control_point", "?"),
        ("select_left_handle", "?"),
        ("select_right_handle", "?"),
    ]
)
# The host's numbers of interpolations and of handle types; a test compares them with the host's own tables.
CONSTANT, LINEAR, BEZIER = 0, 1, 2
FREE, AUTO, VECTOR, AUTO_CLAMPED = 0, 1, 2, 4
# Keys nearer than this to a frame are on it.
ON_FRAME = 1e-3


@dataclass(frozen=True)
class RangeKeys:
    """New keys of a range.

    Attributes:
        first, last: the range, whole frames.
        frames, values: the keys, (K,), `first` and `last` among them.
        stepped: whether a value holds until the next key, for all of them or key by key; straight lines otherwise.
    """

    first: int
    last: int
    frames: Array
    values: Array
    stepped: bool | NDArray[np.bool_]


def read_keys(curve: bpy.types.FCurve) -> Keys:
    """Every key of a curve."""
    points = curve.keyframe_points
    out = np.zeros(len(points), KEY)
    for name in KEY.names:
        flat = np.zeros(out[name].size, out[name].dtype)
        points.foreach_get(name, flat)
        out[name] = flat.reshape(out[name].shape)
    return out


def write_keys(curve: bpy.types.FCurve, keys: Keys) -> None:
    """Make `keys` the keys of a curve, as they are: no handle is computed anew."""
    points = curve.keyframe_points
    points.clear()
    points.add(len(keys))
    for name in KEY.names:
        points.foreach_set(name, np.ascontiguousarray(keys[name]).ravel())


def splice(old: Keys, new: RangeKeys, straight_on: bool, value_at: Callable[[float], float]) -> Keys:
    """`old` with the keys of a range in place of those that were there.

    A key on the frame before the range and one on the frame after it keep the old values there, and the shape of the
    curve beyond them: a Bezier segment that is cut is split, one that is eased is keyed on its whole frames.
    `straight_on`: whether the curve goes on in a line outside its keys. `value_at`: the old curve.
    """
    low, high = float(new.first - 1), float(new.last + 1)
    before = _before(old, low, straight_on, value_at)
    before["interpolation"][-1] = BEZIER if straight_on and len(before) == 1 else CONSTANT
    inside = inner(new)
    # The frame after the range is in the old mode: nothing may run towards it.
    inside["interpolation"][-1] = CONSTANT
    return np.concatenate([before, inside, _after(old, high, straight_on, value_at)])


def inner(new: RangeKeys) -> Keys:
    """The keys of a range alone."""
    out = fresh(new.frames, new.values)
    out["interpolation"] = np.where(new.stepped, CONSTANT, LINEAR)
    return out


def fresh(frames: Array, values: Array) -> Keys:
    """Keys with straight handles."""
    out = np.zeros(len(frames), KEY)
    out["handle_left_type"] = out["handle_right_type"] = VECTOR
    out["interpolation"] = LINEAR
    # What the host gives a new key.
    out["back"], out["amplitude"], out["period"] = 1.70158, 0.8, 4.1
    out["co"] = np.stack([frames, values], axis=1)
    if len(frames) > 1:
        steps = np.diff(out["co"], axis=0) / 3.0
        out["handle_right"][:-1], out["handle_left"][1:] = out["co"][:-1] + steps, out["co"][1:] - steps
    for side, end, sign in (("handle_left", 0, -1.0), ("handle_right", -1, 1.0)):
        out[side][end] = out["co"][end] + (sign / 3.0, 0.0)
    return out


def _before(old: Keys, low: float, straight_on: bool, value_at: Callable[[float], float]) -> Keys:
    times = old["co"][:, 0]
    kept = old[times <= low + ON_FRAME].copy()
    if len(kept) and kept["co"][-1, 0] >= low - ON_FRAME:
        freeze(kept, -1)
        return kept
    border = fresh(np.array([low]), np.array([value_at(low)]))
    freeze(border, -1)
    if not len(kept):
        if straight_on:
            border["handle_left"][0] = (low - 1.0, value_at(low - 1.0))
        return border
    freeze(kept, -1)
    following = old[len(kept) :]
    way = kept["interpolation"][-1]
    if not len(following):
        # The curve went on past its last key, level or straight.
        kept["interpolation"][-1] = LINEAR
    elif way == BEZIER:
        left, _ = split(kept[-1], following[0], low)
        kept["handle_right"][-1], border["handle_left"][0] = left[1], left[2]
    elif way not in (CONSTANT, LINEAR):
        kept["interpolation"][-1] = LINEAR
        return np.concatenate([kept, _frame_by_frame(np.floor(kept["co"][-1, 0]) + 1.0, low, value_at)])
    return np.concatenate([kept, border])


def _after(old: Keys, high: float, straight_on: bool, value_at: Callable[[float], float]) -> Keys:
    times = old["co"][:, 0]
    kept = old[times >= high - ON_FRAME].copy()
    if len(kept) and kept["co"][0, 0] <= high + ON_FRAME:
        freeze(kept, 0)
        return kept
    border = fresh(np.array([high]), np.array([value_at(high)]))
    freeze(border, 0)
    if not len(kept):
        if straight_on:
            border["interpolation"] = BEZIER
            border["handle_right"][0] = (high + 1.0, value_at(high + 1.0))
        return border
    freeze(kept, 0)
    preceding = old[: len(old) - len(kept)]
    way = preceding["interpolation"][-1] if len(preceding) else LINEAR
    if way == BEZIER:
        _, right = split(preceding[-1], kept[0], high)
        border["handle_right"][0], kept["handle_left"][0] = right[1], right[2]
    elif way not in (CONSTANT, LINEAR):
        return np.concatenate([_frame_by_frame(high, np.ceil(kept["co"][0, 0]) - 1.0, value_at), kept])
    border["interpolation"] = way
    return np.concatenate([border, kept])


def freeze(keys: Keys, place: int | NDArray[np.bool_]) -> None:
    """Handles that the host would compute from their neighbours stay where they are."""
    keys["handle_left_type"][place] = keys["handle_right_type"][place] = FREE


def _frame_by_frame(first: float, last: float, value_at: Callable[[float], float]) -> Keys:
    frames = np.arange(first, last + 0.5)
    out = fresh(frames, np.array([value_at(frame) for frame in frames]))
    freeze(out, np.ones(len(out), bool))
    return out


def split(start: Any, end: Any, time: float) -> tuple[Array, Array]:
    """A Bezier segment between two keys, cut at `time`: the control points (4, 2) of both parts."""
    return cut(np.array([start["co"], start["handle_right"], end["handle_left"], end["co"]], float), time)


def cut(controls: Array, time: float) -> tuple[Array, Array]:
    """A Bezier segment (4, 2), frame and value, cut at `time`: the control points of both parts (de Casteljau)."""
    points = _untangled(controls)
    low, high = 0.0, 1.0
    # The host lets no segment run back in time, so halving finds the place; 60 times is the last digit.
    for _ in range(60):
        middle = 0.5 * (low + high)
        weights = np.array([(1 - middle) ** 3, 3 * middle * (1 - middle) ** 2, 3 * middle**2 * (1 - middle), middle**3])
        low, high = (middle, high) if weights @ points[:, 0] < time else (low, middle)
    share = 0.5 * (low + high)
    left, right = [points[0]], [points[-1]]
    rows = points
    while len(rows) > 1:
        rows = rows[:-1] + share * np.diff(rows, axis=0)
        left.append(rows[0])
        right.append(rows[-1])
    return np.array(left), np.array(right[::-1])


def _untangled(points: Array) -> Array:
    """Handles longer than their segment are shortened to it, as the host does when it evaluates."""
    span = points[3, 0] - points[0, 0]
    out = points.copy()
    for place, own in ((1, 0), (2, 3)):
        reach = abs(points[place, 0] - points[own, 0])
        if reach > span:
            out[place] = points[own] + (points[place] - points[own]) * span / reach
    return out
