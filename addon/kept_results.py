"""A proof's results kept with the armature that they are of, in the file."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ..core.errors import ProofError
from ..core.pace import whole
from ..core.proof import kept
from ..core.proof.results import Results
from .prove import Progress

KEY = "armwright_proof"
# By the text that they were read from: reading ten thousand checks takes longer than drawing a panel may.
_read: dict[int, tuple[str, Results]] = {}
# By the armature: what was kept in this session. A proof is no step of the undo, so undo would take it from the file.
_kept: dict[int, str] = {}


def keep(armature: bpy.types.Object, results: Results) -> bool:
    """Keep `results` with an armature of this file; False for one of another file, whether overridden or not.

    The host drops what a library override has and its own file has not as soon as the shot is opened again.
    """
    return all(keeping(armature, results))


def keeping(armature: bpy.types.Object, results: Results) -> Iterator[bool]:
    """`keep`, a piece at a time: whether it goes on well."""
    if armature.library is not None or armature.override_library is not None or not armature.is_editable:
        yield False
        return
    made: list[str] = []
    for piece in kept.pieces(results):
        made.append(piece)
        yield True
    armature[KEY] = _kept[armature.session_uid] = kept.joined(made)
    yield True


def kept_with(armature: bpy.types.Object) -> Results | None:
    """The results of the last proof of an armature; None where there are none.

    Raises ProofError for what is damaged or of a newer version.
    """
    return whole(reading(armature))


def reading(armature: bpy.types.Object) -> Generator[Progress, None, Results | None]:
    """`kept_with`, a piece at a time: yields its progress. The armature is only looked at by the call itself."""
    return _reading(armature.get(KEY), armature.name, armature.session_uid)


def _reading(text: Any, name: str, number: int) -> Generator[Progress, None, Results | None]:
    if text is None:
        return None
    if not isinstance(text, str):
        raise ProofError(f"the proof kept with {name!r} is damaged: run the proof again")
    known = _read.get(number)
    if known is not None and known[0] == text:
        return known[1]
    total, found = max(text.count("\n") - 1, 1), []
    for part in kept.parts(text):
        found.append(part)
        yield Progress(len(found), total, "Reading the proof")
    results = kept.together(found)
    _read[number] = (text, results)
    return results


def is_older(results: Results, plan_digest: str) -> bool:
    """Whether results are of another build than the one that the rig has now."""
    return results.plan_digest != plan_digest


@persistent  # type: ignore[untyped-decorator]
def _after_undo(*_: Any) -> None:
    """Give armatures the results back that undo or redo has taken with it."""
    for item in bpy.data.objects if _kept else ():
        text = _kept.get(item.session_uid)
        if text is not None and item.get(KEY) != text:
            item[KEY] = text


@persistent  # type: ignore[untyped-decorator]
def _forget(*_: Any) -> None:
    _kept.clear()
    _read.clear()


HANDLERS = (("undo_post", _after_undo), ("redo_post", _after_undo), ("load_pre", _forget))


def attach() -> None:
    """Look after undo, and at new files."""
    for name, handler in HANDLERS:
        getattr(bpy.app.handlers, name).append(handler)


def detach() -> None:
    """The mirror image of `attach`."""
    for name, handler in reversed(HANDLERS):
        getattr(bpy.app.handlers, name).remove(handler)
    _forget()
