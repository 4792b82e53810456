"""Recorded motion in BVH files: reading, and forward kinematics of what was read.

A joint's channels apply in the order in which the file lists them, each multiplied on the right: the rotations
`Zrotation Yrotation Xrotation` are Rz·Ry·Rx. A root's position channels are added to its offset (Biovision's
description); another joint's position channels take its offset's place, as exporters write them (from memory).
Axes, unit of length and handedness are the file's own; angles are degrees in the file and in `Bvh.frames`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError, named, shown

Array = NDArray[np.float64]

# Files beyond these are not a person's motion; refusing them keeps a bad file from filling the memory.
MAX_BYTES = 64 * 2**20
MAX_JOINTS = 2_000
MAX_FRAMES = 1_000_000
MAX_VALUE = 1e7

CHANNELS = ("Xposition", "Yposition", "Zposition", "Xrotation", "Yrotation", "Zrotation")
_BY_LOWER = {name.lower(): name for name in CHANNELS}
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_MOTION_HEAD = (
    ("Frames: <number>", r"frames\s*+:?\s*+(\S+)"),
    ("Frame Time: <seconds>", r"frame\s*+time\s*+:?\s*+(\S+)"),
)
_END = -2


@dataclass(frozen=True)
class BvhJoint:
    """A joint: `parent` is an index into the joints, -1 for a root; `column` is its first column of the frames;
    `offset` is from its parent at rest; `end` is the offset of its End Site, None where it has none."""

    name: str
    parent: int
    offset: tuple[float, float, float]
    channels: tuple[str, ...]
    column: int
    end: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Bvh:
    """A motion file: joints, parents first; `frames` (F, channels), read-only; `frame_time` in seconds."""

    joints: tuple[BvhJoint, ...]
    frames: Array
    frame_time: float

    def index(self, name: str) -> int:
        """Index of the joint called `name`; MotionError that lists the joints there are."""
        names = [joint.name for joint in self.joints]
        if name not in names:
            raise MotionError(f"the BVH has no joint {shown(name)}; name one of: {', '.join(map(named, names[:40]))}")
        return names.index(name)


@dataclass
class _Draft:
    name: str
    parent: int
    line: int
    offset: tuple[float, float, float] | None = None
    channels: tuple[str, ...] | None = None
    end: tuple[float, float, float] | None = None


def read_bvh(text: str | bytes) -> Bvh:
    """Read a BVH file's content.

    Raises MotionError, with the line's number and what to do, for content that is not a BVH, is cut short, has
    unbalanced braces, unknown channels, a wrong number of values, values that are no finite numbers, no frames, a frame
    time that is not positive, or a size beyond the limits above.
    """
    content = _decode(text)
    # Only line feeds end a line, so that the numbers in messages are those of an editor.
    lines = content.removesuffix("\n").split("\n")
    first = next((i for i, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise MotionError("the BVH is empty; save or download it again")
    if lines[first].strip().upper() != "HIERARCHY":
        raise MotionError(f"line {first + 1}: a BVH starts with HIERARCHY; this is not a BVH file, choose another")
    joints, motion = _read_hierarchy(lines, first + 1)
    columns = sum(len(joint.channels) for joint in joints)
    if columns == 0:
        raise MotionError("the BVH's joints have no channels, so it holds no motion; export it with motion")
    count, frame_time, start = _read_motion_head(lines, motion)
    frames = _read_frames(lines, start, count, columns, torn=not content.endswith("\n"))
    frames.setflags(write=False)
    return Bvh(joints=joints, frames=frames, frame_time=frame_time)


def local_rotations(bvh: Bvh, frames: Array | None = None) -> Array:
    """Rotation of every joint in its parent's axes, (F, joints, 3, 3), of `frames` (F, channels) or the file's own."""
    values = bvh.frames if frames is None else frames
    result = np.tile(np.eye(3), (len(values), len(bvh.joints), 1, 1))
    for index, joint in enumerate(bvh.joints):
        for place, channel in enumerate(joint.channels):
            if channel.endswith("rotation"):
                turn = _about_axis("XYZ".index(channel[0]), np.radians(values[:, joint.column + place]))
                result[:, index] = result[:, index] @ turn
    return result


def local_translations(bvh: Bvh, frames: Array | None = None) -> Array:
    """Position of every joint in its parent's axes, (F, joints, 3), in the file's unit."""
    values = bvh.frames if frames is None else frames
    result = np.empty((len(values), len(bvh.joints), 3))
    for index, joint in enumerate(bvh.joints):
        result[:, index] = joint.offset
        for place, channel in enumerate(joint.channels):
            if channel.endswith("position"):
                axis = "XYZ".index(channel[0])
                base = joint.offset[axis] if joint.parent < 0 else 0.0
                result[:, index, axis] = base + values[:, joint.column + place]
    return result


def forward(bvh: Bvh, rotations: Array, translations: Array) -> tuple[Array, Array]:
    """From local to global: rotations (F, joints, 3, 3) and positions (F, joints, 3), in the file's axes and unit."""
    turned, placed = np.empty_like(rotations), np.empty_like(translations)
    for index, joint in enumerate(bvh.joints):
        if joint.parent < 0:
            turned[:, index], placed[:, index] = rotations[:, index], translations[:, index]
        else:
            carrier = turned[:, joint.parent]
            turned[:, index] = carrier @ rotations[:, index]
            placed[:, index] = placed[:, joint.parent] + np.einsum("fij,fj->fi", carrier, translations[:, index])
    return turned, placed


