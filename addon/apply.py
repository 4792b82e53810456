"""Plan to host: bones, constraints, drivers, properties, looks. It reads a valid plan and decides nothing."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import bpy

from ..core.plan.made import bone_path
from ..core.plan.model import Bone, Constraint, Driver, Plan, Property, Variable
from . import host, shapes

CONSTRAINT_TYPES = {
    "armature": "ARMATURE",
    "copy_rotation": "COPY_ROTATION",
    "copy_location": "COPY_LOCATION",
    "copy_scale": "COPY_SCALE",
    "copy_transforms": "COPY_TRANSFORMS",
    "damped_track": "DAMPED_TRACK",
    "locked_track": "LOCKED_TRACK",
    "stretch_to": "STRETCH_TO",
    "share_roll": "TRANSFORM",
}
TRACK = {
    "X": "TRACK_X",
    "Y": "TRACK_Y",
    "Z": "TRACK_Z",
    "-X": "TRACK_NEGATIVE_X",
    "-Y": "TRACK_NEGATIVE_Y",
    "-Z": "TRACK_NEGATIVE_Z",
}
LOCK = {"X": "LOCK_X", "Y": "LOCK_Y", "Z": "LOCK_Z"}
VOLUME = {"XZ": "VOLUME_XZX", "NONE": "NO_VOLUME"}


def add_bones(armature: bpy.types.Object, plan: Plan) -> None:
    """Create the plan's bones in edit mode."""
    data = armature.data
    with host.mode(armature, "EDIT"), host.same_ends(data):
        edit = data.edit_bones
        for bone in plan.bones:
            made = edit.new(bone.name)
            place_bone(made, bone, edit)
            made.use_deform = bone.deform


def scale_inheritance(bone: Bone) -> str:
    """The host's word for what a bone takes over of its parent's scale."""
    return "FULL" if bone.inherit_scale else "NONE"


def place_bone(made: bpy.types.EditBone, bone: Bone, edit: bpy.types.bpy_prop_collection) -> None:
    """Give an edit bone its rest, its parent and what it inherits."""
    made.use_connect = False
    # From the same start, the host's rounding comes out the same however often a bone is placed.
    made.head, made.tail, made.roll = (0.0, 0.0, 0.0), (0.0, bone.length, 0.0), 0.0
    made.matrix = host.numpy_to_matrix(bone.rest)
    made.length = bone.length
    made.parent = edit[bone.parent] if bone.parent else None
    made.use_inherit_rotation = bone.inherit_rotation
    made.inherit_scale = scale_inheritance(bone)


def add_pose(armature: bpy.types.Object, plan: Plan) -> None:
    """Everything that lives on the pose: order, locks, properties, constraints, drivers."""
    pose = armature.pose.bones
    for bone in plan.bones:
        set_channels(pose[bone.name], bone)
    for entry in plan.properties:
        add_property(pose[entry.bone], entry)
    for constraint in plan.constraints:
        add_constraint(armature, constraint)
    for driver in plan.drivers:
        add_driver(armature, driver)


def add_looks(armature: bpy.types.Object, plan: Plan) -> None:
    """Collections, colours and shapes."""
    data, pose = armature.data, armature.pose.bones
    groups: dict[str, list[Bone]] = defaultdict(list)
    for bone in plan.bones:
        groups[bone.collection].append(bone)
    for name, bones in groups.items():
        collection = data.collections_all.get(name)
        if collection is None:
            collection = data.collections.new(name)
            collection.is_visible = name not in shapes.HIDDEN_COLLECTIONS
        for bone in bones:
            collection.assign(data.bones[bone.name])
    for bone in plan.bones:
        if bone.display.shape:
            shapes.dress(pose[bone.name], bone.display, pose)


def set_channels(pose_bone: bpy.types.PoseBone, bone: Bone) -> None:
    """How a bone turns, and what of it people can move."""
    for key, value in channels_of(bone).items():
        setattr(pose_bone, key, value)


def channels_of(bone: Bone) -> dict[str, Any]:
    """The host's attributes of a pose bone that say so."""
    return {
        "rotation_mode": bone.rotation_order,
        "lock_location": bone.lock_location,
        "lock_rotation": bone.lock_rotation,
        "lock_rotation_w": all(bone.lock_rotation),
        "lock_scale": bone.lock_scale,
    }


def add_property(pose_bone: bpy.types.PoseBone, entry: Property) -> None:
    """A custom property with its range and help, which a shot may override."""
    pose_bone[entry.name] = entry.default
    pose_bone.id_properties_ui(entry.name).update(**ui_of(entry))
    pose_bone.property_overridable_library_set(f'["{entry.name}"]', True)


def ui_of(entry: Property) -> dict[str, Any]:
    """How the host shows a property."""
    return {
        "min": entry.low,
        "max": entry.high,
        "soft_min": entry.low,
        "soft_max": entry.high,
        "default": entry.default,
        "description": entry.help,
        # Held in radians, shown in degrees.
        "subtype": "ANGLE" if entry.unit == "angle" else "NONE",
    }


