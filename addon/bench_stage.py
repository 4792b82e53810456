"""Where the benchmark plays what it times, and the bare bones that it compares with."""

from __future__ import annotations

import bpy

from ..core.plan.model import Plan
from .apply import add_bones


def alone(item: bpy.types.Object) -> bpy.types.Scene:
    """A scene of its own for `item`, so that nothing else is evaluated with it."""
    scene = bpy.data.scenes.new(item.name)
    for collection in list(item.users_collection):
        collection.objects.unlink(item)
    scene.collection.objects.link(item)
    return scene


def play(scene: bpy.types.Scene, frames: int) -> None:
    """Step through the first `frames` frames."""
    for frame in range(frames):
        scene.frame_set(frame + 1)


def create_bare(plan: Plan) -> None:
    """Make a new armature of the plan's bones alone, with nothing on them, and let the host evaluate it."""
    data = bpy.data.armatures.new("bare")
    item = bpy.data.objects.new("bare", data)
    bpy.context.collection.objects.link(item)
    bpy.context.view_layer.update()
    add_bones(item, plan)
    bpy.context.view_layer.update()
