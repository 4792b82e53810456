"""One mechanism between frozen dataclasses and JSON text, driven by the classes' type hints; strict both ways.

It knows `str`, `bool`, `int`, `float`, `None`, unions of them, tuples (fixed or `tuple[X, ...]`) and dataclasses of
these. Floats are written by `repr`, the shortest text that reads back as the same double, so data round-trips exactly;
keys are sorted, so equal data gives equal bytes. A stranger's file becomes plain data or an error that says where.
"""

from __future__ import annotations

import dataclasses
import difflib
import functools
import json
import math
import types
import typing
from collections.abc import Callable, Iterable, Sized
from pathlib import Path
from typing import Any, TypeVar

from .errors import ArmwrightError

T = TypeVar("T")

# A larger file is refused before it is parsed: the largest legal plan is far smaller.
MOST_BYTES = 64 * 1024 * 1024
# Whole numbers beyond this can not be told apart once a reader holds them as doubles.
LARGEST_INTEGER = 2**53


def encode(value: object, error: type[ArmwrightError] = ArmwrightError) -> dict[str, Any]:
    """A dataclass instance as dicts, lists and scalars; every field is written.

    Raises `error` with the path of a value that is not of its field's type, or not finite.
    """
    try:
        return typing.cast("dict[str, Any]", _write(type(value), value))
    except _Misfit as misfit:
        raise error(misfit.sentence("")) from None


def decode(
    cls: type[T], data: Any, where: str, error: type[ArmwrightError] = ArmwrightError, *, may_omit: bool = False
) -> T:
    """An instance of dataclass `cls` from parsed JSON; `where` starts the paths in messages ("" for the whole file).

    `may_omit` lets fields that have a default be left out, for files that people write; without it every field must be
    there. Raises `error` for a wrong type, a non-finite number, an unknown, missing or doubled field.
    """
    try:
        return typing.cast(T, _read(cls, data, may_omit))
    except _Misfit as misfit:
        raise error(misfit.sentence(where)) from None


