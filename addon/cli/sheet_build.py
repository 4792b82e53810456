"""`build --sheet`: what a requirement sheet needs is turned on, and each of its lines is answered."""

from __future__ import annotations

from typing import Any

from ...core.sheet.model import THING, Sheet
from ...core.sheet.turn_on import DONE, LEFT, NOT_DONE, Said, TurnedOn


def set_dials(armature: Any, turned: TurnedOn) -> None:
    """Set the dials of arms that have just been built."""
    from .. import rig

    record = rig.read_record(armature)
    for arm, dial, value in turned.dials:
        armature.pose.bones[record.bone(arm, "dials")][dial] = value


def add_things(armature: Any, sheet: Sheet) -> list[Said]:
    """Make the spaces of things that the file has; one of another name is the user's to choose later."""
    import bpy

    from ...core import arm_words
    from ...core.errors import HostError
    from .. import spaces, subjects

    subject = subjects.subject_of(armature)
    said = []
    for arm in sheet.arms:
        for space in arm.spaces if arm.arm in subject.arms else ():
            if space.kind != THING:
                continue
            line = f"{arm_words.name(arm.arm)}, {space.hold} on {space.on!r}"
            thing = bpy.data.objects.get(space.on)
            if thing is None:
                how = "the file has no object of this name; grabbing one makes its space"
                said.append(Said(line, LEFT, how))
                continue
            try:
                spaces.ensure_space(subject, arm.arm, space.hold, thing)
            except HostError as problem:
                said.append(Said(line, NOT_DONE, str(problem)))
            else:
                said.append(Said(line, DONE, "the space is made; the world carries the hold until you choose it"))
    return said


def answer(name: str, said: list[Said]) -> bool:
    """Print what became of each line; whether all of it could be done."""
    for item in said:
        print(f"{name}: {item.sentence()}")
    if not said:
        print(f"{name}: the sheet asks for nothing: nothing is turned on")
    return not any(item.what == NOT_DONE for item in said)
