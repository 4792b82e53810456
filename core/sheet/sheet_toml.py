"""A requirement sheet's written form: a TOML file with comments, for people; the reader names line and field."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path

from .. import codec, toml_input
from ..card.places import Places
from ..card.problems import refuse
from ..errors import SheetError
from .check import problems_of
from .model import FORMAT, VERSION, ArmSheet, Frames, Sheet
from .toml_text import places_of, value_text

_WHAT = "requirement sheet"
# A sheet of every requirement of many arms has a hundredth of it.
MOST_BYTES = 4 * 2**20
_HEAD = """\
# What a character's arms must do. `study` writes it from recorded motion, `build --sheet` turns on what it needs, and
# `proof --sheet` proves every line. Edit it by hand: take out what is not wanted, add what is.
# Spans of frames are evidence: first and last frame in the recording, counted from 0. They change nothing.
"""
_EMPTY = "# Nothing is asked of any arm: nothing is turned on, and there is nothing to prove.\n"
_NOTHING = "# Nothing is asked of this arm.\n"


@dataclass(frozen=True)
class SheetFile:
    """A sheet that was read from a file.

    Attributes:
        sheet: what it says.
        path: where it is; the files that it names are relative to that.
        digest: SHA-256 of the file's bytes.
        places: lines of its fields.
    """

    sheet: Sheet
    path: Path
    digest: str
    places: Places

    def recording(self) -> bytes:
        """The bytes of the torso's motion that the sheet names.

        Raises SheetError where there is none, or where it is not the file that the sheet was written with.
        """
        named = self.sheet.recording
        if named is None:
            raise SheetError(f"{self.path.name}: it names no recording: add the table [recording], or study a motion")
        data = codec.read_bytes(self.path.parent / named.torso, "recorded motion", SheetError)
        found = hashlib.sha256(data).hexdigest()
        if found != named.torso_sha256:
            raise SheetError(
                f"{self.path.name}, line {self.places.line(('recording', 'torso_sha256'))}: {named.torso} has changed "
                f"since the sheet was written (SHA-256 {found[:12]}..., the sheet has {named.torso_sha256[:12]}...): "
                "study the motion again, or put the file back"
            )
        return data


def to_text(sheet: Sheet) -> str:
    """TOML text of `sheet`, with comments. Raises SheetError for what `from_text` would refuse."""
    codec.encode(sheet, SheetError)
    refuse(problems_of(sheet), error=SheetError)
    return "".join(_lines(sheet))


def from_text(text: str | bytes, name: str = "") -> tuple[Sheet, Places]:
    """The sheet in `text` and the lines of its fields; fields that have a default may be left out.

    Raises SheetError with line and field: a line for everything that is wrong once the text is well formed.
    """
    start = f"{name}: " if name else ""
    if len(text) > MOST_BYTES:
        raise SheetError(f"{start}this {_WHAT} is too large: {len(text)} bytes, the most is {MOST_BYTES}")
    try:
        plain = text if isinstance(text, str) else text.decode("utf-8-sig")
        plain = plain.replace("\r\n", "\n")
        data = toml_input.loads(plain)
    except UnicodeDecodeError as problem:
        raise SheetError(f"{start}this {_WHAT} is not UTF-8 text (byte {problem.start}): save it as UTF-8") from None
    except toml_input.TomlProblem as problem:
        raise SheetError(f"{start}this {_WHAT} is not TOML: {problem}") from None
    places = places_of(plain)
    try:
        codec.check_header(data, FORMAT, VERSION, _WHAT, SheetError)
        rest = {key: value for key, value in data.items() if key not in ("format", "version")}
        sheet = codec.decode(Sheet, rest, "", SheetError, may_omit=True)
    except SheetError as problem:
        raise SheetError(places.put(str(problem), name)) from None
    refuse(problems_of(sheet), places, name, SheetError)
    return sheet, places


def read(path: Path) -> SheetFile:
    """The sheet in the file at `path`. Raises SheetError as `from_text` does, or if the file can not be read."""
    data = codec.read_bytes(path, _WHAT, SheetError)
    sheet, places = from_text(data, path.name)
    return SheetFile(sheet, path, hashlib.sha256(data).hexdigest(), places)


def _lines(sheet: Sheet) -> Iterator[str]:
    yield _HEAD
    if sheet.empty:
        yield _EMPTY
    yield f"\nformat = {value_text(FORMAT)}\nversion = {VERSION}\n"
    yield f"name = {value_text(sheet.name)}\n"
    if sheet.recording is not None:
        yield "\n[recording]\n"
        comments = {
            "rate": "frames a second",
            "torso": "what a proof plays, beside this file; refused when it has changed",
        }
        yield from _fields(sheet.recording, comments)
    if sheet.torso is not None:
        yield "\n# How far the torso moves meanwhile: a proof has to play at least that.\n[torso]\n"
        comments = {
            "tilt": "least and most, degrees; forward is above 0",
            "side": "least and most, degrees",
            "twist": "least and most, degrees, away from its slow heading",
            "travel": "furthest from its slow path, arm lengths",
        }
        yield from _fields(sheet.torso, comments)
    for arm in sheet.arms:
        yield from _arm(arm)


def _arm(arm: ArmSheet) -> Iterator[str]:
    yield f"\n[[arms]]\narm = {value_text(arm.arm)}\n"
    if arm.length:
        yield f"length = {value_text(arm.length)}  # metres, shoulder to wrist, as recorded\n"
    if not (arm.needs or arm.spaces):
        yield _NOTHING
    if any(vars(arm.orders).values()):
        yield "\n[arms.orders]  # rotation orders that keep furthest from gimbal lock\n"
        yield from (f"{joint} = {value_text(order)}\n" for joint, order in vars(arm.orders).items() if order)
    for need in arm.needs:
        yield f"\n[[arms.needs]]\nrequirement = {value_text(need.requirement)}\n"
        if need.most:
            yield f"most = {value_text(need.most)}  # furthest reach, arm lengths\n"
        yield from _evidence(need.why, need.frames)
    for space in arm.spaces:
        yield f"\n[[arms.spaces]]\nhold = {value_text(space.hold)}\nkind = {value_text(space.kind)}\n"
        yield f"on = {value_text(space.on)}\n"
        yield from _evidence(space.why, space.frames)


def _evidence(why: str, frames: Frames) -> Iterator[str]:
    if why:
        yield f"why = {value_text(why)}\n"
    if frames:
        yield f"frames = {value_text(frames)}\n"


def _fields(value: object, comments: dict[str, str]) -> Iterator[str]:
    for field in fields(value):  # type: ignore[arg-type]
        said = comments.get(field.name)
        yield f"{field.name} = {value_text(getattr(value, field.name))}{f'  # {said}' if said else ''}\n"
