"""What the host evaluates before what, over bones, constraints, drivers and objects, as the host itself orders it.

The host only prints a dependency cycle to the console and then leaves out one of its dependencies. This is the same
graph with names in it. Its grain is the host's (measured in 4.5.15 and 5.2.3, `tests/host/host_cycles.py`): all
channels of a bone are one value, a custom property is one, influence 0 and mute change nothing, all IK chains with
one root are solved at once, and all IK of an armature waits for what animates any IK constraint of it.
`dependencies.py` asks another question, of single channels: whether a new target would close a circle.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

import bpy

from .curves import curves_of
from .dependencies import targets_of

# Parts of an object or bone. A bone's channels; its pose with parent and constraints; the same after IK.
CHANNELS, POSED, DONE = "channels", "posed", "done"
# All IK chains whose root is the value's bone, and what the host makes ready for all IK of an armature.
SOLVED, READY = "solved", "ready"
# An object's place in the world, and the shape of what it shows. Anything else is a property by its data path.
PLACE, SHAPE = "place", "shape"

_BONE = re.compile(r'^pose\.bones\["((?:[^"\\]|\\.)*)"\]\.?(.*)$')
_INDEX = re.compile(r"\[\d+\]$")
_POSE_RESULTS = ("head", "tail", "length", "matrix", "matrix_channel", "x_axis", "y_axis", "z_axis", "center", "vector")
_PLACES = ("location", "rotation", "scale", "delta_", "parent", "constraints[")
_PLACE_RESULTS = ("matrix_world", "matrix_local", "bound_box", "dimensions")
_SHAPES = ("modifiers[", "data.")
# Bones of these follow the shape of the target; other constraints follow its place alone.
_SHAPE_TARGETS = {"SHRINKWRAP", "FOLLOW_PATH", "CLAMP_TO", "SPLINE_IK"}
_SOLVED = {"IK", "SPLINE_IK"}


class Value(NamedTuple):
    """Something that the host evaluates: a part of `item`, or of its bone `bone`, or a property by its path."""

    item: Any
    bone: str
    part: str

    def label(self) -> str:
        """For people."""
        if self.bone:
            return self.bone
        if self.part == READY:
            return f"all IK of {self.item.name}"
        return self.item.name if self.part in (PLACE, SHAPE) else f"{self.item.name}.{self.part}"


class Reader:
    """Answers what a value needs. It guards what was read of an object before, so that no list is walked twice."""

    def __init__(self) -> None:
        self._drivers: dict[Any, dict[tuple[str, str], list[Value]]] = {}
        self._solved: dict[Any, _Solved] = {}

    def needs(self, value: Value) -> Iterator[Value]:
        """What `value` needs at once."""
        item, bone, part = value
        yield from self._driven(item).get((bone, part), ())
        if not bone:
            if part == PLACE:
                yield from self._place_needs(item)
            elif part == SHAPE:
                yield from self._shape_needs(item)
            elif part == READY:
                yield from self._solvers(item).ready_needs
            return
        posed = item.pose.bones[bone]
        if part == CHANNELS:
            yield Value(item, "", PLACE)
            yield from self._driven(item.data).get(("", POSED), ())
        elif part == POSED:
            yield Value(item, bone, CHANNELS)
            if posed.parent is not None:
                yield Value(item, posed.parent.name, self._part_for(item, bone, posed.parent.name))
            for constraint in posed.constraints:
                if constraint.type not in _SOLVED:
                    yield from self._target_needs(constraint, item, bone)
        elif part == DONE:
            yield Value(item, bone, POSED)
            yield from (Value(item, root, SOLVED) for root in self._solvers(item).roots_over.get(bone, ()))
        elif part == SOLVED:
            yield Value(item, "", READY)
            yield from self._solvers(item).root_needs[bone]

    def _place_needs(self, item: Any) -> Iterator[Value]:
        if item.parent is not None:
            if item.parent_type == "BONE" and _has_bone(item.parent, item.parent_bone):
                yield Value(item.parent, item.parent_bone, DONE)
            if item.parent_type in ("VERTEX", "VERTEX_3"):
                yield Value(item.parent, "", SHAPE)
            yield Value(item.parent, "", PLACE)
        for constraint in item.constraints:
            yield from self._target_needs(constraint, item, "")

    def _shape_needs(self, item: Any) -> Iterator[Value]:
        groups = {group.name for group in getattr(item, "vertex_groups", ())}
        for modifier in item.modifiers:
            deformer = getattr(modifier, "object", None)
            if modifier.type != "ARMATURE" or deformer is None or deformer.pose is None:
                continue
            for bone in deformer.pose.bones:
                if modifier.use_bone_envelopes or bone.name in groups:
                    yield Value(deformer, bone.name, DONE)
        for data in (item.data, getattr(item.data, "shape_keys", None)):
            if data is not None:
                yield from (read for reads in self._driven(data).values() for read in reads)

    def _target_needs(self, constraint: Any, owner: Any, bone: str) -> Iterator[Value]:
        for target, subtarget in targets_of(constraint):
            if target.type == "ARMATURE" and subtarget:
                own = target == owner and bool(bone) and constraint.type != "ARMATURE"
                if _has_bone(target, subtarget):
                    yield Value(target, subtarget, self._part_for(owner, bone, subtarget) if own else DONE)
            elif constraint.type in _SHAPE_TARGETS or subtarget:
                yield Value(target, "", SHAPE)
            if not (target == owner and not bone):
                yield Value(target, "", PLACE)

    def _part_for(self, item: Any, bone: str, other: str) -> str:
        """Bones of IK chains with one root take each other from before IK, so that a chain does not wait for itself."""
        tied = self._solvers(item).tied
        return POSED if tied.get(bone, set()) & tied.get(other, set()) else DONE

    def _solvers(self, item: Any) -> _Solved:
        if item not in self._solved:
            self._solved[item] = _solved_of(item)
        return self._solved[item]

    def _driven(self, item: Any) -> dict[tuple[str, str], list[Value]]:
        """What drivers read for each value of `item`, by bone and part."""
        if item in self._drivers:
            return self._drivers[item]
        out: dict[tuple[str, str], list[Value]] = defaultdict(list)
        animation = getattr(item, "animation_data", None)
        for curve in animation.drivers if animation is not None else ():
            bone, part = _written(item, curve.data_path)
            for variable in curve.driver.variables:
                for target in variable.targets:
                    for read in _read(variable, target):
                        # The host lets a driver read the pose that its bone had before, and the place of its object.
                        is_own_pose = bone and read.item == item and read.bone == bone and read.part == DONE
                        is_own_place = variable.type != "SINGLE_PROP" and read == Value(item, "", PLACE)
                        if not (is_own_pose or is_own_place):
                            out[bone, part].append(read)
        self._drivers[item] = out
        return out


class _Solved(NamedTuple):
    """IK of an armature.

    Attributes:
        roots_over: roots of the chains that a bone is in.
        tied: roots of the chains that a bone is in or is the target of; a pole is in none.
        root_needs: what the chains with this root need in order to be solved.
        ready_needs: what all IK of the armature needs.
    """

    roots_over: dict[str, list[str]]
    tied: dict[str, set[str]]
    root_needs: dict[str, list[Value]]
    ready_needs: list[Value]


def _solved_of(item: Any) -> _Solved:
    out = _Solved(defaultdict(list), defaultdict(set), defaultdict(list), [])
    animated = tuple(_animated(item))
    is_early = getattr(item.pose, "ik_solver", "") == "ITASC"
    for bone in item.pose.bones:
        for constraint in bone.constraints:
            # Without a target the host solves nothing, whatever the pole is.
            if constraint.type not in _SOLVED or constraint.target is None:
                continue
            chain = _chain_of(bone, constraint)
            if not chain:
                continue
            root = chain[-1]
            targets = [] if constraint.type == "SPLINE_IK" else list(_solver_targets(constraint, item))
            if constraint.type == "IK":
                if is_early or any(path.startswith(constraint.path_from_id()) for path in animated):
                    out.ready_needs.append(Value(item, bone.name, CHANNELS))
                if constraint.target == item and constraint.subtarget:
                    out.tied[constraint.subtarget].add(root)
            else:
                targets = [Value(constraint.target, "", SHAPE), Value(constraint.target, "", PLACE)]
            (out.ready_needs if is_early else out.root_needs[root]).extend(targets)
            for name in chain:
                out.roots_over[name].append(root)
                out.tied[name].add(root)
                out.root_needs[root].append(Value(item, name, POSED))
            above = _tied_above(item, root, out.tied)
            if above and constraint.type == "IK":
                out.root_needs[root].append(Value(item, above, DONE))
    return out


def _chain_of(bone: Any, constraint: Any) -> list[str]:
    """The bones that a solver moves, its tip first."""
    chain: list[str] = []
    link = bone if getattr(constraint, "use_tail", True) else bone.parent
    while link is not None and (not constraint.chain_count or len(chain) < constraint.chain_count):
        chain.append(link.name)
        link = link.parent
    return chain


def _tied_above(item: Any, root: str, tied: dict[str, set[str]]) -> str:
    """The highest bone over a chain, without a gap, that is tied to a chain that the root is tied to as well."""
    highest = ""
    link = item.pose.bones[root].parent
    while link is not None and tied[root] & tied.get(link.name, set()):
        highest, link = link.name, link.parent
    return highest


def _solver_targets(constraint: Any, owner: Any) -> Iterator[Value]:
    """What IK goes to and bends towards: a bone is always taken as it ends up."""
    for target, subtarget in targets_of(constraint):
        if target != owner:
            yield Value(target, "", PLACE)
        if target.type == "ARMATURE" and subtarget:
            if _has_bone(target, subtarget):
                yield Value(target, subtarget, DONE)
        elif subtarget:
            yield Value(target, "", SHAPE)


def _animated(item: Any) -> Iterator[str]:
    """Data paths of an object that its action or drivers move."""
    animation = item.animation_data
    if animation is None:
        return
    yield from (curve.data_path for curve in animation.drivers)
    if animation.action is not None:
        yield from (curve.data_path for curve in curves_of(animation.action))


def poses_of(armature: bpy.types.Object, bones: Iterable[str]) -> list[Value]:
    """The final poses of those of `bones` that there are: where a walk over what they need starts."""
    return [Value(armature, bone, DONE) for bone in bones if _has_bone(armature, bone)]


def driven_of(*owners: Any) -> Iterator[Value]:
    """The values that drivers of these write: a circle of custom properties need not reach a bone."""
    for owner in owners:
        animation = owner.animation_data
        for curve in animation.drivers if animation is not None else ():
            yield Value(owner, *_written(owner, curve.data_path))


def _written(item: Any, path: str) -> tuple[str, str]:
    found = _BONE.match(path)
    if found and isinstance(item, bpy.types.Object):
        name, rest = found[1], found[2]
        if not _has_bone(item, name):
            return "", path
        # A constraint's setting is one with the channels for the host.
        return ("", _INDEX.sub("", path)) if rest.startswith("[") else (name, CHANNELS)
    if isinstance(item, bpy.types.Object):
        if path.startswith(_PLACES):
            return "", PLACE
        if path.startswith(_SHAPES):
            return "", SHAPE
    elif isinstance(item, bpy.types.Armature) and not path.startswith("["):
        return "", POSED
    return "", _INDEX.sub("", path)


def _read(variable: Any, target: Any) -> Iterator[Value]:
    item = target.id
    if item is None:
        return
    if variable.type != "SINGLE_PROP":
        if isinstance(item, bpy.types.Object):
            if target.bone_target and item.type == "ARMATURE":
                if _has_bone(item, target.bone_target):
                    yield Value(item, target.bone_target, DONE)
            else:
                yield Value(item, "", PLACE)
        return
    path = target.data_path
    found = _BONE.match(path)
    if found and isinstance(item, bpy.types.Object) and _has_bone(item, found[1]) and not found[2].startswith("["):
        is_result = re.split(r"[.\[]", found[2])[0] in _POSE_RESULTS
        yield Value(item, found[1], DONE if is_result else CHANNELS)
    elif isinstance(item, bpy.types.Object) and path.startswith((*_PLACES, *_PLACE_RESULTS)):
        yield Value(item, "", PLACE)
    else:
        yield Value(item, "", _INDEX.sub("", path))


def _has_bone(item: Any, bone: str) -> bool:
    return item.pose is not None and bone in item.pose.bones
