"""What of the user's hangs on bones that are to go: it is named before anything is lost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import Any

import bpy

from ..core.plan.made import Made, bone_path
from .dependencies import targets_of

# How many of them a sentence names.
SHOWN = 4


def dependents(armature: bpy.types.Object, going: Collection[str], made: Made) -> dict[str, list[str]]:
    """For each bone of `going` that something of the user's depends on, what that is, in words.

    Bones of ours that go along do not count, and neither do weights and keys: those stay, in their vertex groups and
    actions, whether there is a bone or not.
    """
    wanted = set(going)
    found: dict[str, list[str]] = defaultdict(list)
    for bone, words in _all(armature, wanted, made):
        if words not in found[bone]:
            found[bone].append(words)
    return dict(found)


def weighted(armature: bpy.types.Object, bones: Collection[str]) -> dict[str, list[str]]:
    """Meshes that the armature moves, with those of their vertex groups that belong to `bones`."""
    wanted = set(bones)
    found = {
        item.name: [group.name for group in item.vertex_groups if group.name in wanted]
        for item in bpy.data.objects
        if any(entry.type == "ARMATURE" and entry.object == armature for entry in getattr(item, "modifiers", ()))
    }
    return {name: groups for name, groups in found.items() if groups}


def listed(words: Collection[str]) -> str:
    """The first few, for a sentence."""
    items = list(words)
    more = len(items) - SHOWN
    return ", ".join(items[:SHOWN]) + (f" and {more} more" if more > 0 else "")


def _all(armature: bpy.types.Object, going: set[str], made: Made) -> Iterator[tuple[str, str]]:
    for name in sorted(going):
        if name in armature.data.bones:
            yield from _on_bone(armature, name, going, made)
    for item in bpy.data.objects:
        yield from _on_object(item, armature, going, made)
    for block in _animated():
        yield from _in_drivers(block, armature, going, made)


def _on_bone(armature: bpy.types.Object, name: str, going: set[str], made: Made) -> Iterator[tuple[str, str]]:
    """What the user put below and onto a bone."""
    bone, posed = armature.data.bones[name], armature.pose.bones[name]
    for child in bone.children:
        if child.name not in going and child.name not in made.bones:
            yield name, f"the bone {child.name!r}"
    for item in posed.constraints:
        if (name, item.name) not in made.constraints:
            yield name, f"the constraint {item.name!r} on {name!r}"
    for key in (*own_properties(posed, made), *(key for key, _ in bone.items())):
        yield name, f"the property {key!r} of {name!r}"


def _on_object(
    item: bpy.types.Object, armature: bpy.types.Object, going: set[str], made: Made
) -> Iterator[tuple[str, str]]:
    """How an object, or a bone of it, follows bones that go."""
    if item.parent == armature and item.parent_type == "BONE" and item.parent_bone in going:
        yield item.parent_bone, f"the object {item.name!r}"
    for modifier in getattr(item, "modifiers", ()):
        if getattr(modifier, "object", None) == armature and getattr(modifier, "subtarget", "") in going:
            yield modifier.subtarget, f"the modifier {modifier.name!r} of {item.name!r}"
    yield from _held(item, "", item.constraints, armature, going, made)
    for posed in item.pose.bones if item.pose is not None else ():
        if item != armature or posed.name not in going:
            yield from _held(item, posed.name, posed.constraints, armature, going, made)


def _in_drivers(block: Any, armature: bpy.types.Object, going: set[str], made: Made) -> Iterator[tuple[str, str]]:
    """What drives bones that go, and what reads them."""
    for curve in block.animation_data.drivers:
        if block == armature and (curve.data_path, curve.array_index) in made.drivers:
            continue
        if block == armature and (owner := _bone_in(curve.data_path, going)):
            yield owner, f"the driver of {curve.data_path}"
        for bone in _read(curve, armature, going):
            yield bone, f"a driver of {block.name!r} ({curve.data_path})"


def own_properties(bone: bpy.types.PoseBone, made: Made) -> list[str]:
    """Custom properties that the user gave a pose bone; what a hold's space remembers belongs to its constraint."""
    return [
        key
        for key, value in bone.items()
        if (bone.name, key) not in made.properties and not key.startswith("grab.") and not hasattr(value, "bl_rna")
    ]


def _held(
    item: bpy.types.Object, bone: str, stack: Any, armature: bpy.types.Object, going: set[str], made: Made
) -> Iterator[tuple[str, str]]:
    for constraint in stack:
        if item == armature and (bone, constraint.name) in made.constraints:
            continue
        for target in targets_of(constraint):
            if target.item == armature and target.bone in going:
                owner = f"{bone!r} of {item.name!r}" if bone else repr(item.name)
                yield target.bone, f"the constraint {constraint.name!r} of {owner}"


def _animated() -> Iterator[Any]:
    """Every data block that has drivers of its own."""
    for entry in bpy.data.bl_rna.properties:
        if entry.type == "COLLECTION":
            for block in getattr(bpy.data, entry.identifier):
                if getattr(block, "animation_data", None) is not None:
                    yield block


def _read(curve: bpy.types.FCurve, armature: bpy.types.Object, going: set[str]) -> Iterator[str]:
    for variable in curve.driver.variables:
        for target in variable.targets:
            if target.id != armature:
                continue
            bone = target.bone_target if variable.type != "SINGLE_PROP" else _bone_in(target.data_path, going)
            if bone in going:
                yield bone


def _bone_in(path: str, bones: set[str]) -> str:
    """The one of `bones` that a data path goes through; "" if none."""
    start = bone_path("").removesuffix('"]')
    if not path.startswith(start):
        return ""
    name = path[len(start) :].partition('"]')[0]
    return name if name in bones else ""
