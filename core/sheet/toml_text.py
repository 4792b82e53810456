"""TOML written and located: values as text, and the line that a field is on. Reading is the standard library's."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Sequence

from ..card.places import Path, Places
from ..errors import SheetError

Value = str | int | float | bool | Sequence["Value"]

_KEY = r'(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\')'
_DOTTED = rf"{_KEY}(?:[ \t]*\.[ \t]*{_KEY})*"
_HEADER = re.compile(rf"(\[\[?)[ \t]*({_DOTTED})[ \t]*\]\]?")
_FIELD = re.compile(rf"({_DOTTED})[ \t]*=")
_PART = re.compile(_KEY)
_BLANK = re.compile(r"[ \t\r]*")
# What can hold a bracket, a quote or a line break that does not count.
_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]|\n|[^"\'#\[\]{}\n]+',
    re.DOTALL,
)
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


def value_text(value: Value) -> str:
    """`value` as TOML on one line. Raises SheetError for a number that is not finite."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise SheetError(f"a sheet holds finite numbers, not {value}")
        return repr(value)
    return f"[{', '.join(value_text(item) for item in value)}]"


def _string(text: str) -> str:
    """A basic string: everything that is no plain character is escaped; a lone surrogate goes."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    quoted = json.dumps(whole, ensure_ascii=False)
    return _CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", quoted)


def places_of(text: str) -> Places:
    """Lines of the tables and fields in `text`, which the TOML parser has to have taken."""
    lines: dict[Path, int] = {(): 1}
    newest: dict[Path, int] = {}
    table: Path = ()
    line, at = 1, 0
    while at < len(text):
        start = _BLANK.match(text, at)
        at = at if start is None else start.end()
        header, named = _HEADER.match(text, at), _FIELD.match(text, at)
        if header:
            table = _table(_parts(header[2]), header[1] == "[[", newest)
            lines[table] = line
            at = header.end()
        elif named:
            lines[(*table, *_parts(named[1]))] = line
            at = named.end()
        # On to the end of the line in which no bracket is open.
        depth, ended = 0, False
        while at < len(text) and not ended:
            token = _TOKEN.match(text, at)
            word = text[at] if token is None else token[0]
            at += len(word)
            line += word.count("\n")
            depth += (word in ("[", "{")) - (word in ("]", "}"))
            ended = word == "\n" and depth <= 0
    return Places(lines)


def _parts(dotted: str) -> Path:
    # What stands in quotes may be escaped in ways of TOML's own.
    return tuple(
        next(iter(tomllib.loads(f"{part} = 0"))) if part[0] in "\"'" else part for part in _PART.findall(dotted)
    )


def _table(parts: Path, listed: bool, newest: dict[Path, int]) -> Path:
    """The path of a table by its header; `newest` is the index of the last table of each list, by the list's path."""
    path: Path = ()
    for place, part in enumerate(parts):
        path = (*path, part)
        if listed and place == len(parts) - 1:
            newest[path] = newest.get(path, -1) + 1
        if path in newest:
            path = (*path, newest[path])
    return path
