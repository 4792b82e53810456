"""Joint positions in a table as motion to study: .csv or .npz, with a description of the columns.

docs/study.md says how a table is laid out. A point is three columns (metres or the table's unit), a turn is four (a
quaternion, w first). What is lost in a frame is empty or NaN.
"""

from __future__ import annotations

import io
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np
from numpy.typing import NDArray

from .. import toml_input
from ..errors import MotionError, named, shown
from ..motion.bvh import MAX_FRAMES, MAX_VALUE
from ..rotations import quat_to_matrix, unit
from .from_bvh import UNITS
from .motion import ArmMotion, StudyMotion
from .npz_input import npz_arrays
from .prepare import prepared

Array = NDArray[np.float64]

# An hour of both arms at 120 Hz takes about a third of this as text.
MAX_BYTES = 512 * 2**20
MAX_COLUMNS = 2_000
# Lines that are read at once.
CHUNK = 20_000
POINTS = ("shoulder", "elbow", "wrist", "tip", "clavicle", "thumb")
TURNS = ("hand", "upper")
NEEDED = ("shoulder", "elbow", "wrist")
TORSO, TORSO_TURN, HIPS, THING = "torso", "torso.turn", "hips", "thing."
HEAD = ("rate", "unit", "up", "facing", "columns")
# How far a quaternion's length may be from 1 before it is said to have been made a unit.
UNIT_SLACK = 1e-3


@dataclass(frozen=True)
class Layout:
    """What a table's numbers mean: frames a second, metres of a unit, the file's up and facing axes, and the columns
    of a part where they are not called after it."""

    rate: float
    metres: float
    up: str
    facing: str
    columns: Mapping[str, tuple[str, ...]]


def motion_of_csv(text: str | bytes, name: str, layout: str | None = None) -> StudyMotion:
    """The motion in a table of numbers, separated by commas.

    Args:
        layout: TOML that says what the head's comment lines (`# rate = 120`) say otherwise; it wins over them.

    Raises MotionError, with the line, for a table that can not be read, and as `prepared` does.
    """
    if len(text) > MAX_BYTES:
        raise MotionError(f"{name}: {len(text)} bytes are more than {MAX_BYTES}; cut the table into shorter takes")
    if isinstance(text, bytes):
        try:
            text = text.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise MotionError(f"{name}: byte {error.start} is no text; save the table as UTF-8") from None
    lines = io.StringIO(text)
    said, head, at = [], "", 1
    for line in lines:
        if line.startswith("#"):
            said.append(line[1:].strip())
        elif line.strip():
            head = line
            break
        at += 1
    names = [word.strip().strip('"') for word in head.split(",")]
    if len(names) < 2:
        raise MotionError(f"{name}, line {at}: a table starts with the names of its columns, between commas")
    if len(names) > MAX_COLUMNS:
        raise MotionError(f"{name}, line {at}: {len(names)} columns, more than {MAX_COLUMNS}; keep those of the arms")
    found = _layout(name, {**_toml(name, "\n".join(said)), **_toml(name, layout or "")})
    doubled = next((word for word in names if names.count(word) > 1), None)
    if doubled is not None:
        raise MotionError(f"{name}, line {at}: two columns are called {shown(doubled)}; rename one")
    wanted = _wanted(name, names, found)
    order = [names.index(column) for columns in wanted.values() for column in columns]
    numbers = _numbers(name, lines, at, len(names), order)
    arrays, first = {}, 0
    for part, columns in wanted.items():
        arrays[part] = numbers[:, first : first + len(columns)]
        first += len(columns)
    return _motion(name, arrays, found)


