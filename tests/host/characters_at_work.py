"""A keeper with arms and a user's work on them, and what of that work has to survive."""

from __future__ import annotations

from typing import Any

import numpy as np

FRAMES = (1, 9, 16, 28, 40)


class Near:
    """Numbers that are equal to others within a few of single precision's roundings."""

    def __init__(self, values: Any) -> None:
        self.values = np.array(values)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Near) and bool(np.allclose(self.values, other.values, rtol=0.0, atol=2e-6))

    def __hash__(self) -> int:
        raise TypeError("what is near has no hash")


def at_work() -> Any:
    """Arms on the keeper's own armature, animated and changed by a user in every way that has to survive."""
    import bpy
    from keepers import keeper, plan_for
    from props import lantern, subject_of, switched

    from armwright.addon import host, spaces
    from armwright.addon.build import build

    armature = keeper()
    build(armature, plan_for(armature))
    pose, data = armature.pose.bones, armature.data
    with host.mode(armature, "EDIT"):
        ring = data.edit_bones.new("ring")
        hand = data.edit_bones["skin.hand.L"]
        ring.head, ring.tail, ring.parent = hand.tail, hand.tail + hand.vector, hand
    rng = np.random.default_rng(29)
    prop = lantern()
    for frame in (1, 20, 40):
        prop.location = (np.array([0.3, -0.3, 1.1]) + rng.uniform(-0.05, 0.05, 3)).tolist()
        prop.keyframe_insert("location", frame=frame)
        for name in ("fk.upper_arm.R", "fk.clavicle.L", "fk.hand.L"):
            pose[name].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
            pose[name].keyframe_insert("rotation_euler", frame=frame)
        for side in "LR":
            pose[f"fk.forearm.{side}"].rotation_euler = (rng.uniform(0.6, 1.2), 0.2, 0.0)
            pose[f"fk.forearm.{side}"].keyframe_insert("rotation_euler", frame=frame)
        pose["fk.clavicle.R"]["isolate"] = float(rng.uniform(0.0, 1.0))
        pose["fk.clavicle.R"].keyframe_insert('["isolate"]', frame=frame)
        pose["hold.hand.R"].location = rng.uniform(-0.05, 0.05, 3).tolist()
        pose["hold.hand.R"].keyframe_insert("location", frame=frame)
    bpy.context.scene.frame_set(16)
    switched(armature)
    subject = subject_of(armature)
    spaces.set_space(subject, "L", "hand", spaces.ensure_space(subject, "L", "hand", prop), keyed=True)
    shelf = armature.animation_data.action.copy()
    shelf.name, shelf.use_fake_user = "Shelf", True
    limit = pose["fk.hand.R"].constraints.new("LIMIT_ROTATION")
    limit.name, limit.use_limit_x, limit.max_x, limit.owner_space = "Mine", True, 0.35, "LOCAL"
    between = pose["aux.forearm.R"].constraints.new("LIMIT_SCALE")
    between.name, between.influence = "Between", 0.5
    pose["aux.forearm.R"].constraints.move(3, 1)
    follow = pose["ring"].constraints.new("DAMPED_TRACK")
    follow.target, follow.subtarget, follow.influence = armature, "skin.forearm.R", 0.25
    curve = pose["ring"].driver_add("scale", 0)
    variable = curve.driver.variables.new()
    variable.name, variable.type = "long", "TRANSFORMS"
    variable.targets[0].id, variable.targets[0].bone_target = armature, "skin.upper_arm.L"
    variable.targets[0].transform_type, variable.targets[0].transform_space = "SCALE_Y", "LOCAL_SPACE"
    curve.driver.expression = "0.5 + 0.5 * long"
    dials = pose["fk.clavicle.R"]
    dials["soft"], dials["mood"] = 0.35, "steady"
    dials.driver_add('["volume"]').driver.expression = "0.25"
    pose["fk.upper_arm.L"].color.palette = "THEME03"
    pose["fk.hand.L"].custom_shape_scale_xyz = (0.11, 0.12, 0.13)
    pose["fk.forearm.R"].custom_shape = prop
    pose["fk.forearm.L"].lock_rotation = (False, True, True)
    mine = data.collections.new("Lamp hand")
    for collection in list(data.bones["fk.hand.L"].collections):
        collection.unassign(data.bones["fk.hand.L"])
    mine.assign(data.bones["fk.hand.L"])
    data.bones["fk.hand.L"]["note"] = "burnt"
    sleeve(armature)
    bpy.context.scene.frame_set(1)
    return armature


