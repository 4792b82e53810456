"""The joint guide's written form. People write guides by hand, so fields that have a default may be left out."""

from __future__ import annotations

from pathlib import Path

from . import codec
from .errors import GuideError
from .guide import Guide

FORMAT = "armwright.guide"
VERSION = 1
_WHAT = "joint guide"


def to_text(guide: Guide) -> str:
    """JSON text of `guide`, ASCII, a newline at the end.

    Raises GuideError, with the path, for a value that is not finite or not of its field's type.
    """
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(guide, GuideError)})


def from_text(text: str | bytes) -> Guide:
    """The guide that `text` holds. It is well formed but not yet checked: see `guide_check.check_guide`.

    Raises GuideError, with line and column or the path such as `arms[0] ("L").elbow`.
    """
    data = codec.parse(text, _WHAT, GuideError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, GuideError)
    fields = {key: value for key, value in data.items() if key not in ("format", "version")}
    return codec.decode(Guide, fields, "", GuideError, may_omit=True)


def read(path: Path) -> Guide:
    """The guide in the file at `path`; raises GuideError as `from_text` does, or if the file can not be read."""
    return from_text(codec.read_bytes(path, _WHAT, GuideError))