def _about_axis(axis: int, angle: Array) -> Array:
    """Rotations about axis 0, 1 or 2 by `angle` (F,) radians: (F, 3, 3)."""
    one, two = (axis + 1) % 3, (axis + 2) % 3
    cosine, sine = np.cos(angle), np.sin(angle)
    result = np.tile(np.eye(3), (len(angle), 1, 1))
    result[:, one, one], result[:, one, two] = cosine, -sine
    result[:, two, one], result[:, two, two] = sine, cosine
    return result


def _decode(raw: str | bytes) -> str:
    if len(raw) > MAX_BYTES:
        raise MotionError(f"the BVH has {len(raw)} bytes, more than {MAX_BYTES}; cut it into shorter takes")
    text = raw if isinstance(raw, str) else ""
    if isinstance(raw, bytes):
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = raw.count(b"\n", 0, error.start) + 1
            raise MotionError(
                f"line {line}: byte {error.start} is not text; this is not a BVH file, or its names are not in UTF-8"
            ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise MotionError(f"line {line}: a zero byte is not text; this is not a BVH file, or it is damaged")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _read_hierarchy(lines: list[str], start: int) -> tuple[tuple[BvhJoint, ...], int]:
    """Joints, and the index of the line after MOTION."""
    drafts: list[_Draft] = []
    names: set[str] = set()
    stack: list[int] = []
    opening: int | None = None
    for at in range(start, len(lines)):
        for words in _statements(lines[at]):
            key, where = words[0].upper(), f"line {at + 1}"
            if opening is not None and key != "{":
                raise MotionError(
                    f"{where}: an opening brace is missing before {shown(words[0])}; add it or export again"
                )
            if key == "{":
                if opening is None:
                    raise MotionError(f"{where}: an opening brace that belongs to no joint; remove it or export again")
                stack.append(opening)
                opening = None
            elif key == "}":
                if not stack:
                    raise MotionError(f"{where}: a closing brace too many; remove it or export again")
                stack.pop()
            elif key in ("ROOT", "JOINT", "END"):
                opening = _open(key, words, stack, drafts, names, at + 1)
            elif key == "MOTION":
                if stack:
                    raise MotionError(f"{where}: {len(stack)} closing braces are missing before MOTION; export again")
                return _finish(drafts, at + 1), at + 1
            elif key in ("OFFSET", "CHANNELS") and stack:
                _describe(key, words, stack, drafts, where)
            else:
                raise MotionError(
                    f"{where}: {words[0][:40]!r} is not expected here; a hierarchy has ROOT, JOINT, End Site, OFFSET, "
                    "CHANNELS and braces; mend the line or export again"
                )
    raise MotionError(
        f"line {len(lines)}: the file ends inside its hierarchy, before MOTION; it is cut short: "
        "copy or download it again"
    )


def _statements(line: str) -> list[list[str]]:
    """A line's words, with braces that end a statement split off."""
    words = line.split()
    first, end = 0, len(words)
    while first < end and words[first] in "{}":
        first += 1
    while end > first and words[end - 1] in "{}":
        end -= 1
    middle = [words[first:end]] if first < end else []
    return [[brace] for brace in words[:first]] + middle + [[brace] for brace in words[end:]]


def _open(key: str, words: list[str], stack: list[int], drafts: list[_Draft], names: set[str], line: int) -> int:
    """Index of the joint that the next brace opens, or _END."""
    if stack and stack[-1] == _END:
        raise MotionError(f"line {line}: an End Site can hold no {words[0]}; close it first or export again")
    if (key == "ROOT") == bool(stack):
        place = "inside a joint" if stack else "outside any joint"
        raise MotionError(f"line {line}: {words[0]} {place}; a brace is missing or too many, export again")
    if key == "END":
        return _END
    name = " ".join(words[1:])
    if not name:
        raise MotionError(f"line {line}: a joint without a name; name it or export again")
    if name in names:
        raise MotionError(f"line {line}: a second joint is called {shown(name)}; rename one of them")
    if len(drafts) >= MAX_JOINTS:
        raise MotionError(f"line {line}: more than {MAX_JOINTS} joints; this is not a person's motion")
    names.add(name)
    drafts.append(_Draft(name, stack[-1] if stack else -1, line))
    return len(drafts) - 1


def _describe(key: str, words: list[str], stack: list[int], drafts: list[_Draft], where: str) -> None:
    """Take an OFFSET or CHANNELS line into the joint that is open."""
    owner = next(index for index in reversed(stack) if index != _END)
    draft, in_end = drafts[owner], stack[-1] == _END
    if key == "OFFSET":
        if len(words) != 4:
            raise MotionError(f"{where}: OFFSET has {len(words) - 1} values; it takes 3")
        x, y, z = (_number(word, where) for word in words[1:])
        if in_end:
            draft.end = (x, y, z)
        elif draft.offset is None:
            draft.offset = (x, y, z)
        else:
            raise MotionError(f"{where}: a second OFFSET for {shown(draft.name)}; remove one")
        return
    if in_end or draft.channels is not None:
        raise MotionError(f"{where}: {shown(draft.name)} already has its channels; remove this line or export again")
    if len(words) < 2 or not words[1].isdecimal() or int(words[1][:6]) != len(words) - 2:
        said, listed = " ".join(words[1:2])[:40], max(len(words) - 2, 0)
        raise MotionError(f"{where}: CHANNELS says {said!r} and lists {listed}; mend the number or export again")
    unknown = [word for word in words[2:] if word.lower() not in _BY_LOWER]
    if unknown:
        raise MotionError(f"{where}: unknown channel {unknown[0][:40]!r}; the channels are {', '.join(CHANNELS)}")
    if len(words) - 2 > len(CHANNELS):
        raise MotionError(f"{where}: {len(words) - 2} channels for one joint; at most {len(CHANNELS)} make sense")
    draft.channels = tuple(_BY_LOWER[word.lower()] for word in words[2:])


def _finish(drafts: list[_Draft], line: int) -> tuple[BvhJoint, ...]:
    if not drafts:
        raise MotionError(f"line {line}: MOTION comes before any ROOT; the hierarchy is missing, export again")
    joints: list[BvhJoint] = []
    column = 0
    for draft in drafts:
        if draft.offset is None:
            raise MotionError(f"line {draft.line}: {shown(draft.name)} has no OFFSET; add it or export again")
        channels = draft.channels or ()
        joints.append(BvhJoint(draft.name, draft.parent, draft.offset, channels, column, draft.end))
        column += len(channels)
    return tuple(joints)


def _read_motion_head(lines: list[str], start: int) -> tuple[int, float, int]:
    """Number of frames, frame time in seconds, and the index of the line after them."""
    found: list[str] = []
    at = start
    for what, pattern in _MOTION_HEAD:
        while at < len(lines) and not lines[at].strip():
            at += 1
        if at >= len(lines):
            raise MotionError(
                f"line {len(lines)}: the file ends before '{what}', with no frame whole; it is cut short: copy it again"
            )
        match = re.fullmatch(pattern, lines[at].strip(), re.IGNORECASE)
        if match is None:
            given = lines[at].strip()[:40]
            raise MotionError(f"line {at + 1}: '{what}' is expected here, not {given!r}; mend the line")
        found.append(match[1])
        at += 1
    return _frame_count(found[0], lines, start), _frame_time(found[1], f"line {at}"), at


def _frame_count(word: str, lines: list[str], start: int) -> int:
    line = next(at for at in range(start, len(lines)) if lines[at].strip()) + 1
    if not (word.isascii() and word.isdecimal()):
        raise MotionError(f"line {line}: {word[:40]!r} is not a number of frames; give a whole number from 1")
    if len(word) > 12 or int(word) > MAX_FRAMES:
        raise MotionError(f"line {line}: {word[:40]} frames, more than {MAX_FRAMES}; cut it into shorter takes")
    if int(word) == 0:
        raise MotionError(f"line {line}: the file has no frames; export it with its motion")
    return int(word)


def _frame_time(word: str, where: str) -> float:
    seconds = _number(word, where)
    if seconds <= 0.0:
        raise MotionError(f"{where}: a frame time of {word[:40]} seconds; give one above zero, such as 0.0083333")
    return seconds


def _read_frames(lines: list[str], start: int, count: int, columns: int, torn: bool) -> Array:
    """Frames, (count, columns): one line each. `torn`: the last line has no line feed, so it may have lost digits."""
    rows = [(at, line.split()) for at, line in enumerate(lines[start:], start) if line.strip()]
    torn = torn and bool(rows) and rows[-1][0] == len(lines) - 1
    whole = sum(1 for _, words in rows if len(words) == columns)
    if len(rows) < count or (len(rows) == count and len(rows[-1][1]) < columns and torn):
        whole -= int(torn and len(rows[-1][1]) == columns)
        raise MotionError(
            f"line {len(lines)}: the file says {count} frames and {whole} are whole; it is cut short: "
            f"copy or download it again, or set 'Frames: {whole}' and remove what follows them"
        )
    for at, words in rows:
        if len(words) != columns:
            raise MotionError(
                f"line {at + 1}: {len(words)} values where the joints have {columns} channels; "
                "mend the line or export again, one frame a line"
            )
    if len(rows) > count:
        raise MotionError(
            f"line {rows[count][0] + 1}: {len(rows)} frames where the file says {count}; set 'Frames: {len(rows)}' "
            "or remove the rest"
        )
    try:
        frames = np.array([words for _, words in rows], dtype=np.float64)
    except ValueError:
        frames = np.full((1, 1), np.nan)
    if "_" not in "".join(lines[start:]) and np.all(np.abs(frames) <= MAX_VALUE):
        return frames
    # Something is wrong: find the line by reading slowly.
    return np.array([[_number(word, f"line {at + 1}") for word in words] for at, words in rows], dtype=np.float64)


def _number(word: str, where: str) -> float:
    value = float(word) if _NUMBER.fullmatch(word) and word.isascii() else math.nan
    if not abs(value) <= MAX_VALUE:
        raise MotionError(
            f"{where}: {word[:40]!r} is not a number from -{MAX_VALUE:.0f} to {MAX_VALUE:.0f}; mend it or export again"
        )
    return value
