"""The plan's written form: JSON that round-trips exactly; the same plan always gives the same bytes."""

from __future__ import annotations

import hashlib
from pathlib import Path

from .. import codec
from ..errors import PlanError
from .model import FORMAT, VERSION, Plan

_WHAT = "plan"


def to_text(plan: Plan) -> str:
    """JSON text of `plan`, ASCII, a newline at the end.

    Raises PlanError, with the path, for a value that is not finite or not of its field's type.
    """
    return codec.to_text(codec.encode(plan, PlanError))


def from_text(text: str | bytes) -> Plan:
    """The plan that `text` holds. It is well formed but not yet valid: see `validate.validate`.

    Raises PlanError, with line and column or the path, for text that `to_text` could not have written.
    """
    data = codec.parse(text, _WHAT, PlanError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, PlanError)
    return codec.decode(Plan, data, "", PlanError)


def read(path: Path) -> Plan:
    """The plan in the file at `path`; raises PlanError as `from_text` does, or if the file can not be read."""
    return from_text(codec.read_bytes(path, _WHAT, PlanError))


def digest(plan: Plan) -> str:
    """SHA-256 of the plan's text, hexadecimal."""
    return hashlib.sha256(to_text(plan).encode("ascii")).hexdigest()
