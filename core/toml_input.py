"""TOML of strangers: read by the standard library, after a look for what would keep it busy for hours."""

from __future__ import annotations

import re
import tomllib
from typing import Any

# A key of more parts is no setting of ours. The standard library's work grows with the square of their number.
MOST_PARTS = 32
_KEY = r'(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*+\')'
_PART = re.compile(_KEY)
# What can hold dots that part no key, and keys; what stands in quotes counts as one.
_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|#[^\n]*+|'
    rf"(?P<key>{_KEY}(?:[ \t]*+\.[ \t]*+{_KEY})*+)|.",
    re.DOTALL,
)


class TomlProblem(Exception):
    """Why a text can not be read as TOML, as the end of a sentence."""


def loads(text: str) -> dict[str, Any]:
    """The tables in `text`. Raises TomlProblem for what is not TOML, or not the TOML of a person."""
    if text.count(".") >= MOST_PARTS:
        for token in _TOKEN.finditer(text):
            if token[0] in ('"', "'"):
                break  # a quote that nothing closes: the library stops here
            if token["key"] and len(_PART.findall(token["key"])) > MOST_PARTS:
                line = text.count("\n", 0, token.start()) + 1
                raise TomlProblem(f"line {line}: a key has more than {MOST_PARTS} parts between its dots")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise TomlProblem(str(problem)) from None
    except (RecursionError, ValueError):
        raise TomlProblem("it nests too deeply, or holds a number with too many digits") from None