def to_text(data: dict[str, Any]) -> str:
    """JSON text of an encoded object: ASCII, sorted keys, a line per item of a top-level list, a newline at the end."""
    lines = []
    for key in sorted(data):
        value = data[key]
        if isinstance(value, list) and value:
            lines.append(f"{_dump(key)}: [\n" + ",\n".join(_dump(item) for item in value) + "\n]")
        else:
            lines.append(f"{_dump(key)}: {_dump(value)}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def parse(text: str | bytes, what: str, error: type[ArmwrightError]) -> dict[str, Any]:
    """The JSON object in `text`; `what` names the file's kind in messages ("plan").

    Raises `error` with line and column if the text is too large, cut off, not JSON, or not an object.
    """
    if len(text) > MOST_BYTES:
        raise error(
            f"this {what} is too large: {len(text)} bytes, the most is {MOST_BYTES}; check that it is the right file"
        )
    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
        data = json.loads(text, object_pairs_hook=_Object.of_pairs)
    except UnicodeDecodeError as problem:
        raise error(f"this {what} is not UTF-8 text (byte {problem.start}): save it as UTF-8 JSON") from None
    except json.JSONDecodeError as problem:
        raise error(
            f"this {what} is not complete JSON: {problem.msg} at line {problem.lineno}, column {problem.colno}; "
            "the file may be cut off or edited by hand: write it again"
        ) from None
    except RecursionError:
        raise error(f"this {what} nests lists too deeply to be a {what}: write it again") from None
    except ValueError:
        raise error(f"this {what} holds a whole number with too many digits: write it again") from None
    if not isinstance(data, dict):
        raise error(f"this is not a {what}: it holds {_kind(data)} where an object with named fields belongs")
    return data


def read_bytes(path: Path, what: str, error: type[ArmwrightError]) -> bytes:
    """The bytes of the file at `path`, refused with `error` before reading if it is missing or over MOST_BYTES."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise error(f"{path} is too large for a {what}: {size} bytes, the most is {MOST_BYTES}")
        return path.read_bytes()
    except OSError as problem:
        raise error(f"{path} can not be read: {problem.strerror or problem}") from None


def check_header(data: dict[str, Any], name: str, version: int, what: str, error: type[ArmwrightError]) -> None:
    """Refuse, with `error`, an object whose "format" and "version" are not ones that this code reads."""
    if isinstance(data, _Object) and data.twice is not None:
        raise error(f"the field {_show(data.twice)} is there twice; keep one of them")
    if "format" not in data or "version" not in data:
        missing = "format" if "format" not in data else "version"
        raise error(f'this is not a {what}: the field "{missing}" is missing; expected "format": "{name}"')
    check_version(data["format"], data["version"], name, version, what, error)


def check_version(
    found: Any, found_version: Any, name: str, version: int, what: str, error: type[ArmwrightError]
) -> None:
    """Refuse, with `error`, a format other than `name` and a version that is not a whole number from 1 to `version`."""
    if found != name:
        raise error(f'this is not a {what}: its format is {_show(found)}, expected "{name}"')
    if type(found_version) is not int or found_version < 1:
        raise error(f"this {what} has the version {_show(found_version)}: expected a whole number from 1 to {version}")
    if found_version > version:
        raise error(
            f"this {what} was written by a newer Armwright (version {_show(found_version)}; this one reads up to "
            f"{version}): update the extension"
        )


class _Object(dict[str, Any]):
    """A parsed JSON object that remembers a key that was there twice."""

    twice: str | None = None

    @staticmethod
    def of_pairs(pairs: list[tuple[str, Any]]) -> _Object:
        found = _Object(pairs)
        if len(found) != len(pairs):
            seen: set[str] = set()
            for name, _ in pairs:
                if name in seen:
                    found.twice = name
                    break
                seen.add(name)
        return found


class _Misfit(Exception):
    """A value that does not fit; the path is collected on the way out, so that good data pays nothing for it."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.path: list[str] = []

    def under(self, step: str) -> _Misfit:
        self.path.append(step)
        return self

    def sentence(self, where: str) -> str:
        path = (where + "".join(reversed(self.path))).removeprefix(".")
        return f"{path}: {self.reason}" if path else self.reason


@functools.cache
def _hints(cls: Any) -> dict[str, Any]:
    """Types of a dataclass's fields."""
    hints = typing.get_type_hints(cls)
    return {field.name: hints[field.name] for field in dataclasses.fields(cls)}


@functools.cache
def _required(cls: Any) -> frozenset[str]:
    """Names of the fields of a dataclass that have no default."""
    missing = dataclasses.MISSING
    return frozenset(f.name for f in dataclasses.fields(cls) if f.default is missing and f.default_factory is missing)


def _write(hint: Any, value: Any) -> Any:
    # What most values are, before anything is asked of the type.
    if type(value) is hint and (hint is str or hint is bool or (hint is float and math.isfinite(value))):
        return value
    form = _form(hint)
    if form is _DATACLASS:
        if type(value) is not hint:
            raise _Misfit(f"expected {_expected(hint)}, found {_kind(value)}")
        out = {}
        for name, of in _hints(typing.cast(Any, hint)).items():
            try:
                out[name] = _write(of, getattr(value, name))
            except _Misfit as misfit:
                raise misfit.under(f".{name}") from None
        return out
    if form is _TUPLE:
        if not isinstance(value, tuple):
            raise _Misfit(f"expected a tuple, found {_kind(value)}")
        items = []
        for of, item in zip(_item_hints(hint, value), value, strict=True):
            try:
                items.append(_write(of, item))
            except _Misfit as misfit:
                raise misfit.under(_place(len(items), item)) from None
        return items
    for member in _members(hint):
        if type(value) is member or (_form(member) is _TUPLE and isinstance(value, tuple)):
            return _write(member, value) if _form(member) is not _SCALAR else _scalar(member, value)
    return _scalar(hint, value)


def _read(hint: Any, value: Any, may_omit: bool) -> Any:
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return _read_object(hint, value, may_omit)
    if typing.get_origin(hint) is tuple:
        if not isinstance(value, list):
            raise _Misfit(f"expected a list, found {_kind(value)}")
        items = zip(_item_hints(hint, value), value, strict=True)
        return tuple(_step(_read, _place(at, item), of, item, may_omit) for at, (of, item) in enumerate(items))
    if isinstance(value, dict | list):
        for member in _members(hint):
            if _form(member) is not _SCALAR:
                return _read(member, value, may_omit)
    return _scalar(hint, value)


def _read_object(cls: Any, value: Any, may_omit: bool) -> Any:
    if not isinstance(value, dict):
        raise _Misfit(f"expected an object with named fields, found {_kind(value)}")
    if isinstance(value, _Object) and value.twice is not None:
        raise _Misfit(f"the field {_show(value.twice)} is there twice; keep one of them")
    hints = _hints(cls)
    for name in value:
        if name not in hints:
            raise _Misfit(f"unknown field {_show(name)}{_nearest(name, hints)}; known are {', '.join(hints)}")
    needed = _required(cls) if may_omit else hints
    for name in hints:
        if name in needed and name not in value:
            raise _Misfit(f'the field "{name}" is missing')
    return cls(**{name: _step(_read, f".{name}", hints[name], item, may_omit) for name, item in value.items()})


def _nearest(name: str, known: Iterable[str]) -> str:
    """ ", perhaps "elbow" is meant"; "" where nothing that is known looks like `name`."""
    like = difflib.get_close_matches(name[:80], known, 1)
    return f', perhaps "{like[0]}" is meant' if like else ""


def _scalar(hint: Any, value: Any) -> Any:
    """`value` as the scalar type or union of scalar types `hint`."""
    members = _members(hint)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise _Misfit(f"expected a finite number, found {value}")
        if float in members:
            return float(value)
    elif type(value) is int:
        if abs(value) > LARGEST_INTEGER:
            raise _Misfit("this whole number is too large")
        if int in members:
            return value
        if float in members:
            return float(value)
    elif type(value) in members:
        return value
    raise _Misfit(f"expected {_expected(hint)}, found {_kind(value)}")


def _step(inner: Callable[..., Any], step: str, *arguments: Any) -> Any:
    try:
        return inner(*arguments)
    except _Misfit as misfit:
        raise misfit.under(step) from None


def _item_hints(hint: Any, items: Sized) -> Iterable[Any]:
    """The types of the items of a tuple type, as many as there are items."""
    arguments = typing.get_args(hint)
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return [arguments[0]] * len(items)
    if len(items) != len(arguments):
        raise _Misfit(f"expected {len(arguments)} items, found {len(items)}")
    return arguments


@functools.cache
def _members(hint: Any) -> tuple[Any, ...]:
    """The types that a hint allows."""
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        return typing.get_args(hint)
    return (hint,)


_DATACLASS, _TUPLE, _SCALAR = "dataclass", "tuple", "scalar"


@functools.cache
def _form(hint: Any) -> str:
    """What a type hint stands for; a union counts as scalar and is looked into member by member."""
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return _DATACLASS
    return _TUPLE if typing.get_origin(hint) is tuple else _SCALAR


def _place(index: int, item: Any) -> str:
    """`[3]`, and the item's name where it has one: a person finds a bone by its name, not by its place."""
    for key in ("name", "bone", "side"):
        name = item.get(key) if isinstance(item, dict) else getattr(item, key, None)
        if isinstance(name, str) and name:
            return f"[{index}] ({_show(name)})"
    return f"[{index}]"


def _expected(hint: Any) -> str:
    words = {bool: "true or false", int: "a whole number", float: "a number", str: "a text", type(None): "null"}
    found = []
    for member in _members(hint):
        compound = "a list" if typing.get_origin(member) is tuple else "an object with named fields"
        found.append(words.get(member, compound))
    return " or ".join(found)


def _kind(value: Any) -> str:
    """What a value is, in words for people."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"the number {_show(value)}"
    if isinstance(value, str):
        return f"the text {_show(value)}"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    return "an object" if isinstance(value, dict) else f"a {type(value).__name__}"


def _show(value: Any) -> str:
    """A scalar as in the file, shortened: a hostile file must not flood a message."""
    if type(value) is int and abs(value) > LARGEST_INTEGER:
        return "beyond 2**53"
    text = json.dumps(value) if isinstance(value, str | int | float) or value is None else _kind(value)
    return text if len(text) <= 80 else text[:77] + "..."


def _dump(value: Any) -> str:
    return json.dumps(value, sort_keys=True, allow_nan=False)
