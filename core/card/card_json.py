"""A rig card's written form: a JSON file that people edit; the reader says what is wrong, and where."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from .. import codec
from ..errors import CardError
from .model import FORMAT, VERSION, RigCard

_WHAT = "rig card"


def to_text(card: RigCard) -> str:
    """JSON text of `card`. Raises CardError for a value that is not of its field's type, or not finite."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(card, CardError)})


def from_text(text: str | bytes) -> RigCard:
    """The card in `text`; fields that have a default may be left out. Raises CardError, with the field."""
    data = codec.parse(text, _WHAT, CardError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, CardError)
    plain = {name: value for name, value in data.items() if name not in ("format", "version")}
    return codec.decode(RigCard, plain, "", CardError, may_omit=True)


def read(path: Path) -> RigCard:
    """The card in the file at `path`; raises CardError as `from_text` does, or if the file can not be read."""
    try:
        return from_text(codec.read_bytes(path, _WHAT, CardError))
    except CardError as problem:
        raise CardError(f"{path.name}: {problem}") from None


def digest(card: RigCard) -> str:
    """SHA-256 of the card's text without its guesses, which change nothing that is proved."""
    return hashlib.sha256(to_text(replace(card, guesses=())).encode("ascii")).hexdigest()
