"""Builds the arms of an armature again, in place: a user's work stays, and what is as it should be is not touched."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import bpy

from ..core.errors import HostError
from ..core.guide import SIDES
from ..core.plan.made import Made, driven_path, renamed
from ..core.plan.model import Plan
from ..core.plan.upgrade import split, successors
from ..core.plan.validate import validate
from ..core.rig_record import RigRecord, record_of
from . import (
    backup,
    build,
    host,
    rebuild_bones,
    rebuild_looks,
    rebuild_names,
    rebuild_pose,
    rebuild_stacks,
    remove,
    renames,
    rig,
)
from .dependents import dependents, listed, weighted
from .rebuild_plan import last_made
from .rebuild_work import Change, Work

# In this order: a driver needs the constraint that it drives, and both the properties that they read.
FINDERS: tuple[Callable[[Work], Iterator[Change]], ...] = (
    rebuild_pose.channels,
    rebuild_pose.properties,
    rebuild_stacks.constraints,
    rebuild_pose.drivers,
    rebuild_pose.leftovers,
    rebuild_looks.memberships,
    rebuild_looks.looks,
)


@dataclass(frozen=True)
class Rebuilt:
    """What building again did: whether it changed anything, and what the user should know, a sentence each."""

    changed: bool
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Task:
    """What is to be done, worked out before anything is.

    Attributes:
        work: the rebuild, under the bones' new names.
        record: what the rig remembers.
        names: bones that are renamed.
        going: bones that are removed.
        notes: what the user should know.
    """

    work: Work
    record: RigRecord
    names: dict[str, str]
    going: tuple[str, ...]
    notes: tuple[str, ...]


def rebuild(armature: bpy.types.Object, plan: Plan) -> Rebuilt:
    """Bring the arms that `armature` has to `plan`.

    Keys, dial values, weights, and what the user has added to the arms or changed in their looks stay. Bones of theirs
    that were renamed by hand get their names back. Raises PlanError for a plan that is not valid and HostError for an
    armature that can not take it; whatever goes wrong, the file is as it was before.
    """
    validate(plan)
    record = rig.read_record(armature)
    given = rebuild_names.renamed_by_hand(armature, record, last_made(armature, record))
    if not given:
        return _rebuild(armature, plan, record)
    rig.check_editable(armature)
    with host.mode(armature, "OBJECT"), rebuild_names.named_again(armature, given) as notes:
        done = _rebuild(armature, plan, record)
    return Rebuilt(True, (*notes, *done.notes))


def _rebuild(armature: bpy.types.Object, plan: Plan, record: RigRecord) -> Rebuilt:
    """The same once every bone has its own name."""
    ours = {*record.bones, *record.left}
    names = successors(record.plan_version, record.bones, record.arms, plan)
    build.check_armature(armature, plan, {*ours, *names.values()})
    build.check_shapes(plan)
    _check_names(armature, plan, ours, names)
    with host.mode(armature, "OBJECT"):
        task = _task(armature, plan, record, names)
        if not names and not task.going and _record(task, record.collections) == record:
            changed, notes = rebuild_bones.edits(task.work)
            if not changed and not _has_changes(task.work):
                return Rebuilt(False, (*task.notes, *notes))
        kept = backup.take(armature)
        try:
            notes = _carry_out(armature, task)
        except BaseException:
            _roll_back(armature, task, kept)
            raise
        backup.drop(kept)
        remove.remove_shapes()
    bpy.context.view_layer.update()
    return Rebuilt(True, (*task.notes, *notes))


def _has_changes(work: Work) -> bool:
    return any(True for find in FINDERS for _ in find(work))


def _carry_out(armature: bpy.types.Object, task: _Task) -> list[str]:
    """Do it; sentences about what the user did not ask for."""
    renames.rename(armature, task.names)
    changed, notes = rebuild_bones.edits(task.work)
    rebuild_bones.write(task.work, changed)
    before = frozenset(armature.data.collections_all.keys())
    for find in FINDERS:
        for change in list(find(task.work)):
            change.do()
            notes += [change.note] if change.note else []
    rebuild_bones.take_out(task.work, task.going)
    rig.write_record(armature, _record(task, _collections(armature, task, before)))
    return notes


def _collections(armature: bpy.types.Object, task: _Task, before: frozenset[str]) -> tuple[str, ...]:
    """Bone collections that are ours now; one that no bone is in any more and that the plan does not need goes."""
    data, wanted = armature.data, {bone.collection for bone in task.work.plan.bones}
    for name in task.record.collections:
        collection = data.collections_all.get(name)
        if collection is not None and name not in wanted and not collection.bones and not collection.children:
            data.collections.remove(collection)
    known = [name for name in task.record.collections if name in data.collections_all]
    return (*known, *(item.name for item in data.collections_all if item.name not in before))


def _roll_back(armature: bpy.types.Object, task: _Task, kept: backup.Backup) -> None:
    if armature.mode != "OBJECT":
        host.leave_mode()
    renames.rename(armature, {new: old for old, new in task.names.items() if old not in armature.data.bones})
    backup.put_back(armature, kept, {*task.record.bones, *task.record.left})


def _task(armature: bpy.types.Object, plan: Plan, record: RigRecord, names: dict[str, str]) -> _Task:
    """Work out what becomes of each bone. Raises HostError if the arms' record is damaged."""
    last = last_made(armature, record)
    made = renamed(last, names)
    planned = {bone.name for bone in plan.bones}
    there = [names.get(name, name) for name in (*record.bones, *record.left) if name in armature.data.bones]
    extra = [name for name in there if name not in planned]
    external = {item.name for item in plan.external}
    # Dependents are looked for under the names that the bones have now.
    now = {new: old for old, new in names.items()}
    arms = {*record.arms, *SIDES}
    own_torso = [name for name in extra if not split(name, arms)[1] or name in external]
    loose = [name for name in extra if name not in own_torso]
    hanging = dependents(armature, [now.get(name, name) for name in loose], last)
    _check_drivers(armature, plan, made, now)
    kept = [name for name in loose if now.get(name, name) in hanging]
    going = tuple(name for name in loose if name not in kept)
    notes = [
        f"the bone {name!r} is no part of the arms any more and is left to you, because of {listed(hanging[name])}"
        for name in kept
        if name not in record.left
    ]
    notes += [
        f"{mesh!r}: {listed(groups)} have no bone any more; their weights stay in their vertex groups"
        for mesh, groups in weighted(armature, going).items()
    ]
    fresh = frozenset(name for name in planned if name not in there)
    return _Task(Work(armature, plan, made, fresh, (*own_torso, *kept)), record, names, going, tuple(notes))


