"""Bones of the arms that somebody has renamed: found by what hangs on them and by where they are, and named again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace

import bpy

from ..core.plan.made import Made
from ..core.plan.model import Bone
from ..core.rig_record import RigRecord
from . import renames
from .curves import curves_of
from .rebuild_bones import is_placed


def renamed_by_hand(armature: bpy.types.Object, record: RigRecord, last: Made) -> dict[str, str]:
    """What bones of the arms are called now, and what the last build called them.

    A bone of another name is one of ours if it has the missing one's parent and another of ours still hangs on it as on
    the missing one, or if it alone has the missing one's rest and length. Where that leaves a choice nothing is taken
    for anything.
    """
    bones = armature.data.bones
    missing = [name for name in record.bones if name in last.bones and name not in bones]
    strangers = {bone.name for bone in bones} - {*record.bones, *record.left}
    found: dict[str, str] = {}
    # A child that was renamed itself can tell of its parent only once it is known, and the other way round.
    for _ in range(len(missing)):
        more = _next(armature, last, [name for name in missing if name not in found.values()], strangers, found)
        if not more:
            return found
        found |= more
    return found


def _next(
    armature: bpy.types.Object, last: Made, missing: list[str], strangers: set[str], found: Mapping[str, str]
) -> dict[str, str]:
    bones = armature.data.bones
    now = {old: new for new, old in found.items()}
    free = [name for name in strangers if name not in found]
    claims: dict[str, set[str]] = {}
    for name in missing:
        base = _under(last.bones[name], now)
        children = [bones.get(now.get(child.name, child.name)) for child in last.bones.values() if child.parent == name]
        carriers = {child.parent.name for child in children if child is not None and child.parent is not None}
        # What hung on a bone that was removed hangs on the one above it, which is not in the missing one's place.
        carriers = {other for other in carriers if other in free and _parent(bones[other]) == base.parent}
        like = {other for other in free if is_placed(bones[other], base)}
        claims[name] = carriers if len(carriers) == 1 else like
    taken = [other for others in claims.values() for other in others]
    return {
        other: name
        for name, others in claims.items()
        if len(others) == 1
        for other in others
        if taken.count(other) == 1
    }  # fmt: skip


def _under(base: Bone, now: Mapping[str, str]) -> Bone:
    """The bone as it was made, its parent by the name that it has now."""
    return replace(base, parent=now.get(base.parent, base.parent))


def _parent(bone: bpy.types.Bone) -> str:
    return bone.parent.name if bone.parent is not None else ""


@contextmanager
def named_again(armature: bpy.types.Object, names: Mapping[str, str]) -> Iterator[tuple[str, ...]]:
    """Rename `names`' keys to its values; a sentence for each. Should the work fail, they have the user's names again.

    Raises HostError before anything is renamed.
    """
    if not names:
        yield ()
        return
    renames.check_renames(armature, names)
    paths = {action: [curve.data_path for curve in curves_of(action)] for action in bpy.data.actions}
    renames.rename(armature, names)
    try:
        yield tuple(f"{new!r} is named {old!r} again, by which the arms find it" for new, old in names.items())
    except BaseException:
        renames.rename(armature, {old: new for new, old in names.items()})
        # Actions that nothing plays may have had curves of both names.
        for action, kept in paths.items():
            for curve, path in zip(curves_of(action), kept, strict=True):
                if curve.data_path != path:
                    curve.data_path = path
        raise
