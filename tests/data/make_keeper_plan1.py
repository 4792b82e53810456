"""Write `keeper_plan1.blend`: the lighthouse keeper with arms as plan version 1 built them, and a user's work on them.

Run with the code of commit 7aa9a2b, the last that builds version 1, in host 4.5: `python make_keeper_plan1.py OUT`.
Its own armature carries the arms (torso bone `chest`, root bone `ground`, head bone `skull`). The user's part: an
action with keys on torso, FK controls, dials, holds and a space; a second action that nothing plays; a space on a
lantern that moves; constraints, a bone, a driver and a weighted sleeve that depend on the arms' bones; a colour, a
shape's size, a dial's value and a bone collection of their own.
"""

from __future__ import annotations

import os
import sys

import bpy
import numpy as np

from armwright.addon import host, spaces, subjects
from armwright.addon.build import attachment_to, build
from armwright.addon.holds import MODES
from armwright.addon.switch import switch
from armwright.core.arm.build import plan_arms
from armwright.core.match.target import Target
from armwright.core.options import ArmOptions
from armwright.core.stature import guide_from_stature

STATURE = 1.7
LAST = 40
GRAB = 16
TORSO = (("ground", 0.0, 0.3), ("hips", 0.9, 1.05), ("belly", 1.05, 1.2), ("chest", 1.2, 1.4), ("skull", 1.45, 1.7))


def keeper() -> bpy.types.Object:
    """The keeper's armature, without arms."""
    data = bpy.data.armatures.new("Keeper")
    armature = bpy.data.objects.new("Keeper", data)
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.update()
    with host.mode(armature, "EDIT"):
        parent = None
        for name, low, high in TORSO:
            bone = data.edit_bones.new(name)
            bone.head, bone.tail, bone.parent = (0.0, 0.01, low), (0.0, 0.02, high), parent
            parent = bone
    for name, _, _ in TORSO:
        armature.pose.bones[name].rotation_mode = "XYZ"
    return armature


def hang_on(armature: bpy.types.Object) -> None:
    """What depends on the arms' bones: a lamp's bone, its swing, a driver, a limit, a sleeve."""
    data, pose = armature.data, armature.pose.bones
    with host.mode(armature, "EDIT"):
        lamp = data.edit_bones.new("lamp")
        hand = data.edit_bones["skin.hand.L"]
        lamp.head, lamp.tail, lamp.parent = hand.tail, hand.tail + hand.vector, hand
    follow = pose["lamp"].constraints.new("DAMPED_TRACK")
    follow.target, follow.subtarget, follow.influence = armature, "skin.forearm.R", 0.25
    limit = pose["fk.hand.R"].constraints.new("LIMIT_ROTATION")
    limit.name, limit.use_limit_x, limit.max_x, limit.owner_space = "My limit", True, 0.4, "LOCAL"
    curve = pose["lamp"].driver_add("scale", 0)
    variable = curve.driver.variables.new()
    variable.name, variable.type = "reach", "TRANSFORMS"
    variable.targets[0].id, variable.targets[0].bone_target = armature, "skin.upper_arm.L"
    variable.targets[0].transform_type, variable.targets[0].transform_space = "SCALE_Y", "LOCAL_SPACE"
    curve.driver.expression = "0.5 + 0.5 * reach"

    mesh = bpy.data.meshes.new("Sleeve")
    rings = [
        (bone, along) for bone in ("skin.upper_arm.L", "skin.forearm.L", "skin.hand.L") for along in (0.1, 0.5, 0.9)
    ]
    places, owners = [], []
    for bone, along in rings:
        frame = np.array(data.bones[bone].matrix_local)
        for turn in np.linspace(0.0, 2.0 * np.pi, 6, endpoint=False):
            local = (0.05 * np.cos(turn), along * data.bones[bone].length, 0.05 * np.sin(turn), 1.0)
            places.append(tuple((frame @ np.array(local))[:3]))
            owners.append(bone)
    faces = [
        (6 * ring + at, 6 * ring + (at + 1) % 6, 6 * ring + 6 + (at + 1) % 6, 6 * ring + 6 + at)
        for ring in range(len(rings) - 1)
        for at in range(6)
    ]
    mesh.from_pydata(places, [], faces)
    sleeve = bpy.data.objects.new("Sleeve", mesh)
    bpy.context.scene.collection.objects.link(sleeve)
    for bone in dict.fromkeys(owners):
        group = sleeve.vertex_groups.new(name=bone)
        group.add([at for at, owner in enumerate(owners) if owner == bone], 0.75, "REPLACE")
    sleeve.modifiers.new("Arms", "ARMATURE").object = armature


