"""The results of a proof as a short text that a file can keep, made and read a piece at a time.

A line of JSON says what follows and in how many pieces; each further line is one piece, a results.json of some of the
checks, packed. The pieces are small enough that a window lives while they are made.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from .. import codec
from ..errors import ProofError
from . import results_json
from .results import Results

FORMAT = "armwright.kept"
VERSION = 1

# Checks in a piece: about 25 ms to write and 50 ms to read (measured in 5.2.3 on two cores).
PIECE = 1000
# A proof of eight arms has 40; more is no proof of ours.
MOST_PIECES = 400
_WHAT = "kept proof"
_DAMAGED = "the kept proof is damaged: run the proof again"


@dataclass(frozen=True)
class _Head:
    pieces: int


def pieces(results: Results) -> Iterator[str]:
    """`results` without traces, packed; raises ProofError as results_json does."""
    for start in range(0, max(len(results.checks), 1), PIECE):
        part = replace(results, checks=results.checks[start : start + PIECE], traces=(), orders=())
        packed = zlib.compress(results_json.to_text(part).encode("ascii"), 9)
        yield base64.b85encode(packed).decode("ascii")


def joined(made: Sequence[str]) -> str:
    """The text of every piece that `pieces` gave."""
    head = {"format": FORMAT, "version": VERSION, **codec.encode(_Head(len(made)), ProofError)}
    return codec.to_text(head).replace("\n", "") + "\n" + "".join(f"{piece}\n" for piece in made)


def parts(text: str) -> Iterator[Results]:
    """The results in `text`, a piece at a time; `together` makes one of them.

    Raises ProofError for a text that is damaged, too large, or of a newer version.
    """
    first, *lines = text.splitlines() or [""]
    parsed = codec.parse(first, _WHAT, ProofError)
    codec.check_header(parsed, FORMAT, VERSION, _WHAT, ProofError)
    plain = {key: value for key, value in parsed.items() if key not in ("format", "version")}
    count = codec.decode(_Head, plain, "", ProofError).pieces
    if not 1 <= count <= MOST_PIECES or len(lines) != count:
        raise ProofError(_DAMAGED)
    for line in lines:
        inflate = zlib.decompressobj()
        try:
            data = inflate.decompress(base64.b85decode(line), codec.MOST_BYTES)
        except (ValueError, binascii.Error, zlib.error):
            raise ProofError(_DAMAGED) from None
        if not inflate.eof:
            raise ProofError(_DAMAGED)
        yield results_json.from_text(data)


def together(found: Sequence[Results]) -> Results:
    """One proof of its parts. Raises ProofError where they are not of one proof."""
    if not found:
        raise ProofError(_DAMAGED)
    heads = {replace(part, checks=()) for part in found}
    if len(heads) != 1:
        raise ProofError(_DAMAGED)
    checks = tuple(check for part in found for check in part.checks)
    if len({check.id for check in checks}) != len(checks):
        raise ProofError(_DAMAGED)
    return replace(found[0], checks=checks)
