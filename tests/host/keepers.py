"""A character that somebody has worked on, for the tests that build on it."""

from __future__ import annotations

from typing import Any


def plan_for(armature: Any = None, torso: str = "chest", root: str = "", guide: Any = None) -> Any:
    from armwright.addon.build import attachment_to
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    guide = guide_from_stature(1.7, "Wren") if guide is None else guide
    return plan_arms(guide, ArmOptions(), attachment_to(armature, torso, root) if armature is not None else None)


def activate(item: Any, mode: str = "OBJECT") -> None:
    import bpy

    for other in bpy.context.view_layer.objects:
        other.select_set(other is item)
    bpy.context.view_layer.objects.active = item
    if mode != "OBJECT":
        bpy.ops.object.mode_set(mode=mode)


def keeper() -> Any:
    """A user's own armature: odd rolls, nested collections, an action, a driver, a constraint, a mesh."""
    import bpy
    from characters import torso_armature

    from armwright.addon import host

    armature = torso_armature("Keeper")
    data = armature.data
    with host.mode(armature, "EDIT"):
        for number in range(6):
            bone = data.edit_bones.new(f"coat.{number}")
            bone.head = (0.1 * number, 0.05, 0.9 - 0.03 * number)
            bone.tail = (0.13 * number + 0.01, -0.05 * number, 0.5 + 0.07 * number)
            bone.roll = 0.37 * number
            bone.parent = data.edit_bones["hips"]
    mine = data.collections.new("Coat")
    inner = data.collections.new("Hem", parent=mine)
    for number in range(6):
        (mine if number < 3 else inner).assign(data.bones[f"coat.{number}"])
    taken = data.collections.new("Arms FK")
    taken.assign(data.bones["belly"])
    taken.is_visible = False
    data.collections.active_index = 0
    data.bones.active = data.bones["belly"]
    armature["lamp"] = "lit"
    armature.pose.bones["belly"]["breath"] = 0.25
    follow = armature.pose.bones["coat.1"].constraints.new("COPY_ROTATION")
    follow.target, follow.subtarget = armature, "hips"
    armature.pose.bones["coat.2"].rotation_mode = "ZXY"
    armature.pose.bones["chest"].keyframe_insert("location", frame=1)
    armature.pose.bones["coat.4"].driver_add("location", 1).driver.expression = "0.01*frame"
    mesh = bpy.data.objects.new("Body", bpy.data.meshes.new("Body"))
    bpy.context.scene.collection.objects.link(mesh)
    mesh.modifiers.new("Skin", "ARMATURE").object = armature
    activate(armature)
    bpy.context.view_layer.update()
    return armature
