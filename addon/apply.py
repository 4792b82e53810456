"""Plan to host: bones, constraints, drivers, properties, looks. It reads a valid plan and decides nothing."""

from __future__ import annotations

import math
from collections import defaultdict

import bpy

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
    with host.mode(armature, "EDIT"):
        edit = data.edit_bones
        for bone in plan.bones:
            made = edit.new(bone.name)
            made.head, made.tail = (0.0, 0.0, 0.0), (0.0, bone.length, 0.0)
            made.matrix = host.numpy_to_matrix(bone.rest)
            made.length = bone.length
            made.parent = edit[bone.parent] if bone.parent else None
            made.use_deform = bone.deform
            made.use_inherit_rotation = bone.inherit_rotation
            made.inherit_scale = "FULL" if bone.inherit_scale else "NONE"


def add_pose(armature: bpy.types.Object, plan: Plan) -> None:
    """Everything that lives on the pose: order, locks, properties, constraints, drivers."""
    pose = armature.pose.bones
    for bone in plan.bones:
        _set_channels(pose[bone.name], bone)
    for entry in plan.properties:
        _add_property(pose[entry.bone], entry)
    for constraint in plan.constraints:
        _add_constraint(armature, constraint)
    for driver in plan.drivers:
        _add_driver(armature, driver)


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


def _set_channels(pose_bone: bpy.types.PoseBone, bone: Bone) -> None:
    pose_bone.rotation_mode = bone.rotation_order
    pose_bone.lock_location = bone.lock_location
    pose_bone.lock_rotation = bone.lock_rotation
    pose_bone.lock_rotation_w = all(bone.lock_rotation)
    pose_bone.lock_scale = bone.lock_scale


def _add_property(pose_bone: bpy.types.PoseBone, entry: Property) -> None:
    pose_bone[entry.name] = entry.default
    pose_bone.id_properties_ui(entry.name).update(
        min=entry.low,
        max=entry.high,
        soft_min=entry.low,
        soft_max=entry.high,
        default=entry.default,
        description=entry.help,
    )
    if entry.unit == "angle":
        # Held in radians, shown in degrees.
        pose_bone.id_properties_ui(entry.name).update(subtype="ANGLE")
    pose_bone.property_overridable_library_set(f'["{entry.name}"]', True)


def _add_constraint(armature: bpy.types.Object, constraint: Constraint) -> None:
    made = armature.pose.bones[constraint.bone].constraints.new(CONSTRAINT_TYPES[constraint.kind])
    made.name = constraint.name
    # Carried like a child, a bone is listed among the targets; every other kind has just one.
    holder = made.targets.new() if constraint.kind == "armature" else made
    holder.target, holder.subtarget = armature, constraint.target
    made.influence = constraint.influence
    made.show_expanded = False
    if constraint.kind == "share_roll":
        _share_roll(armature, made, constraint)
        return
    for key, value in constraint.settings:
        if key == "axis":
            made.track_axis = TRACK[value]
        elif key == "lock":
            made.lock_axis = LOCK[value]
        elif key == "volume":
            made.volume = VOLUME[value]
        else:
            setattr(made, key, value)


def _share_roll(armature: bpy.types.Object, made: bpy.types.TransformConstraint, constraint: Constraint) -> None:
    """Half a turn of the target about its Y axis, seen from the space bone, becomes that share of half a turn."""
    made.target_space, made.owner_space = "CUSTOM", "LOCAL"
    made.space_object, made.space_subtarget = armature, constraint.space
    made.map_from, made.from_rotation_mode = "ROTATION", "SWING_TWIST_Y"
    made.from_min_y_rot, made.from_max_y_rot = -math.pi, math.pi
    turned = dict(constraint.settings)["share"] * math.pi
    made.map_to, made.map_to_y_from = "ROTATION", "Y"
    made.to_min_y_rot, made.to_max_y_rot = -turned, turned


def _add_driver(armature: bpy.types.Object, driver: Driver) -> None:
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
    if variable.kind in ("property", "channel"):
        made.type = "SINGLE_PROP"
        made.targets[0].id = armature
        made.targets[0].data_path = (
            f'pose.bones["{variable.bone}"]["{variable.channel}"]'
            if variable.kind == "property"
            else f'pose.bones["{variable.bone}"].{variable.channel}[{variable.index}]'
        )
    elif variable.kind == "distance":
        made.type = "LOC_DIFF"
        for target, bone in zip(made.targets, (variable.bone, variable.other), strict=True):
            target.id, target.bone_target = armature, bone
    elif variable.kind == "swing":
        made.type = "TRANSFORMS"
        target = made.targets[0]
        target.id, target.bone_target = armature, variable.bone
        target.transform_type, target.rotation_mode, target.transform_space = "ROT_W", "SWING_TWIST_Y", "LOCAL_SPACE"
    elif variable.kind == "object_scale":
        made.type = "TRANSFORMS"
        target = made.targets[0]
        target.id, target.transform_type, target.transform_space = armature, "SCALE_AVG", "WORLD_SPACE"
    else:
        raise ValueError(f"unknown variable kind {variable.kind!r}")
