"""Characters for the host tests."""

from __future__ import annotations

from typing import Any


def wren_on_own_armature() -> Any:
    """Wren with root, torso and head of the build's own making."""
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    return build_new(plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions()), "Wren")


def torso_armature(name: str = "Body") -> Any:
    """An armature with a torso and no root: hips, belly, chest, each the next one's parent."""
    import bpy

    from armwright.addon import host

    data = bpy.data.armatures.new(name)
    armature = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.update()
    joints = [("hips", 0.9, 1.05), ("belly", 1.05, 1.2), ("chest", 1.2, 1.4)]
    with host.mode(armature, "EDIT"):
        parent = None
        for bone_name, low, high in joints:
            bone = data.edit_bones.new(bone_name)
            bone.head, bone.tail = (0.0, 0.01, low), (0.0, 0.02, high)
            bone.parent = parent
            parent = bone
    return armature


def wren_on_torso(torso: str = "chest") -> Any:
    """Arms on an existing armature without a root."""
    from armwright.addon.build import attachment_to, build
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    armature = torso_armature()
    plan = plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(), attachment_to(armature, torso))
    build(armature, plan)
    return armature
