"""A proof's results kept with the armature that they are of, in the file."""

from __future__ import annotations

from collections.abc import Iterator

import bpy

from ..core.errors import ProofError
from ..core.proof import kept
from ..core.proof.results import Results

KEY = "armwright_proof"
# By the text that they were read from: reading ten thousand checks takes longer than drawing a panel may.
_read: dict[int, tuple[str, Results]] = {}


def keep(armature: bpy.types.Object, results: Results) -> bool:
    """Keep `results` with an armature of this file; False for one that can not be changed, such as a linked one."""
    return all(keeping(armature, results))


def keeping(armature: bpy.types.Object, results: Results) -> Iterator[bool]:
    """`keep`, a piece at a time: whether it goes on well."""
    if armature.library is not None or not armature.is_editable:
        yield False
        return
    made: list[str] = []
    for piece in kept.pieces(results):
        made.append(piece)
        yield True
    armature[KEY] = kept.joined(made)
    yield True


def kept_with(armature: bpy.types.Object) -> Results | None:
    """The results of the last proof of an armature; None where there are none.

    Raises ProofError for what is damaged or of a newer version.
    """
    text = armature.get(KEY)
    if text is None:
        return None
    if not isinstance(text, str):
        raise ProofError(f"the proof kept with {armature.name!r} is damaged: run the proof again")
    known = _read.get(armature.session_uid)
    if known is not None and known[0] == text:
        return known[1]
    results = kept.together(tuple(kept.parts(text)))
    _read[armature.session_uid] = (text, results)
    return results


def is_older(results: Results, plan_digest: str) -> bool:
    """Whether results are of another build than the one that the rig has now."""
    return results.plan_digest != plan_digest
