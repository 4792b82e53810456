"""Build both arms."""

from __future__ import annotations

import bpy

from ...core.arm.build import plan_arms
from ...core.guide_check import check_guide
from ...core.hand_proportions import with_hands
from ...core.options import ArmOptions
from ...core.stature import guide_from_stature
from .. import build, marker_objects, rig
from .common import attempt


class ARMWRIGHT_OT_build_arms(bpy.types.Operator):
    """Build the arms in one step: on the chosen armature, or on a new one with root, torso and head"""

    bl_idname = "armwright.build_arms"
    bl_label = "Build arms"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        settings = context.scene.armwright_build
        if settings.armature is not None and not settings.torso:
            cls.poll_message_set("Choose the torso bone that carries the shoulders")
            return False
        if settings.armature is not None and rig.has_arms(settings.armature):
            cls.poll_message_set("This armature has arms already: remove them first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(self, lambda: _build(context))


def _build(context: bpy.types.Context) -> str:
    settings = context.scene.armwright_build
    armature = settings.armature
    name = armature.name if armature is not None else "Armwright"
    guide = guide_from_stature(settings.stature, name)
    if settings.source == "markers":
        guide = marker_objects.read(name, armature, guide)
    elif armature is not None:
        guide = build.sized_for(armature, guide)
    if settings.fingers:
        guide = with_hands(guide)
    warnings = check_guide(guide)
    if armature is None:
        at = tuple(settings.foot) if settings.source == "stature" else (0.0, 0.0, 0.0)
        armature = build.build_new(plan_arms(guide, ArmOptions()), name, at)
        settings.armature, settings.torso, settings.root = armature, "", ""
    else:
        build.build(
            armature, plan_arms(guide, ArmOptions(), build.attachment_to(armature, settings.torso, settings.root))
        )
    select_alone(context, armature)
    return f"{len(guide.arms)} arms built on {armature.name}" + "".join(f"; {warning}" for warning in warnings)


def select_alone(context: bpy.types.Context, armature: bpy.types.Object) -> None:
    """Make the armature active, so that the sidebar shows its arms."""
    if context.mode == "OBJECT":
        for item in context.view_layer.objects:
            item.select_set(item is armature)
        context.view_layer.objects.active = armature