def sleeve(armature: Any) -> Any:
    """A mesh along the left arm, weighted to its skin bones."""
    import bpy

    mesh = bpy.data.meshes.new("Sleeve")
    names = [f"skin.{part}.L" for part in ("upper_arm", "forearm", "hand")]
    mesh.from_pydata([tuple(armature.data.bones[name].head_local) for name in names], [], [])
    item = bpy.data.objects.new("Sleeve", mesh)
    bpy.context.scene.collection.objects.link(item)
    for place, name in enumerate(names):
        item.vertex_groups.new(name=name).add([place], 0.75, "REPLACE")
    item.modifiers.new("Arms", "ARMATURE").object = armature
    return item


def work_of(armature: Any) -> dict[str, Any]:
    """All of a user's work on an armature and in the file that a rebuild must not touch, as plain data."""
    import bpy
    from deep_snapshot import deep_snapshot

    from armwright.addon.curves import curves_of

    made = _made(armature)
    snapshot = deep_snapshot()
    bones = snapshot["armatures"][armature.data.name]["bones"]
    animation = armature.animation_data
    hanging = [
        bone.name
        for bone in armature.data.bones
        if bone.name not in made.bones and any(parent.name in made.bones for parent in bone.parent_recursive)
    ]
    return {
        "actions": {
            action.name: sorted(
                (curve.data_path, curve.array_index, [tuple(point.co) for point in curve.keyframe_points])
                for curve in curves_of(action)
            )
            for action in bpy.data.actions
        },
        "bones": {name: bone for name, bone in bones.items() if name not in made.bones and name not in hanging},
        # The host keeps a bone by its place in its parent, so that one which hangs on a moved one is rounded.
        "hanging": {name: (bones[name][0], Near(bones[name][1]), bones[name][4:]) for name in hanging},
        "channels": {
            bone.name: (
                tuple(bone.location),
                tuple(bone.rotation_euler),
                tuple(bone.rotation_quaternion),
                tuple(bone.scale),
                bone.rotation_mode,
                tuple(bone.lock_rotation),
            )
            for bone in armature.pose.bones
            if not bone.name.startswith(("aux.", "ik.", "skin.", *hanging))
        },
        "properties": {
            (bone.name, key): str(value.to_list() if hasattr(value, "to_list") else value)
            for bone in armature.pose.bones
            for key, value in bone.items()
            if not (entry := made.properties.get((bone.name, key))) or entry.dial
        },
        "constraints": {
            bone.name: [
                _constraint(item) for item in bone.constraints if (bone.name, item.name) not in made.constraints
            ]
            for bone in armature.pose.bones
        },
        "drivers": sorted(
            (
                curve.data_path,
                curve.driver.expression,
                [entry.targets[0].bone_target for entry in curve.driver.variables],
            )
            for curve in animation.drivers
            if (curve.data_path, curve.array_index) not in made.drivers
        ),
        "groups": {
            item.name: [
                (
                    group.name,
                    [entry.weight for v in item.data.vertices for entry in v.groups if entry.group == group.index],
                )
                for group in item.vertex_groups
            ]
            for item in bpy.data.objects
            if item.type == "MESH"
        },
        "own looks": {
            name: (
                bone.color.palette,
                name == "fk.hand.L" and tuple(bone.custom_shape_scale_xyz),
                getattr(bone.custom_shape, "name", None),
                sorted(entry.name for entry in bone.bone.collections),
                dict(bone.bone.items()),
            )
            for name in ("fk.upper_arm.L", "fk.hand.L", "fk.forearm.R")
            if (bone := armature.pose.bones.get(name)) is not None
        },
    }


def lost(before: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """What of a user's work differs, a line each; bones and properties that are new do not count."""
    from deep_snapshot import differences

    return [line for line in differences(before, now) if not line.endswith(" is new")]


def _made(armature: Any) -> Any:
    from armwright.addon import rig
    from armwright.addon.rebuild_plan import last_made

    return last_made(armature, rig.read_record(armature))


def _constraint(item: Any) -> Any:
    values = {
        entry.identifier: getattr(item, entry.identifier)
        for entry in item.bl_rna.properties
        if entry.type in ("BOOLEAN", "INT", "FLOAT", "STRING", "ENUM")
        and entry.identifier not in ("error_location", "error_rotation", "active", "is_valid")
    }
    plain = {
        key: list(value) if hasattr(value, "__len__") and not isinstance(value, str) else value
        for key, value in values.items()
    }
    return {key: [list(row) for row in value] if key == "inverse_matrix" else value for key, value in plain.items()}


def poses(armature: Any, names: Any, frames: Any = FRAMES) -> Any:
    """Evaluated poses over frames, armature space, (F, B, 4, 4)."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        out.append([np.array(armature.pose.bones[name].matrix) for name in names])
    bpy.context.scene.frame_set(1)
    return np.array(out)
