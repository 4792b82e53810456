"""Hostile inputs made from good ones: fields replaced, removed, doubled and nested, lines and bytes damaged.

Every function takes a `random.Random`, so that the same seed makes the same inputs in any process.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Sequence
from typing import Any

Rng = random.Random


class Raw(str):
    """A piece of a file that is written as it stands."""


HOSTILE_NAMES = (
    "",
    " ",
    ".",
    "..",
    "../../x",
    "..\\x",
    "/etc/passwd",
    "C:\\x",
    "\x00",
    "a\x00b",
    "a\nb",
    "\x1b[31mred",
    "\u202eabc",
    "\ud800",
    "a" * 63,
    "é" * 32,
    "a" * 64,
    "a" * 5000,
    'a"]["b',
    "a\\",
    "a]",
    "']",
    "__class__",
    "constructor",
    "</script><script>alert(1)</script>",
    "{{7*7}}",
    "${x}",
    "%s%n",
    "javascript:alert(1)",
    "<!--",
    "]]>",
    "&lt;",
    "__import__('os')",
    "L",
    "R",
    "lower.L",
    "hand",
    "🦭",
    "İ",
    "𝐋",
    "Ｌ",
    "nan",
    "None",
    "0",
    "-1",
    "1e999",
)
_NUMBERS = (
    "0",
    "-0",
    "-1",
    "1",
    "2",
    "0.0",
    "-0.0",
    "1e-320",
    "5e-324",
    "1e308",
    "-1e308",
    "1e999",
    "-1e999",
    "NaN",
    "Infinity",
    "-Infinity",
    "9007199254740993",
    "9223372036854775808",
    "-9223372036854775809",
    "1" * 400,
    "1" * 5000,
    "0.1",
    "0.5",
    "179.999",
    "1e7",
    "1e6",
    "1e-9",
    "1000000",
    "123456789012345678901234567890.5",
)
_DEPTHS = (3, 60, 300, 480, 800, 960, 990, 1200, 10_000)


def hostile_json(rng: random.Random) -> Any:
    """A value that no field expects."""
    kind = rng.randrange(9)
    if kind == 0:
        return Raw(rng.choice(_NUMBERS))
    if kind == 1:
        return rng.choice(HOSTILE_NAMES)
    if kind == 2:
        depth = rng.choice(_DEPTHS)
        opening, closing = rng.choice((("[", "]"), ('{"a":', "}"), ('[{"name":', "}]")))
        return Raw(opening * depth + "0" + closing * depth)
    if kind == 3:
        return rng.choice((None, True, False))
    if kind == 4:
        return [hostile_json(rng) for _ in range(rng.randrange(4))]
    if kind == 5:
        return {rng.choice(HOSTILE_NAMES): hostile_json(rng) for _ in range(rng.randrange(3))}
    if kind == 6:
        return Raw('"' + rng.choice(("\\ud800", "\\u0000", "\\udfff", "\\n", "\\u202e", "\\u001b[2J")) * 3 + '"')
    if kind == 7:
        return Raw('{"a":1,"a":2}')
    return "x" * rng.choice((100, 5_000, 100_000))


def _paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path]
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        found += _paths(item, (*path, key))
    return found


def _change(value: Any, path: tuple[Any, ...], change: Callable[[Any, Any], Any]) -> Any:
    """`value` with `change(holder, key)` done where `path` ends."""
    if not path:
        return value
    holder = value
    for key in path[:-1]:
        holder = holder[key]
    change(holder, path[-1])
    return value


def mutated_json(rng: random.Random, text: str) -> bytes:
    """A JSON text with one to three of its values changed."""
    try:
        data = json.loads(text)
        paths = _paths(data)
    except (ValueError, RecursionError):
        return mutated_text(rng, text)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        path = rng.choice(paths)
        action = rng.randrange(8)
        if not path and action < 7:
            continue

        def act(holder: Any, key: Any, action: int = action) -> None:
            if action <= 2:
                holder[key] = hostile_json(rng)
            elif action == 3:
                del holder[key]
            elif action == 4 and isinstance(holder, list):
                holder.extend([holder[key]] * rng.choice((1, 2, 40)))
            elif action == 5 and isinstance(holder, dict):
                holder[rng.choice(HOSTILE_NAMES)] = holder.pop(key)
            elif action == 6 and isinstance(holder, dict):
                holder[Raw(json.dumps(key))] = hostile_json(rng)
            elif isinstance(holder[key], int | float):
                holder[key] = Raw(rng.choice(_NUMBERS))
            elif isinstance(holder[key], str):
                holder[key] = rng.choice(HOSTILE_NAMES)

        try:
            _change(data, path, act)
        except (KeyError, IndexError, TypeError):
            continue
    try:
        return _written(data).encode("utf-8", "surrogatepass")
    except RecursionError:  # an input that nests deeply already
        return mutated_text(rng, text)


def _written(value: Any) -> str:
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, dict):
        # A raw key stands beside the plain one: a field that is there twice.
        fields = (
            f"{key if isinstance(key, Raw) else json.dumps(key)}: {_written(item)}" for key, item in value.items()
        )
        return "{" + ", ".join(fields) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_written, value)) + "]"
    return json.dumps(value)


_TOML_VALUES = (
    "0",
    "-1",
    "1e999",
    "nan",
    "-inf",
    "true",
    '""',
    "''",
    "[]",
    "{}",
    "1979-05-27",
    "1979-05-27T07:32:00Z",
    "07:32:00",
    "0x" + "f" * 5000,
    "0b" + "1" * 20000,
    "1" * 5000,
    "9223372036854775808",
    "[[1,2],[3,4]]",
    "[" * 500 + "]" * 500,
    "{a.b.c = 1}",
    '"../../x"',
    '"\\u0000"',
    '"\\U0001F9AD"',
    '"""\na\n]"""',
    "'''\n[x]\n'''",
    "{a = [",
    '"' + "x" * 9000 + '"',
)
_TOML_LINES = (
    "[arms]",
    "[[arms]]",
    "[[arms.needs]]",
    '["a\\U00000041"]',
    '"\\U00000041" = 1',
    '"a\tb" = 1',
    "'a\tb' = 1",
    '"\'" = 1',
    "a.b.c.d = 1",
    '"" = 1',
    '["".""]',
    "# \u202e",
    "\ufeff",
    "a" * 3000 + " = 1",
    ".".join("a" * 3000) + " = 1",
    "x = {" + ".".join("b" * 2000) + " = 1}",
    "[" + ".".join("c" * 3000) + "]",
    "version = 0x" + "f" * 6000,
)


def mutated_toml(rng: random.Random, text: str) -> bytes:
    """A TOML text with lines replaced, doubled, removed, and values that no field expects."""
    lines = text.split("\n")
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(lines))
        action = rng.randrange(6)
        if action <= 1 and "=" in lines[at]:
            lines[at] = lines[at].split("=", 1)[0] + "= " + rng.choice(_TOML_VALUES)
        elif action == 2:
            lines.insert(at, rng.choice(_TOML_LINES))
        elif action == 3 and len(lines) > 1:
            del lines[at]
        elif action == 4:
            lines.insert(rng.randrange(len(lines) + 1), lines[at])
        else:
            return mutated_text(rng, "\n".join(lines))
    return "\n".join(lines).encode("utf-8", "surrogatepass")


_WORDS = (
    "nan",
    "inf",
    "-inf",
    "1e999",
    "1e-320",
    "1e7",
    "-1e7",
    "1" * 400,
    "1_0",
    "٣",
    "０",
    "²",
    "0x10",
    "1e",
    ".",
    "-",
    "+",
    "{",
    "}",
    "{ { {",
    "}" * 30,
    "ROOT",
    "JOINT x",
    "End Site",
    "OFFSET",
    "CHANNELS 3",
    "MOTION",
    "Frames: 999999",
    "Frames:",
    "Frame Time: 1e7",
    "Frame Time: 1e-300",
    "HIERARCHY",
    '"',
    "'",
    ",",
    ",,,",
    "#",
    "\x00",
    "\x1b",
    "\u2028",
    "\x0b",
    "\x85",
    "-0",
    "1d5",
    "  ",
    "\t",
    "x" * 3000,
    "0",
    "-1",
    "2147483648",
    "",
    "(",
    ")",
    "[",
    "]",
    "\\",
    "\r",
)


def mutated_text(rng: random.Random, text: str) -> bytes:
    """A text with words and lines replaced, doubled, removed and swapped."""
    lines = text.split("\n")
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(lines))
        action = rng.randrange(7)
        if action <= 2:
            parts = re.split(r"([\s,]+)", lines[at])
            parts[rng.randrange(len(parts))] = rng.choice(_WORDS)
            lines[at] = "".join(parts)
        elif action == 3 and len(lines) > 1:
            del lines[at]
        elif action == 4:
            lines[at:at] = [lines[at]] * rng.choice((1, 2, 50))
        elif action == 5:
            other = rng.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            lines.insert(at, rng.choice(_WORDS) + rng.choice((" ", "")) * rng.choice((1, 3000)) + rng.choice(_WORDS))
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def mutated_bytes(rng: random.Random, data: bytes) -> bytes:
    """Bytes flipped, cut, put in and moved; a mark of byte order, other encodings, zero bytes."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 5))):
        at = rng.randrange(len(out) + 1)
        action = rng.randrange(8)
        if action == 0 and out:
            out[at % len(out)] = rng.randrange(256)
        elif action == 1:
            del out[at:]
        elif action == 2:
            out[at:at] = rng.choice(
                (b"\xef\xbb\xbf", b"\xff\xfe", b"\x00", b"\xff", b"\xc0\x80", b"\xed\xa0\x80", b"\r")
            )
        elif action == 3:
            del out[at : at + rng.choice((1, 4, 64))]
        elif action == 4:
            out[at:at] = out[at : at + rng.choice((1, 16, 256))]
        elif action == 5:
            out[at:at] = bytes(rng.randrange(256) for _ in range(rng.choice((1, 4, 16))))
        elif action == 6 and len(out) >= 4:
            place = rng.randrange(len(out) - 3)
            out[place : place + 4] = rng.choice((b"\xff" * 4, b"\x00" * 4, b"\xff\xff\xff\x7f", b"\x01\x00\x00\x00"))
        elif action == 7:
            out = bytearray(b"\xef\xbb\xbf" + bytes(out))
    return bytes(out)


_TEXT: dict[str, Callable[[random.Random, str], bytes]] = {
    "json": mutated_json,
    "toml": mutated_toml,
    "text": mutated_text,
}


def mutated(rng: random.Random, kind: str, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """A hostile input of a kind of file ("json", "toml", "text", "bytes"), from `data` or one of `seeds`."""
    start = data if data and rng.random() < 0.7 else rng.choice(seeds)
    if kind not in _TEXT or rng.random() < 0.15:
        return mutated_bytes(rng, start)
    found = _TEXT[kind](rng, start.decode("utf-8", "replace"))
    return mutated_bytes(rng, found) if rng.random() < 0.05 else found
