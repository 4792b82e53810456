"""Reads an armature into a sketch, from which a rig card is drafted and against which one is checked."""

from __future__ import annotations

import re

import bpy

from ..core.card.sketch import (
    RigSketch,
    SketchBone,
    SketchConstraint,
    SketchDriver,
    SketchProperty,
    SketchSource,
)

# Where a driver's variable finds a custom property, and where a constraint's driver sits.
_PROPERTY = re.compile(r'(?:pose\.bones\["((?:[^"\\]|\\.)*)"\])?\["((?:[^"\\]|\\.)*)"\]')
_CONSTRAINT = re.compile(
    r'pose\.bones\["((?:[^"\\]|\\.)*)"\]\.constraints\["((?:[^"\\]|\\.)*)"\]\.(influence|mute|enabled)'
)


def sketch_of(armature: bpy.types.Object) -> RigSketch:
    """What is there, at rest, without evaluating anything: no driver's expression is run."""
    drivers = _drivers(armature)
    posed = armature.pose.bones
    bones = tuple(
        SketchBone(
            bone.name,
            bone.parent.name if bone.parent else "",
            tuple(bone.head_local),
            tuple(bone.tail_local),
            bone.use_deform,
            bone.use_inherit_rotation,
            _properties(posed[bone.name]),
            tuple(_constraint(armature, bone.name, item, drivers) for item in posed[bone.name].constraints),
        )
        for bone in _parents_first(armature.data.bones)
    )
    scenes = armature.users_scene
    unit = (scenes[0] if scenes else bpy.context.scene).unit_settings.scale_length
    return RigSketch(armature.name, bones, _properties(armature), unit, tuple(armature.matrix_world.to_scale()))


def _parents_first(bones) -> list[bpy.types.Bone]:  # type: ignore[no-untyped-def]
    waiting = [bone for bone in bones if bone.parent is None]
    found = []
    while waiting:
        bone = waiting.pop()
        found.append(bone)
        waiting.extend(bone.children)
    return found


def _properties(owner) -> tuple[SketchProperty, ...]:  # type: ignore[no-untyped-def]
    """Custom properties that hold one number."""
    found = []
    for name in owner.keys():  # noqa: SIM118 - iterating over the owner itself gives no names in every version
        value = owner[name]
        if not isinstance(value, bool | int | float):
            continue
        low, high = (0.0, 1.0) if isinstance(value, bool) else (None, None)
        if not isinstance(value, bool):
            limits = owner.id_properties_ui(name).as_dict()
            low, high = limits.get("min"), limits.get("max")
        found.append(SketchProperty(name, float(value), low, high))
    return tuple(found)


def _constraint(
    armature: bpy.types.Object,
    bone: str,
    item: bpy.types.Constraint,
    drivers: dict[tuple[str, str, str], SketchDriver],
) -> SketchConstraint:
    target, subtarget = getattr(item, "target", None), getattr(item, "subtarget", "")
    several = list(getattr(item, "targets", ()))
    if item.type == "ARMATURE" and len(several) == 1:
        target, subtarget = several[0].target, several[0].subtarget
    pole = getattr(item, "pole_subtarget", "") if getattr(item, "pole_target", None) == armature else ""
    switched_off = drivers.get((bone, item.name, "mute"))
    return SketchConstraint(
        item.name,
        item.type,
        subtarget if target == armature else "",
        target is not None and target != armature,
        pole,
        getattr(item, "chain_count", 0),
        item.influence,
        item.mute,
        drivers.get((bone, item.name, "influence")),
        switched_off,
    )


def _drivers(armature: bpy.types.Object) -> dict[tuple[str, str, str], SketchDriver]:
    """Drivers of constraints, by bone, constraint and "influence" or "mute"."""
    found: dict[tuple[str, str, str], SketchDriver] = {}
    if armature.animation_data is None:
        return found
    for curve in armature.animation_data.drivers:
        place = _CONSTRAINT.fullmatch(curve.data_path)
        if place is None or place[3] == "enabled":
            continue
        driver = curve.driver
        sources = []
        for variable in driver.variables:
            target = variable.targets[0]
            read = _PROPERTY.fullmatch(target.data_path) if variable.type == "SINGLE_PROP" else None
            if read is not None and target.id == armature:
                sources.append(SketchSource(_plain(read[1] or ""), _plain(read[2]), variable.name))
        expression = driver.expression if driver.type == "SCRIPTED" else ""
        found[_plain(place[1]), _plain(place[2]), place[3]] = SketchDriver(tuple(sources), expression)
    return found


def _plain(name: str) -> str:
    """A name as it is, from how a path writes it."""
    return re.sub(r"\\(.)", r"\1", name)
