"""Where a space was when it began to carry a hold, kept on its bone, so that a hold survives the loss of its prop."""

from __future__ import annotations

import bpy
import numpy as np
from numpy.typing import NDArray

from . import host
from .prove import Subject

Array = NDArray[np.float64]

# One record: the frame, then the 16 numbers of the matrix, row after row.
_LENGTH = 17


def remember(subject: Subject, carrier: bpy.types.PoseBone, constraint: str, frame: int, *, keep: bool) -> None:
    """Note where `carrier` is now, against what carries it without its constraints; `keep` those of other frames."""
    entries = [entry for entry in _entries(carrier, constraint) if keep and entry[0] != frame]
    pose = host.PoseReader(subject.armature, bpy.context.view_layer, [carrier.name]).read()[0]
    here = np.linalg.inv(uncarried(subject, carrier)) @ pose
    entries.append(np.concatenate([[float(frame)], here.ravel()]))
    carrier[_key(constraint)] = np.concatenate(sorted(entries, key=lambda entry: entry[0])).tolist()


def where(subject: Subject, carrier: bpy.types.PoseBone, constraint: str, frame: float) -> Array | None:
    """The space's pose (4, 4), armature space, of the last time before `frame` that it began; None if not known."""
    entries = _entries(carrier, constraint)
    if not entries:
        return None
    known = [entry for entry in entries if entry[0] <= frame] or entries[:1]
    return np.asarray(uncarried(subject, carrier) @ known[-1][1:].reshape(4, 4))


def forget(carrier: bpy.types.PoseBone, constraint: str) -> None:
    """Drop what is kept for a constraint."""
    if _key(constraint) in carrier:
        del carrier[_key(constraint)]


def uncarried(subject: Subject, carrier: bpy.types.PoseBone) -> Array:
    """Where a space bone is in the world's space now (4, 4), armature space."""
    rest = host.rest_in_parent(carrier.bone)
    if carrier.parent is None:
        return rest
    parent = host.PoseReader(subject.armature, bpy.context.view_layer, [carrier.parent.name]).read()[0]
    return np.asarray(parent @ rest)


def _key(constraint: str) -> str:
    # The host's limit for a property's name is 63 bytes; a constraint's own name may be as long.
    return f"grab.{constraint.encode()[:56].decode(errors='ignore')}"


def _entries(carrier: bpy.types.PoseBone, constraint: str) -> list[Array]:
    values = np.array(list(carrier.get(_key(constraint), ())), float)
    return list(values.reshape(-1, _LENGTH)) if len(values) % _LENGTH == 0 else []
