"""Build both arms."""

from __future__ import annotations

import bpy

from ...core.arm.build import plan_arms
from ...core.guide_check import check_guide
from ...core.options import ArmOptions
from .. import build, build_inputs, girths, rig
from ..rebuild import rebuild
from ..rebuild_plan import plan_again
from .common import attempt


class ARMWRIGHT_OT_build_arms(bpy.types.Operator):
    """Build the arms in one step: on the chosen armature, or on a new one with root, torso and head. Where there are
    arms already, they are brought up to date in place: keys, dials, weights and your own additions stay"""

    bl_idname = "armwright.build_arms"
    bl_label = "Build arms"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        settings = context.scene.armwright_build
        armature = settings.armature
        if armature is not None and not settings.torso and not rig.has_arms(armature):
            cls.poll_message_set("Choose the torso bone that carries the shoulders")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        return attempt(self, lambda: _build(context))


def _build(context: bpy.types.Context) -> str:
    settings = context.scene.armwright_build
    armature = settings.armature
    guide = build_inputs.guide_of(settings)
    warnings = check_guide(guide)
    if rig.has_arms(armature):
        done = rebuild(armature, plan_again(armature, guide))
        said = f"Arms of {armature.name} built again" if done.changed else f"Arms of {armature.name} are up to date"
        return "; ".join((said, *done.notes, *warnings))
    if armature is None:
        at = tuple(settings.foot) if settings.source == "stature" else (0.0, 0.0, 0.0)
        guide = girths.measured(guide, None, context.view_layer.objects, at)
        armature = build.build_new(plan_arms(guide, ArmOptions()), guide.name, at)
        source = settings.source
        settings.armature, settings.torso, settings.root = armature, "", ""
        settings.source = source
    else:
        guide = girths.measured(guide, armature, context.view_layer.objects)
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
