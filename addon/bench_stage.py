"""Where the benchmark plays what it times: one object in a scene of its own."""

from __future__ import annotations

import bpy


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
