"""What panels share: the rig that the selection is about, read once per draw."""

from __future__ import annotations

import bpy

from ...core.errors import HostError
from ...core.rig_record import RigRecord
from .. import rig

SIDE_NAMES = {"L": "Left", "R": "Right"}

# Reading a record parses JSON; panels are drawn often, so the last one is kept by the text that it came from.
_last: tuple[str, RigRecord] | None = None


def shown_rig(context: bpy.types.Context) -> tuple[bpy.types.Object, RigRecord] | None:
    """The armature with arms that is active, or that deforms the active mesh; None if there is none."""
    global _last
    try:
        armature = rig.require(context.object)
        if not rig.has_arms(armature):
            return None
        text = str(armature[rig.KEY])
        if _last is None or _last[0] != text:
            _last = (text, rig.read_record(armature))
        return armature, _last[1]
    except HostError:
        return None
