"""Many characters with both arms in one file: each is on its own, and every one of them holds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import subject_of
from shots import arm_length

SEED, COUNT = 8111, 40
SLIDE = 2e-6


@pytest.fixture(scope="module")
def crowd() -> list[str]:
    """The names of forty keepers of different sizes, side by side, built one after the other."""
    import bpy

    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    bpy.ops.wm.read_factory_settings(use_empty=True)
    sizes = np.linspace(1.5, 1.9, 5)
    plans = [plan_arms(guide_from_stature(float(size), "Keeper"), ArmOptions()) for size in sizes]
    made = [build_new(plans[number % 5], "Keeper", (0.05 * number, 0.0, 0.0)) for number in range(COUNT)]
    for item in made:
        for arm in "LR":
            item.pose.bones[f"fk.forearm.{arm}"].rotation_euler = (1.9, 0.2, 0.0)
            item.pose.bones[f"fk.upper_arm.{arm}"].rotation_euler = (0.3, 0.2, 0.1)
        for name in ("torso.1", "torso.2"):
            item.pose.bones[name].rotation_mode = "XYZ"
    bpy.context.view_layer.update()
    return [item.name for item in made]


def of(name: str) -> Any:
    import bpy

    return bpy.data.objects[name]


def poses(names: list[str]) -> np.ndarray:
    """Every bone of every character, (N, B, 4, 4); all have as many."""
    import bpy

    bpy.context.view_layer.update()
    return np.array([[np.array(bone.matrix) for bone in of(name).pose.bones] for name in names])


def test_names_and_bones_are_each_ones_own_and_shapes_are_shared(crowd: list[str]) -> None:
    import bpy

    assert len(set(crowd)) == COUNT
    assert len({of(name).data.name for name in crowd}) == COUNT
    # What draws the controls is there once, however many there are.
    shapes = [item.name for item in bpy.data.objects if item.name.startswith("armwright.shape")]
    assert shapes and not any(name[-4:-3] == "." and name[-3:].isdigit() for name in shapes)
    rigs = {of(name) for name in crowd}
    assert {item for item in bpy.data.objects if "armwright" in item} == rigs


def test_drivers_and_constraints_point_to_their_own_character(crowd: list[str]) -> None:
    for name in crowd:
        item = of(name)
        targets = [
            target.id
            for curve in item.animation_data.drivers
            for variable in curve.driver.variables
            for target in variable.targets
        ]
        targets += [
            holder.target
            for bone in item.pose.bones
            for entry in bone.constraints
            for holder in getattr(entry, "targets", (entry,))
        ]
        assert len(targets) > 200
        assert set(targets) == {item}
        assert all(
            curve.driver.is_simple_expression for curve in item.animation_data.drivers if curve.driver.expression
        )


def test_moving_one_changes_no_other(crowd: list[str]) -> None:
    rng = np.random.default_rng(SEED)
    before = poses(crowd)
    for place in rng.choice(COUNT, 8, replace=False):
        item = of(crowd[place])
        for name in ("torso.2", "fk.upper_arm.L", "fk.hand.R"):
            item.pose.bones[name].rotation_euler = rng.uniform(-0.3, 0.3, 3).tolist()
        item.pose.bones["fk.clavicle.L"]["lift"] = 1.0
        item.update_tag()
        now = poses(crowd)
        others = np.arange(COUNT) != place
        assert np.array_equal(now[others], before[others])
        assert np.abs(now[place] - before[place]).max() > 0.01
        before = now


def test_every_one_holds_while_all_of_them_move(crowd: list[str]) -> None:
    import bpy

    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    rng = np.random.default_rng(SEED + 1)
    pops, held = [], {}
    for name in crowd:
        for torso in ("torso.1", "torso.2"):
            of(name).pose.bones[torso].rotation_euler = (0.0, 0.0, 0.0)
        of(name).update_tag()
    bpy.context.view_layer.update()
    for name in crowd:
        subject = subject_of(of(name))
        pops += [switch(subject, arm, Target(ik=1.0, elbow=1.0), keyed=False).pop for arm in "LR"]
    bpy.context.view_layer.update()
    for name in crowd:
        bones = of(name).pose.bones
        for arm in "LR":
            for part, bone in (("hand", "skin.hand"), ("elbow", "skin.forearm")):
                hold = bones[f"hold.{part}.{arm}"]
                place = np.array(hold.bone.matrix_local, float) @ np.array(hold.matrix_basis, float)
                held[name, f"{bone}.{arm}"] = place[:3, 3]
    worst = 0.0
    for _ in range(6):
        for name in crowd:
            for torso in ("torso.1", "torso.2"):
                of(name).pose.bones[torso].rotation_euler = rng.uniform(-0.06, 0.06, 3).tolist()
            of(name).update_tag()
        bpy.context.view_layer.update()
        for (name, bone), place in held.items():
            off = float(np.linalg.norm(np.array(of(name).pose.bones[bone].head, float) - place))
            worst = max(worst, off / arm_length(of(name)))
    print(f"seed {SEED}: {COUNT} characters, worst slide {worst:.1e} L, worst pop {max(pops):.1e} L")
    assert max(pops) <= 1e-5
    assert worst <= SLIDE


def test_building_one_again_and_removing_it_leaves_the_others_as_they_are(crowd: list[str]) -> None:
    from armwright.addon.rebuild import rebuild
    from armwright.addon.rebuild_plan import plan_again
    from armwright.addon.remove import remove_arms
    from armwright.core.stature import guide_from_stature

    name, rest = crowd[7], [item for item in crowd if item != crowd[7]]
    before = poses(rest)
    shapes = {bone.custom_shape.name for item in rest for bone in of(item).pose.bones if bone.custom_shape}
    assert rebuild(of(name), plan_again(of(name), guide_from_stature(1.75, "Keeper"))).changed
    remove_arms(of(name))
    assert "fk.hand.L" not in of(name).data.bones
    assert np.array_equal(poses(rest), before)
    assert {bone.custom_shape.name for item in rest for bone in of(item).pose.bones if bone.custom_shape} == shapes