def add_constraint(armature: bpy.types.Object, constraint: Constraint) -> bpy.types.Constraint:
    """A constraint at the end of its bone's stack."""
    made = armature.pose.bones[constraint.bone].constraints.new(CONSTRAINT_TYPES[constraint.kind])
    made.name = constraint.name
    if constraint.kind == "armature":
        made.targets.new()  # type: ignore[attr-defined]
    aim_constraint(armature, made, constraint)
    made.influence = constraint.influence
    made.show_expanded = False
    return made


def aim_constraint(armature: bpy.types.Object, made: bpy.types.Constraint, constraint: Constraint) -> None:
    """Target and settings of a constraint that is there."""
    holder = holder_of(made, constraint)
    holder.target, holder.subtarget = armature, constraint.target
    if constraint.kind == "share_roll":
        made.space_object, made.space_subtarget = armature, constraint.space
    for key, value in settings_of(constraint).items():
        setattr(made, key, value)


def holder_of(made: bpy.types.Constraint, constraint: Constraint) -> Any:
    """What names a constraint's target; None if it was lost."""
    # Carried like a child, a bone is listed among the targets; every other kind has just one.
    if constraint.kind == "armature":
        return made.targets[0] if len(made.targets) else None  # type: ignore[attr-defined]
    return made


def settings_of(constraint: Constraint) -> dict[str, Any]:
    """The host's attributes and values of a constraint's settings."""
    words: dict[str, tuple[str, dict[str, str]]] = {
        "axis": ("track_axis", TRACK),
        "lock": ("lock_axis", LOCK),
        "volume": ("volume", VOLUME),
    }
    if constraint.kind == "share_roll":
        return _share_roll(constraint)
    found: dict[str, Any] = {}
    for key, value in constraint.settings:
        if key in words:
            attribute, table = words[key]
            found[attribute] = table[str(value)]
        else:
            found[key] = value
    return found


def _share_roll(constraint: Constraint) -> dict[str, Any]:
    """Half a turn of the target about its Y axis, seen from the space bone, becomes that share of half a turn."""
    turned = float(dict(constraint.settings)["share"]) * math.pi
    return {
        "target_space": "CUSTOM",
        "owner_space": "LOCAL",
        "map_from": "ROTATION",
        "from_rotation_mode": "SWING_TWIST_Y",
        "from_min_y_rot": -math.pi,
        "from_max_y_rot": math.pi,
        "map_to": "ROTATION",
        "map_to_y_from": "Y",
        "to_min_y_rot": -turned,
        "to_max_y_rot": turned,
    }


def add_driver(armature: bpy.types.Object, driver: Driver) -> None:
    """A driver of an expression."""
    pose_bone = armature.pose.bones[driver.bone]
    if driver.channel == "property":
        curve = pose_bone.driver_add(f'["{driver.key}"]')
    elif driver.constraint:
        curve = pose_bone.constraints[driver.constraint].driver_add(driver.channel)
    else:
        curve = pose_bone.driver_add(driver.channel, driver.index)
    # A new driver's curve may come with points at 0 and 1, to which the host snaps any value within 1e-4 of them;
    # a curve without points or modifiers passes the value through exactly.
    curve.keyframe_points.clear()
    for modifier in list(curve.modifiers):
        curve.modifiers.remove(modifier)
    made = curve.driver
    made.type = "SCRIPTED"
    for variable in driver.variables:
        _add_variable(armature, made.variables.new(), variable)
    made.expression = driver.expression


def _add_variable(armature: bpy.types.Object, made: bpy.types.DriverVariable, variable: Variable) -> None:
    made.name = variable.name
    made.type, targets = variable_of(variable)
    for target, attributes in zip(made.targets, targets, strict=True):
        target.id = armature
        for key, value in attributes.items():
            setattr(target, key, value)


def variable_of(variable: Variable) -> tuple[str, tuple[dict[str, str], ...]]:
    """The host's type of a driver's variable, and the attributes of each of its targets."""
    if variable.kind == "property":
        return "SINGLE_PROP", ({"data_path": f'{bone_path(variable.bone)}["{variable.channel}"]'},)
    if variable.kind == "channel":
        path = f"{bone_path(variable.bone)}.{variable.channel}[{variable.index}]"
        return "SINGLE_PROP", ({"data_path": path},)
    if variable.kind == "distance":
        return "LOC_DIFF", ({"bone_target": variable.bone}, {"bone_target": variable.other})
    if variable.kind == "swing":
        swing = {"transform_type": "ROT_W", "rotation_mode": "SWING_TWIST_Y", "transform_space": "LOCAL_SPACE"}
        return "TRANSFORMS", ({"bone_target": variable.bone, **swing},)
    if variable.kind == "object_scale":
        return "TRANSFORMS", ({"transform_type": "SCALE_AVG", "transform_space": "WORLD_SPACE"},)
    raise ValueError(f"unknown variable kind {variable.kind!r}")
