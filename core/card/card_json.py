"""A rig card's written form: a JSON file that people edit; the reader says what is wrong, and in which line."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path

from .. import codec
from ..errors import CardError
from .check import problems_of
from .model import FORMAT, VERSION, RigCard
from .places import Places, places_of
from .problems import refuse

_WHAT = "rig card"


@dataclass(frozen=True)
class CardFile:
    """A card that was read from a file.

    Attributes:
        card: what the file says.
        name: the file's name.
        places: the lines of its fields, for messages of what is found out later.
    """

    card: RigCard
    name: str = ""
    places: Places = field(default_factory=Places)


def to_text(card: RigCard) -> str:
    """JSON text of `card`. Raises CardError for a value that is not of its field's type, or not finite."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(card, CardError)})


def from_text(text: str | bytes) -> RigCard:
    """The card in `text`; fields that have a default may be left out. It is well formed, not checked: see `read`.

    Raises CardError, with line and field.
    """
    data = codec.parse(text, _WHAT, CardError)
    try:
        codec.check_header(data, FORMAT, VERSION, _WHAT, CardError)
        plain = {name: value for name, value in data.items() if name not in ("format", "version")}
        return codec.decode(RigCard, plain, "", CardError, may_omit=True)
    except CardError as problem:
        raise CardError(_places(text).put(str(problem))) from None


def read_file(path: Path) -> CardFile:
    """The card in the file at `path`, with the file's lines; well formed, not checked.

    Raises CardError as `from_text` does, with the file's name, or if the file can not be read.
    """
    text = codec.read_bytes(path, _WHAT, CardError)
    try:
        card = from_text(text)
    except CardError as problem:
        said = str(problem)
        raise CardError(f"{path.name}{', ' if said.startswith('line ') else ': '}{said}") from None
    return CardFile(card, path.name, _places(text))


def read(path: Path) -> RigCard:
    """The card in the file at `path`, checked as far as that needs no armature.

    Raises CardError as `read_file` does, or with a line for each thing that is wrong in the card.
    """
    file = read_file(path)
    refuse(problems_of(file.card), file.places, file.name)
    return file.card


def digest(card: RigCard) -> str:
    """SHA-256 of the card's text without its guesses, which change nothing that is proved."""
    return hashlib.sha256(to_text(replace(card, guesses=())).encode("ascii")).hexdigest()


def _places(text: str | bytes) -> Places:
    """Lines of a text that the parser has taken."""
    return places_of(text.decode("utf-8-sig") if isinstance(text, bytes) else text)
