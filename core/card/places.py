"""Which line of a JSON text a field is on: the parser forgets it, and people look for mistakes by line."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

_TOKEN = re.compile(r'"(?:[^"\\\n]|\\.)*"|[{}\[\]:,\n]|[^\s{}\[\]:,"]+')
# A step of a path in a message: ".modes", "modes" at the start, or "[3]", which the codec may follow with a name.
_STEP = re.compile(r'(?:^|\.)([A-Za-z_]\w*)|\[(\d+)\](?: \((?:"(?:[^"\\]|\\.)*"|"[^\n]{1,76}\.\.\.)\))?')
# A field that a message is about although its path ends at what holds the field.
_NAMED = re.compile(r'(?:unknown field|the field) ("(?:[^"\\]|\\.)*")')


@dataclass(frozen=True)
class Places:
    """Lines of a JSON text's values.

    Attributes:
        lines: from the path of a value, such as `("arms", 0, "hand")`, to its line, 1 for the first; a field is where
            its name is. Empty where there is no text.
    """

    lines: Mapping[Path, int] = field(default_factory=dict)

    def line(self, path: Path) -> int | None:
        """The line of the value at `path`, or of what would hold it; None where there is no text."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return None

    def put(self, sentence: str, name: str = "") -> str:
        """`sentence`, which starts with a field's path, after the file's name and the field's line."""
        line = self.line(path_in(sentence))
        known = [name] if name else []
        if line is not None:
            known.append(f"line {line}")
        return ", ".join((*known, sentence))


def places_of(text: str) -> Places:
    """The places in `text`, which the JSON parser has to have taken. Of a field that is twice there, the second one."""
    lines: dict[Path, int] = {}
    line = 1
    # Of each open object or list: its path, whether it is an object, and the field or index that is next.
    stack: list[tuple[Path, bool, str | int | None]] = []
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token == "\n":
            line += 1
        elif token in ("}", "]"):
            stack.pop()
        elif token == ",":
            above, is_object, at = stack.pop()
            stack.append((above, is_object, None if is_object or at is None else int(at) + 1))
        elif token != ":":
            path: Path = ()
            if stack:
                above, is_object, at = stack[-1]
                if at is None:
                    at = str(json.loads(token))
                    stack[-1] = (above, is_object, at)
                    lines[(*above, at)] = line
                    continue
                path = (*above, at)
                if not is_object:
                    lines[path] = line
            else:
                lines[path] = line
            if token in ("{", "["):
                stack.append((path, token == "{", None if token == "{" else 0))
    return Places(lines)


def path_in(sentence: str) -> Path:
    """The path that a message starts with, such as `arms[0].modes[1]: ...`; empty where it starts with none."""
    path: list[str | int] = []
    at = 0
    while step := _STEP.match(sentence, at) if at == 0 or sentence[at] in ".[" else None:
        path.append(step[1] if step[1] is not None else int(step[2]))
        at = step.end()
        if at == len(sentence):
            break
    if sentence[at : at + 2] != ": ":
        # The sentence just starts with a word: no path.
        path, at = [], -2
    named = _NAMED.match(sentence, at + 2)
    if named:
        path.append(str(json.loads(named[1])))
    return tuple(path)


def written(path: Path) -> str:
    """`arms[0].hand` for `("arms", 0, "hand")`."""
    steps = [f"[{step}]" if isinstance(step, int) else f".{step}" for step in path]
    return "".join(steps).removeprefix(".")