def motion_of_npz(data: bytes, name: str, layout: str | None = None) -> StudyMotion:
    """The motion in a .npz file: an array for each part, called after it; rate, unit, up and facing as arrays or in
    `layout`. Raises MotionError as `motion_of_csv` does."""
    if len(data) > MAX_BYTES:
        raise MotionError(f"{name}: {len(data)} bytes are more than {MAX_BYTES}; cut it into shorter takes")
    arrays = npz_arrays(data, name, MAX_BYTES)
    said = {key: arrays.pop(key).item() for key in HEAD if key in arrays and arrays[key].ndim == 0}
    found = _layout(name, {**said, **_toml(name, layout or "")})
    parts: dict[str, Array] = {}
    for part, value in arrays.items():
        width = _width(part)
        if width is None:
            continue
        if value.ndim != 2 or value.shape[1] != width or value.dtype.kind not in "fiu":
            given = f"{value.dtype} of shape {value.shape}"
            raise MotionError(f"{name}: {shown(part)} holds {given}; expected real numbers of shape (frames, {width})")
        parts[part] = value.astype(np.float64)
    if len({len(value) for value in parts.values()}) > 1:
        raise MotionError(
            f"{name}: the parts have different numbers of frames: "
            + ", ".join(f"{shown(part)} {len(value)}" for part, value in [*parts.items()][:40])
        )
    if any(len(value) > MAX_FRAMES for value in parts.values()):
        raise MotionError(f"{name}: more than {MAX_FRAMES} frames; cut it into shorter takes")
    return _motion(name, parts, found)


def _toml(name: str, text: str) -> dict[str, Any]:
    try:
        return toml_input.loads(text)
    except toml_input.TomlProblem as problem:
        raise MotionError(f"{name}: the description of the columns is no TOML: {problem}") from None


def _layout(name: str, said: Mapping[str, Any]) -> Layout:
    for key in said:
        if key not in HEAD:
            raise MotionError(f"{name}: {shown(key)} is not known in the head; there are {', '.join(HEAD)}")
    for key in ("rate", "unit", "up", "facing"):
        if key not in said:
            raise MotionError(f"{name}: the head has no {key}; add a line such as # {key} = {_EXAMPLES[key]}")
    rate, size = said["rate"], said["unit"]
    if not _is_double(rate):
        raise MotionError(f"{name}: the rate {shown(rate)} is no number of frames a second")
    metres = UNITS.get(size) if isinstance(size, str) else size
    if not _is_double(metres) or not 0.0 < metres < math.inf:
        raise MotionError(f"{name}: the unit {shown(size)} is none of {', '.join(UNITS)}, nor a number of metres")
    for key in ("up", "facing"):
        if not isinstance(said[key], str) or said[key] not in _AXES:
            raise MotionError(f"{name}: {key} {shown(said[key])} is no axis; give one of {', '.join(_AXES)}")
    if said["up"].lstrip("+-") == said["facing"].lstrip("+-"):
        raise MotionError(f"{name}: up and facing are both along {said['up'].lstrip('+-')}; give two different axes")
    given = said.get("columns", {})
    if not isinstance(given, dict) or not all(isinstance(item, list) for item in given.values()):
        raise MotionError(f'{name}: columns has to be a table such as "L.wrist" = ["x", "y", "z"]')
    return Layout(
        float(rate),
        float(metres),
        said["up"],
        said["facing"],
        {part: tuple(map(str, columns)) for part, columns in given.items()},
    )


