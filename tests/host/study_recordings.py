"""Wren as somebody recorded: a key of every FK channel on every frame, hands and elbows that nearly stand still."""

from __future__ import annotations

from typing import Any

import numpy as np

SEED = 4127
LAST = 60
# Frames on which the left hand stands, the right elbow rests, and what they creep by meanwhile, metres.
HAND, ELBOW = (15, 38), (20, 45)
CREEP = 0.0008


def record(armature: Any, creep: float = CREEP, mover: Any = None) -> None:
    """The left hand goes to a place, stands there and goes on; the right elbow rests while the torso leans.

    `mover`: an object that the left hand goes with while it stands, instead of standing.
    """
    import bpy
    from props import subject_of

    from armwright.addon import convert
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    rng = np.random.default_rng(SEED)
    scene, bones = bpy.context.scene, armature.pose.bones
    scene.frame_start, scene.frame_end = 1, LAST
    scene.frame_set(1)
    bones["torso.2"].rotation_mode = "XYZ"
    for frame in (1, 12, 25, 40, LAST):
        bones["torso.2"].rotation_euler = rng.uniform(-0.12, 0.12, 3).tolist()
        bones["torso.2"].keyframe_insert("rotation_euler", frame=frame)
    for side in "LR":
        bones[f"fk.forearm.{side}"].rotation_euler = (1.1, 0.2, 0.0)
        bones[f"fk.upper_arm.{side}"].rotation_euler = (0.2, 0.1, 0.3)
    bpy.context.view_layer.update()
    subject = subject_of(armature)
    switch(subject, "L", Target(ik=1.0, elbow=0.0), keyed=False)
    switch(subject, "R", Target(ik=0.0, elbow=1.0), keyed=False)
    for name, (first, last), before, after in (
        ("hold.hand.L", HAND, (-0.12, -0.05, 0.1), (0.1, 0.08, 0.12)),
        ("hold.elbow.R", ELBOW, (0.05, 0.06, -0.08), (0.0, -0.1, 0.05)),
    ):
        place = np.array(bones[name].location)
        for frame in range(1, LAST + 1):
            off = np.zeros(3)
            if frame < first:
                off = np.array(before) * ((first - frame) / (first - 1)) ** 2
            elif frame > last:
                off = np.array(after) * ((frame - last) / (LAST - last)) ** 2
            elif frame > first:
                off = rng.normal(0.0, creep, 3)
            bones[name].location = (place + off).tolist()
            bones[name].keyframe_insert("location", frame=frame)
    if mover is not None:
        # The hold's space has no parent: its rest axes stand in the armature's.
        turn = np.array(armature.data.bones["hold.hand.L"].matrix_local)[:3, :3]
        scene.frame_set(HAND[0])
        start = np.array(mover.matrix_world.translation)
        for frame in range(HAND[0], LAST + 1):
            scene.frame_set(min(frame, HAND[1]))
            went = turn.T @ (np.array(mover.matrix_world.translation) - start)
            scene.frame_set(frame)
            bones["hold.hand.L"].location = (np.array(bones["hold.hand.L"].location) + went).tolist()
            bones["hold.hand.L"].keyframe_insert("location", frame=frame)
    for mode in ("none",):
        convert.convert_whole(subject, convert.Request(("L", "R"), mode, 1, LAST))
    scene.frame_set(1)


def world(armature: Any, bone: str, frames: Any) -> np.ndarray:
    """Matrices (N, 4, 4) of a bone in the world."""
    import bpy

    out = []
    for frame in frames:
        bpy.context.scene.frame_set(frame)
        matrix = armature.evaluated_get(bpy.context.evaluated_depsgraph_get()).matrix_world
        out.append(np.array(matrix @ armature.pose.bones[bone].matrix))
    return np.array(out)
