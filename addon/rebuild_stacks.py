"""Constraints of a rebuild: ours as the plan has them, the user's where they were."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import bpy

from ..core.plan.made import bone_path
from ..core.plan.model import Constraint
from ..core.plan.stack import merged
from . import apply
from .rebuild_work import Change, Work, keyed, same

# Bones whose constraints of ours are choices of the animator's: what the plan drops stays as a space of theirs.
SPACE_ROLES = ("hand_space", "elbow_space")


def constraints(work: Work) -> Iterator[Change]:
    """A change for each bone whose stack is not what it is to be."""
    spaces = {role.bone for role in work.plan.roles if role.role in SPACE_ROLES}
    planned: dict[str, dict[str, Constraint]] = {bone.name: {} for bone in work.plan.bones}
    planned.update({name: {} for name in work.left})
    for item in work.plan.constraints:
        planned[item.bone][item.name] = item
    for bone, wanted in planned.items():
        posed = work.armature.pose.bones.get(bone)
        if posed is None:
            continue
        ours = {name for owner, name in work.made.constraints if owner == bone}
        if bone in spaces:
            ours &= wanted.keys()
        else:
            ours -= {name for name in ours - wanted.keys() if _is_used(work.armature, posed, name)}
        change = _stack_change(work, posed, wanted, ours)
        if change is not None:
            yield change


def _stack_change(
    work: Work, posed: bpy.types.PoseBone, wanted: Mapping[str, Constraint], ours: set[str]
) -> Change | None:
    there = {item.name: item for item in posed.constraints}
    clashing = [name for name in there if name in wanted and name not in ours]
    wrong = [
        name for name, item in wanted.items() if name in ours and name in there and not is_made(work, there[name], item)
    ]
    missing = [name for name in wanted if name not in there or name in clashing]
    order = merged(list(there), ours, list(wanted))
    if not clashing and not wrong and not missing and order == list(there):
        return None
    known = work.made.constraints
    notes = [f"the constraint {name!r} was yours: it has another name now" for name in clashing]
    if posed.name not in work.fresh:
        gone = [name for name in missing if known.get((posed.name, name)) == wanted[name]]
        bent = [name for name in wrong if known.get((posed.name, name)) == wanted[name]]
        notes += [f"the constraint {name!r} was gone: made again" for name in gone]
        notes += [f"the constraint {name!r} was changed: put back" for name in bent]
        obsolete = [name for name in there if name in ours and name not in wanted]
        if not (gone or bent or missing or wrong or obsolete or clashing):
            notes.append("its constraints were in another order: put back")
    note = f"{posed.name!r}: {'; '.join(notes)}" if notes else ""
    return Change(lambda: _bring_up(work, posed.name, wanted, ours, clashing), note)


def _bring_up(work: Work, bone: str, wanted: Mapping[str, Constraint], ours: set[str], clashing: list[str]) -> None:
    stack = work.armature.pose.bones[bone].constraints
    for name in clashing:
        # The host renames in curves and drivers as well.
        stack[name].name = f"{name} (own)"
    order = merged([item.name for item in stack], ours, list(wanted))
    for name in [item.name for item in stack if item.name in ours and item.name not in wanted]:
        stack.remove(stack[name])
    for name, item in wanted.items():
        there = stack.get(name)
        if there is not None and not _is_kind(there, item):
            influence, mute = there.influence, there.mute
            stack.remove(there)
            made = apply.add_constraint(work.armature, item)
            made.influence, made.mute = influence, mute
        elif there is None:
            apply.add_constraint(work.armature, item)
        elif not is_made(work, there, item):
            apply.aim_constraint(work.armature, there, item)
    for place, name in enumerate(order):
        at = stack.find(name)
        if at != place:
            stack.move(at, place)


def is_made(work: Work, there: Any, item: Constraint) -> bool:
    """Whether a constraint is of the kind, and has the target and the settings, that the plan says.

    Its influence is a driver's or the animator's, and so is whether it is muted.
    """
    driven = {entry.channel for entry in work.plan.drivers if (entry.bone, entry.constraint) == (item.bone, item.name)}
    if not _is_kind(there, item):
        return False
    holder = apply.holder_of(there, item)
    if holder.target != work.armature or holder.subtarget != item.target:
        return False
    if item.space and (there.space_object != work.armature or there.space_subtarget != item.space):
        return False
    return all(same(getattr(there, key), value) for key, value in apply.settings_of(item).items() if key not in driven)


def _is_kind(there: Any, item: Constraint) -> bool:
    return there.type == apply.CONSTRAINT_TYPES[item.kind] and apply.holder_of(there, item) is not None


def _is_used(armature: bpy.types.Object, posed: bpy.types.PoseBone, name: str) -> bool:
    """Whether the animator has keyed a constraint's influence."""
    return keyed(armature, {f'{bone_path(posed.name)}.constraints["{name}"].influence'})