def _record(task: _Task, collections: tuple[str, ...]) -> RigRecord:
    return record_of(task.work.plan, collections, task.work.left)


def _check_drivers(armature: bpy.types.Object, plan: Plan, made: Made, now: Mapping[str, str]) -> None:
    """Raise HostError where the user drives what the plan is to drive. `now`: what bones are called before a rename."""
    animation = armature.animation_data
    for driver in plan.drivers if animation is not None else ():
        path, index = driven_path(replace(driver, bone=now.get(driver.bone, driver.bone)))
        if driven_path(driver) not in made.drivers and animation.drivers.find(path, index=index) is not None:
            raise HostError(f"{armature.name!r} has a driver on {path}, which the arms drive: remove that driver")


def _check_names(armature: bpy.types.Object, plan: Plan, ours: set[str], names: Mapping[str, str]) -> None:
    """Raise HostError where something of the user's is in the way of the plan."""
    bones, planned = armature.data.bones, {bone.name for bone in plan.bones}
    taken = [new for new in names.values() if new in bones and new not in ours]
    if taken:
        raise HostError(f"{armature.name!r} already has a bone named {taken[0]!r}: rename it")
    for item in plan.external:
        carrier = next((bone.name for bone in bones[item.name].parent_recursive if bone.name in planned), "")
        if carrier:
            raise HostError(f"the bone {item.name!r} hangs on {carrier!r} of the arms: choose another torso bone")
    renames.check_renames(armature, names)
