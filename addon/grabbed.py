"""Where a space was when it began to carry a hold, kept on its bone, so that a hold survives the loss of its prop.

A property of the bone keeps it. A library override loses every property that its linked file does not have as soon as
its shot is opened again (measured in 4.5.15 and 5.2.3), but keeps the constraints that were added to it: there, a muted
constraint without a target keeps each grab.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import host
from .subjects import Subject

Array = NDArray[np.float64]

# One record: the frame, then the 16 numbers of the matrix, row after row.
_LENGTH = 17
# The kind of constraint that keeps a grab, and where in it the upper three rows of the matrix are.
_KEEPER = "TRANSFORM"
_NUMBERS = tuple(f"{end}_{limit}_{axis}" for end in ("from", "to") for limit in ("min", "max") for axis in "xyz")
# The host's limit for a constraint's name, bytes.
_NAME = 63


def remember(subject: Subject, carrier: bpy.types.PoseBone, constraint: str, frame: int, *, keep: bool) -> None:
    """Note where `carrier` is now, against what carries it without its constraints; `keep` those of other frames."""
    pose = host.PoseReader(subject.armature, bpy.context.view_layer, [carrier.name]).read()[0]
    here = np.linalg.inv(uncarried(subject, carrier)) @ pose
    entry = np.concatenate([[float(frame)], here.ravel()])
    if subject.armature.override_library is not None:
        _keep_in_constraint(carrier, constraint, entry, alone=not keep)
        return
    entries = [known for known in _entries(carrier, constraint) if keep and known[0] != frame]
    entries.append(entry)
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
    for item in _keepers(carrier, constraint):
        carrier.constraints.remove(item)


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
    """What is known of a constraint's grabs, in the order of their frames."""
    values = np.array(list(carrier.get(_key(constraint), ())), float)
    entries = list(values.reshape(-1, _LENGTH)) if len(values) % _LENGTH == 0 else []
    kept = [_read(item) for item in _keepers(carrier, constraint)]
    frames = {entry[0] for entry in kept}
    # What the linked file knows of a frame is older than what the shot says.
    entries = [entry for entry in entries if entry[0] not in frames]
    return sorted([*entries, *kept], key=lambda entry: float(entry[0]))


def _keep_in_constraint(carrier: bpy.types.PoseBone, constraint: str, entry: Array, *, alone: bool) -> None:
    name = _keeper_name(constraint, int(entry[0]))
    for item in _keepers(carrier, constraint):
        if alone or item.name == name:
            carrier.constraints.remove(item)
    made: Any = carrier.constraints.new(_KEEPER)
    made.name = name
    made.mute, made.show_expanded, made.influence = True, False, 0.0
    for number, value in zip(_NUMBERS, entry[1:], strict=False):
        setattr(made, number, value)


def _keepers(carrier: bpy.types.PoseBone, constraint: str) -> list[Any]:
    found = []
    for item in carrier.constraints:
        first, _, rest = item.name.partition(".")
        frame = rest.partition(".")[0]
        if item.type != _KEEPER or first != "grab" or not frame.removeprefix("-").isdigit():
            continue
        if item.name == _keeper_name(constraint, int(frame)):
            found.append(item)
    return found


def _keeper_name(constraint: str, frame: int) -> str:
    return f"grab.{frame}.{constraint}".encode()[:_NAME].decode(errors="ignore")


def _read(item: Any) -> Array:
    frame = float(item.name.split(".")[1])
    return np.array([frame, *(getattr(item, number) for number in _NUMBERS), 0.0, 0.0, 0.0, 1.0])
