"""Armatures that are unusual and fine: hidden, scaled, turned, moved. What they hold stays."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from refusals import body, guide_of, plan_of

SEED = 8128
SLIDE_LIMIT = 2e-6  # arm lengths


@pytest.mark.parametrize("hidden", ["eye", "collection", "layer"])
def test_a_hidden_armature_gets_its_arms_and_stays_hidden(empty_file: Any, hidden: str) -> None:
    import bpy
    from deep_snapshot import deep_snapshot

    from armwright.addon.build import build
    from armwright.addon.rig import read_record

    armature = body()
    away = bpy.data.collections.new("Away")
    bpy.context.scene.collection.children.link(away)
    away.objects.link(armature)
    bpy.context.scene.collection.objects.unlink(armature)
    if hidden == "eye":
        armature.hide_set(True)
    elif hidden == "collection":
        away.hide_viewport = True
    else:
        bpy.context.view_layer.layer_collection.children["Away"].hide_viewport = True
    bpy.context.view_layer.update()
    before = deep_snapshot()["context"]
    assert not armature.visible_get()
    build(armature, plan_of(armature=armature))
    assert deep_snapshot()["context"] == before
    assert not armature.visible_get()
    assert read_record(armature).arms == ("L", "R")


def held_hand_slide(armature: Any, poses: int = 60) -> float:
    """Largest distance of a held wrist from its hold while the torso moves, in the world, arm lengths."""
    import bpy

    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    for side in "LR":
        armature.pose.bones[f"fk.clavicle.{side}"]["ik"] = 1.0
        # Towards the body, so that every torso pose leaves the hand in reach.
        hold = armature.pose.bones[f"hold.hand.{side}"]
        matrix = hold.bone.matrix_local.copy()
        shoulder = armature.data.bones[f"skin.upper_arm.{side}"].head_local
        matrix.translation = shoulder + 0.6 * (matrix.translation - shoulder)
        hold.matrix = matrix
    torso = armature.pose.bones["chest"]
    torso.rotation_mode = "XYZ"
    length = sum(armature.data.bones[f"fk.{part}.L"].length for part in ("upper_arm", "forearm"))
    worst = 0.0
    world = np.array(armature.matrix_world)
    size = float(np.cbrt(np.linalg.det(world[:3, :3])))
    for _ in range(poses):
        torso.rotation_euler = rng.uniform(-0.45, 0.45, 3)
        torso.location = rng.uniform(-0.1, 0.1, 3) * length
        armature.update_tag()
        bpy.context.view_layer.update()
        for side in "LR":
            wrist, hold = (
                (world @ np.array(armature.pose.bones[name].matrix))[:3, 3]
                for name in (f"skin.hand.{side}", f"hold.hand.{side}")
            )
            worst = max(worst, float(np.linalg.norm(wrist - hold)) / (length * size))
    print(f"worst slide {worst:.2e} L")
    return worst


@pytest.mark.parametrize("scale", [1.0, 0.01, 0.37, 2.5, 100.0])
def test_a_held_hand_stays_on_an_armature_of_any_uniform_scale(empty_file: Any, scale: float) -> None:
    import bpy

    from armwright.addon import host
    from armwright.addon.build import build, sized_for

    armature = body()
    with host.mode(armature, "EDIT"):
        for bone in armature.data.edit_bones:
            bone.head, bone.tail = bone.head / scale, bone.tail / scale
    armature.scale = (scale, scale, scale)
    bpy.context.view_layer.update()
    guide = sized_for(armature, guide_of())
    build(armature, plan_of(guide, armature))
    shoulder = armature.matrix_world @ armature.data.bones["skin.upper_arm.L"].head_local
    # Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1: shoulder height 0.818 of the stature.
    assert shoulder.z == pytest.approx(0.818 * 1.7, abs=1e-5)
    assert held_hand_slide(armature) < SLIDE_LIMIT


@pytest.mark.parametrize("turn", [(0.0, 0.0, 2.1), (1.5707963, 0.0, 0.0), (0.4, -0.9, 3.0)])
def test_a_held_hand_stays_on_a_turned_and_moved_armature(empty_file: Any, turn: Any) -> None:
    import bpy

    from armwright.addon.build import build

    armature = body()
    armature.rotation_euler, armature.location = turn, (0.4, -0.2, 0.1)
    bpy.context.view_layer.update()
    build(armature, plan_of(armature=armature))
    assert held_hand_slide(armature) < SLIDE_LIMIT


def test_an_armature_scaled_after_the_build_still_holds(empty_file: Any) -> None:
    import bpy

    from armwright.addon.build import build

    armature = body()
    build(armature, plan_of(armature=armature))
    armature.scale = (1.8, 1.8, 1.8)
    bpy.context.view_layer.update()
    assert held_hand_slide(armature) < SLIDE_LIMIT