def _is_double(value: object) -> TypeGuard[int | float]:
    """Whether a value of the head is a number that a double can stand for, infinite or none at all among them."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, float) or abs(value) <= sys.float_info.max


_EXAMPLES = {"rate": "120", "unit": '"cm"', "up": '"Z"', "facing": '"-Y"'}
_AXES = {
    sign + axis: (-1.0 if sign == "-" else 1.0) * np.eye(3)["XYZ".index(axis)]
    for sign in ("", "+", "-")
    for axis in "XYZ"
}


def _some(names: Sequence[str]) -> str:
    return ", ".join(map(named, names[:40]))


def _width(part: str) -> int | None:
    """How many columns a part has; None where no part is called so."""
    arm, _, joint = part.rpartition(".")
    if part in (TORSO, HIPS) or (part.startswith(THING) and len(part) > len(THING)):
        return 3
    if part == TORSO_TURN:
        return 4
    return 3 if arm and joint in POINTS else 4 if arm and joint in TURNS else None


def _wanted(name: str, names: list[str], layout: Layout) -> dict[str, tuple[str, ...]]:
    """The columns of each part: those that the layout names, and those called PART.x, .y, .z or PART.w, .x, .y, .z."""
    out: dict[str, tuple[str, ...]] = {}
    for part, columns in layout.columns.items():
        width = _width(part)
        if width is None:
            raise MotionError(
                f"{name}: columns names {shown(part)}, which is no part; parts are such as L.shoulder or torso"
            )
        if len(columns) != width:
            raise MotionError(f"{name}: {shown(part)} takes {width} columns, {len(columns)} are named")
        missing = next((column for column in columns if column not in names), None)
        if missing is not None:
            raise MotionError(
                f"{name}: there is no column {shown(missing)} for {shown(part)}; there are: {_some(names)}"
            )
        out[part] = columns
    for column in names:
        part, _, axis = column.rpartition(".")
        width = _width(part)
        if part in out or width is None or axis not in "wxyz":
            continue
        columns = tuple(f"{part}.{letter}" for letter in ("xyz" if width == 3 else "wxyz"))
        missing = next((other for other in columns if other not in names), None)
        if missing is not None:
            raise MotionError(
                f"{name}: there is {shown(column)} and no {shown(missing)}; this part takes {_some(columns)}"
            )
        out[part] = columns
    return out


def _numbers(name: str, lines: io.StringIO, at: int, width: int, order: list[int]) -> Array:
    """The columns `order` of every row, (N, C)."""
    blocks: list[Array] = []
    rows: list[list[str]] = []
    count = 0
    for number, line in enumerate(lines, at + 1):
        if not line.strip():
            continue
        words = line.rstrip("\n").split(",")
        if len(words) != width:
            raise MotionError(f"{name}, line {number}: {len(words)} values where the table has {width} columns")
        count += 1
        if count > MAX_FRAMES:
            raise MotionError(f"{name}, line {number}: more than {MAX_FRAMES} frames; cut the table into shorter takes")
        rows.append([words[column] for column in order])
        if len(rows) == CHUNK:
            blocks.append(_block(name, rows, number))
            rows = []
    blocks.append(_block(name, rows, at + count))
    return np.concatenate(blocks) if count else np.zeros((0, len(order)))


def _block(name: str, rows: list[list[str]], last: int) -> Array:
    """Rows of words as numbers; empty is NaN. `last` is the last row's line, for messages."""
    if not rows or not rows[0]:
        return np.zeros((len(rows), 0))
    try:
        return _doubles(rows)
    except ValueError:
        word = next(word for row in rows for word in row if not _is_number(word))
        raise MotionError(
            f"{name}, about line {last}: {word[:40]!r} is not a number; mend it or leave it empty"
        ) from None


def _doubles(rows: Sequence[Sequence[str]]) -> Array:
    return np.array([[word if word.strip() else "nan" for word in row] for row in rows], dtype=np.float64)


def _is_number(word: str) -> bool:
    try:
        _doubles([[word]])
    except ValueError:
        return False
    return True


def _motion(name: str, parts: Mapping[str, Array], layout: Layout) -> StudyMotion:
    """The study's motion: its axes and metres."""
    ids = sorted({part.rpartition(".")[0] for part in parts if part.rpartition(".")[2] in (*POINTS, *TURNS)})
    if not ids:
        raise MotionError(
            f"{name}: no arms were found: columns such as L.shoulder.x, L.elbow.x and L.wrist.x are needed"
        )
    for arm in ids:
        missing = [joint for joint in NEEDED if f"{arm}.{joint}" not in parts]
        if missing:
            raise MotionError(f"{name}, arm {shown(arm)}: there is no {' and no '.join(missing)}")
    for part, values in parts.items():
        wild = ~np.isnan(values) & ~(np.abs(values) <= MAX_VALUE)
        if wild.any():
            frame = int(np.argmax(wild.any(axis=1)))
            raise MotionError(
                f"{name}: {shown(part)} has a value beyond {MAX_VALUE:.0f} at frame {frame}; mend it or leave it empty"
            )
    up, front = _AXES[layout.up], _AXES[layout.facing]
    axes = np.stack([np.cross(-front, up), -front, up], axis=1)
    notes: list[str] = []
    places = {part: values @ axes * layout.metres for part, values in parts.items() if values.shape[1] == 3}
    turns = {part: axes.T @ _turns(name, part, values, notes) for part, values in parts.items() if values.shape[1] == 4}
    arms = tuple(_arm(arm, places, turns) for arm in ids)
    torso = _torso(name, arms, places, turns)
    things = tuple((part[len(THING) :], place) for part, place in sorted(places.items()) if part.startswith(THING))
    return prepared(StudyMotion(name, layout.rate, arms, torso, things, tuple(notes)))