def animate(armature: bpy.types.Object) -> None:
    """The gallery: he leans and swings, takes the lantern's ring at frame GRAB and holds it while it moves."""
    pose, scene = armature.pose.bones, bpy.context.scene
    scene.frame_start, scene.frame_end = 1, LAST
    lantern = bpy.data.objects.new("Lantern", None)
    scene.collection.objects.link(lantern)
    rng = np.random.default_rng(17)
    print("seed 17")
    for frame in (1, LAST // 2, LAST):
        lantern.location = (np.array([0.35, -0.3, 1.1]) + rng.uniform(-0.05, 0.05, 3)).tolist()
        lantern.keyframe_insert("location", frame=frame)
        for name, size in (("belly", 0.2), ("chest", 0.2), ("fk.clavicle.L", 0.15), ("fk.upper_arm.R", 0.5)):
            pose[name].rotation_euler = rng.uniform(-size, size, 3).tolist()
            pose[name].keyframe_insert("rotation_euler", frame=frame)
        for side in "LR":
            pose[f"fk.forearm.{side}"].rotation_euler = (rng.uniform(0.6, 1.3), rng.uniform(-0.5, 0.5), 0.0)
            pose[f"fk.forearm.{side}"].keyframe_insert("rotation_euler", frame=frame)
        right = pose["fk.clavicle.R"]
        for key in ("isolate", "lift", "elbow_hold"):
            right[key] = float(rng.uniform(0.0, 1.0))
            right.keyframe_insert(f'["{key}"]', frame=frame)
        pose["hold.elbow.R"].location = rng.uniform(-0.05, 0.05, 3).tolist()
        pose["hold.elbow.R"].keyframe_insert("location", frame=frame)
    armature.animation_data.action.name = "Gallery"
    scene.frame_set(GRAB)
    subject = subjects.subject_of(armature)
    switch(subject, "L", Target(ik=MODES["hand"].ik, elbow=MODES["hand"].elbow), keyed=True)
    spaces.set_space(subject, "L", "hand", spaces.ensure_space(subject, "L", "hand", lantern), keyed=True)
    rest = armature.animation_data.action.copy()
    rest.name, rest.use_fake_user = "Storm", True
    track = rest.layers[0].strips[0].channelbags[0].fcurves.new('pose.bones["skin.upper_arm.L"].scale', index=0)
    track.keyframe_points.insert(1, 1.0)


def main() -> None:
    """Build, work, save."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    armature = keeper()
    guide = guide_from_stature(STATURE, "Keeper")
    build(armature, plan_arms(guide, ArmOptions(), attachment_to(armature, "chest", "ground", "skull")))
    hang_on(armature)
    animate(armature)
    pose = armature.pose.bones
    pose["fk.clavicle.R"]["soft"] = 0.35
    pose["fk.clavicle.L"]["mood"] = "steady"
    pose["fk.upper_arm.L"].color.palette = "THEME03"
    pose["fk.hand.L"].custom_shape_scale_xyz = (0.11, 0.12, 0.13)
    mine = armature.data.collections.new("Lamp hand")
    mine.assign(armature.data.bones["fk.hand.L"])
    mine.assign(armature.data.bones["lamp"])
    bpy.context.scene.frame_set(1)
    bpy.ops.wm.save_as_mainfile(filepath=os.path.abspath(sys.argv[1]), compress=True)


if __name__ == "__main__":
    main()
    sys.stdout.flush()
    os._exit(0)
