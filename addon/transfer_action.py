"""The action that a transfer writes to, so that all of it can be taken back and the old one is never lost."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import bpy

from . import host
from .convert_write import Journal
from .curves import new_action, own_bag
from .mixing import check_mix


@dataclass
class Stage:
    """Guards what was there before: the action and its slot, and the constraints that were made."""

    armature: bpy.types.Object
    action: bpy.types.Action
    before: bpy.types.Action | None
    slot: Any
    had_data: bool
    journal: Journal
    made: list[tuple[str, str]] = field(default_factory=list)

    def undo(self) -> None:
        """Everything as before."""
        animation = self.armature.animation_data
        if self.action == self.before:
            self.journal.undo()
        else:
            animation.action = self.before
            host.give_slot(animation, self.slot)
            bpy.data.actions.remove(self.action)
            if not self.had_data:
                self.armature.animation_data_clear()
        for bone, name in self.made:
            carrier = self.armature.pose.bones[bone]
            carrier.constraints.remove(carrier.constraints[name])
        self.made.clear()

    def keep(self) -> None:
        """The old action stays in the file although nothing plays it."""
        if self.before is not None and self.before != self.action:
            self.before.use_fake_user = True


def prepared(armature: bpy.types.Object, new: bool, name: str) -> Stage:
    """The action to write to, assigned: the present one, a copy of it under a new name, or an empty one.

    A copy goes on moving what a transfer does not. Raises HostError where keys would not be what the host shows.
    """
    check_mix(armature)
    animation: Any = armature.animation_data
    had_data, before = animation is not None, animation.action if animation is not None else None
    slot = host.slot_of(animation) if before is not None else None
    if before is not None and new:
        action = before.copy()
        action.name, action.use_fake_user = name, False
        own = host.same_slot(action, slot)
        animation.action = action
        host.give_slot(animation, own)
    elif before is None:
        action, _ = new_action(armature, name)
    else:
        action = before
    bag = own_bag(armature)
    return Stage(armature, action, before, slot, had_data, Journal(armature, bag, borders=before is not None))
