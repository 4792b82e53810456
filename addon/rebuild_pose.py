"""What a rebuild changes on the pose: channels, properties, constraints and drivers, each only where it differs."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import bpy

from ..core.plan.made import bone_path, driven_path
from ..core.plan.model import Bone, Driver, Property
from . import apply
from .rebuild_work import Change, Work, keyed, same


def channels(work: Work) -> Iterator[Change]:
    """Rotation orders and locks, where the user has not set them."""
    for bone in work.plan.bones:
        posed = work.armature.pose.bones.get(bone.name)
        if posed is None:
            continue
        if bone.name in work.fresh:
            if any(not same(_plain(getattr(posed, key)), value) for key, value in apply.channels_of(bone).items()):
                yield Change(partial(apply.set_channels, posed, bone))
            continue
        base = work.made.bones.get(bone.name)
        if base is not None and (values := _moved(posed, base, bone)):
            yield Change(partial(_set, posed, values))


def _moved(posed: bpy.types.PoseBone, base: Bone, bone: Bone) -> dict[str, Any]:
    """Attributes that the plan gives another value than the last one did, and that are still what that one set."""
    before = apply.channels_of(base)
    return {
        key: value
        for key, value in apply.channels_of(bone).items()
        if value != before[key] and same(_plain(getattr(posed, key)), before[key])
    }


def _plain(value: Any) -> Any:
    return value if isinstance(value, bool | int | float | str) or value is None else tuple(value)


def _set(item: Any, values: dict[str, Any]) -> None:
    for key, value in values.items():
        setattr(item, key, value)


def properties(work: Work) -> Iterator[Change]:
    """Dials and intermediate results; a dial keeps its value."""
    for entry in work.plan.properties:
        posed = work.armature.pose.bones.get(entry.bone)
        if posed is None:
            continue
        if entry.name not in posed:
            note = ""
            if (entry.bone, entry.name) in work.made.properties and entry.bone not in work.fresh:
                note = f"the property {entry.name!r} of {entry.bone!r} was gone: made again"
            yield Change(partial(apply.add_property, posed, entry), note)
            continue
        value = posed[entry.name]
        if entry.dial and isinstance(value, int | float) and not entry.low <= value <= entry.high:
            nearest = min(max(float(value), entry.low), entry.high)
            yield Change(
                partial(posed.__setitem__, entry.name, nearest),
                f"the dial {entry.name!r} of {entry.bone!r} was {value:g}, outside of its range: it is {nearest:g} now",
            )
        base = work.made.properties.get((entry.bone, entry.name))
        if base is not None and isinstance(value, float) and (shown := _shown(posed, base, entry)):
            yield Change(partial(posed.id_properties_ui(entry.name).update, **shown))


def _shown(posed: bpy.types.PoseBone, base: Property, entry: Property) -> dict[str, Any]:
    now, before = posed.id_properties_ui(entry.name).as_dict(), apply.ui_of(base)
    return {
        key: value
        for key, value in apply.ui_of(entry).items()
        if value != before[key] and same(now.get(key), before[key])
    }


def drivers(work: Work) -> Iterator[Change]:
    """Drivers that are missing or not what the plan says."""
    animation = work.armature.animation_data
    for driver in work.plan.drivers:
        if driver.bone not in work.armature.pose.bones:
            continue
        path, index = driven_path(driver)
        curve = animation.drivers.find(path, index=index) if animation is not None else None
        if curve is not None and _is_driven(work.armature, curve, driver):
            continue
        note = ""
        if work.made.drivers.get((path, index)) == driver and driver.bone not in work.fresh:
            what = "was gone: made again" if curve is None else f"read {curve.driver.expression!r}: put back"
            note = f"the driver of {path} {what}"
        yield Change(partial(_drive, work.armature, driver), note)


def _drive(armature: bpy.types.Object, driver: Driver) -> None:
    _undrive(armature, *driven_path(driver))
    apply.add_driver(armature, driver)


def _undrive(armature: bpy.types.Object, path: str, index: int) -> None:
    animation = armature.animation_data
    curve = animation.drivers.find(path, index=index) if animation is not None else None
    if curve is not None:
        animation.drivers.remove(curve)


def _is_driven(armature: bpy.types.Object, curve: bpy.types.FCurve, driver: Driver) -> bool:
    made = curve.driver
    if len(curve.keyframe_points) or len(curve.modifiers) or made.type != "SCRIPTED":
        return False
    if made.expression != driver.expression or len(made.variables) != len(driver.variables):
        return False
    for found, variable in zip(made.variables, driver.variables, strict=True):
        kind, targets = apply.variable_of(variable)
        if (found.name, found.type, len(found.targets)) != (variable.name, kind, len(targets)):
            return False
        for target, attributes in zip(found.targets, targets, strict=True):
            if target.id != armature or any(getattr(target, key) != value for key, value in attributes.items()):
                return False
    return True


def leftovers(work: Work) -> Iterator[Change]:
    """Drivers and properties that the last build made and this plan does not have."""
    armature, animation = work.armature, work.armature.animation_data
    planned = {driven_path(driver) for driver in work.plan.drivers}
    for path, index in work.made.drivers:
        if (path, index) in planned or animation is None or animation.drivers.find(path, index=index) is None:
            continue
        yield Change(partial(_undrive, armature, path, index))
    wanted = {(entry.bone, entry.name) for entry in work.plan.properties}
    kept_bones = {bone.name for bone in work.plan.bones}
    for (bone, name), base in work.made.properties.items():
        posed = armature.pose.bones.get(bone)
        if (bone, name) in wanted or bone not in kept_bones or posed is None or name not in posed:
            continue
        if base is not None and base.dial and _is_used(armature, posed, base):
            # Nothing to change: the value stays as a property of the user's.
            continue
        yield Change(partial(posed.__delitem__, name))


def _is_used(armature: bpy.types.Object, posed: bpy.types.PoseBone, dial: Property) -> bool:
    path = f'{bone_path(posed.name)}["{dial.name}"]'
    driven = armature.animation_data is not None and armature.animation_data.drivers.find(path) is not None
    return not same(posed[dial.name], dial.default) or driven or keyed(armature, {path})