def _turns(name: str, part: str, quats: Array, notes: list[str]) -> Array:
    """Matrices (N, 3, 3); a frame without numbers stays one. Raises MotionError for a quaternion of zero."""
    size = np.linalg.norm(quats, axis=1)
    if (size < 1e-6).any():
        frame = int(np.argmax(size < 1e-6))
        raise MotionError(f"{name}: {shown(part)} is a quaternion of zero at frame {frame}, which is no turn; mend it")
    off = int((np.abs(size - 1.0) > UNIT_SLACK).sum())
    if off:
        notes.append(f"{part}: {off} of {len(quats)} quaternions were not of length 1 and are made so")
    return quat_to_matrix(unit(quats))


def _arm(arm: str, places: Mapping[str, Array], turns: Mapping[str, Array]) -> ArmMotion:
    wrist, tip, thumb = (places.get(f"{arm}.{joint}") for joint in ("wrist", "tip", "thumb"))
    hand = turns.get(f"{arm}.hand")
    if hand is None and wrist is not None and tip is not None and thumb is not None:
        along, aside = unit(tip - wrist), thumb - wrist
        palm = np.cross(along, aside) if arm.endswith("L") else np.cross(aside, along)
        palm = unit(palm)
        hand = np.stack([np.cross(along, palm), along, palm], axis=2)
    return ArmMotion(
        arm,
        places[f"{arm}.shoulder"],
        places[f"{arm}.elbow"],
        places[f"{arm}.wrist"],
        tip,
        hand,
        turns.get(f"{arm}.upper"),
        places.get(f"{arm}.clavicle"),
    )


def _whole(points: Array) -> NDArray[np.bool_]:
    """Frames (N,) in which a point has numbers."""
    return np.asarray(np.isfinite(points).all(axis=1))


def _torso(name: str, arms: tuple[ArmMotion, ...], places: Mapping[str, Array], turns: Mapping[str, Array]) -> Array:
    """(N, 4, 4): the table's own turn, or left from one shoulder to the other and up from the hips or the world's."""
    left = next((arm.shoulder for arm in arms if arm.arm.endswith("L")), None)
    right = next((arm.shoulder for arm in arms if not arm.arm.endswith("L")), None)
    if not len(arms[0].wrist):
        raise MotionError(f"{name}: the table has no frame; export it with its motion")
    out = np.tile(np.eye(4), (len(arms[0].wrist), 1, 1))
    turn, place = turns.get(TORSO_TURN), places.get(TORSO)
    if turn is None:
        if left is None or right is None:
            raise MotionError(
                f"{name}: one arm alone does not tell how the torso turns: add the other arm's shoulder, elbow and "
                "wrist, or columns torso.turn.w, .x, .y, .z"
            )
        middle = (left + right) / 2.0
        hips = places.get(HIPS)
        up = np.broadcast_to([0.0, 0.0, 1.0], middle.shape) if hips is None else unit(middle - hips)
        aside = unit(left - right)
        back = unit(np.cross(up, aside))
        turn = np.stack([aside, back, np.cross(aside, back)], axis=2)
        told = np.isfinite(turn).all(axis=(1, 2))
        whole = _whole(middle) & (True if hips is None else _whole(hips))
        if whole.any() and not told[whole].any():
            how = "are above each other" if hips is None else "and the hips are on one line"
            raise MotionError(
                f"{name}: the shoulders {how}, or at one place, so how the torso turns is not told: "
                "name the right joints, or add columns torso.turn.w, .x, .y, .z"
            )
        place = middle if place is None else place
    elif place is None:
        place = np.mean([arm.shoulder for arm in arms], axis=0)
    out[:, :3, :3], out[:, :3, 3] = turn, place
    return out
