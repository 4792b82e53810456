"""Binding meshes to the arms: automatic weights or weights that are there, whole or not at all."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tubes import evaluated, groups, joints_of, nested, skin_state, tube

SEED = 41


def _wren(count: int = 3) -> Any:
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    return build_new(plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(twist_bones=count)), "Wren")


def _limb(armature: Any, side: str = "L", name: str = "Sleeve") -> Any:
    return tube(name, joints_of(armature, side), 0.035)


def _keys(item: Any) -> None:
    item.shape_key_add(name="Basis")
    key = item.shape_key_add(name="Thick")
    for point in key.data:
        point.co = point.co * 1.02


def _weight_sum(item: Any, armature: Any) -> np.ndarray:
    names = {bone.name for bone in armature.data.bones if bone.use_deform}
    return np.sum([values for name, values in groups(item).items() if name in names], axis=0)


def test_automatic_weights_leave_no_vertex_of_the_arm_out_and_touch_nothing_else(empty_file: Any) -> None:
    import bpy

    from armwright.addon import bind

    armature = _wren()
    item, other = _limb(armature), _limb(armature, "R", "Other")
    _keys(item)
    item.vertex_groups.new(name="pins").add([0, 3], 0.25, "REPLACE")
    place = np.array(item.matrix_world)
    blocks = sorted(bpy.data.objects.keys()), sorted(bpy.data.meshes.keys())
    said = bind.bind_automatically(armature, [item, other])
    assert (sorted(bpy.data.objects.keys()), sorted(bpy.data.meshes.keys())) == blocks
    assert "Sleeve, Other bound to Wren" in said
    for bound in (item, other):
        assert np.abs(_weight_sum(bound, armature) - 1.0).max() < 1e-5
        assert [(entry.type, entry.object) for entry in bound.modifiers] == [("ARMATURE", armature)]
        assert bound.parent is armature
    assert groups(item)["pins"][[0, 3]].tolist() == [0.25, 0.25]
    assert np.abs(np.array(item.matrix_world) - place).max() < 1e-7
    assert [key.name for key in item.data.shape_keys.key_blocks] == ["Basis", "Thick"]
    # Every skin bone of its own arm moves something, and the other arm's nothing.
    weights = groups(item)
    for part in ("upper_arm", "forearm"):
        for bone in (f"skin.{part}.L", f"skin.{part}.1.L", f"skin.{part}.2.L"):
            assert weights[bone].max() > 0.5, bone
            assert weights[bone.replace(".L", ".R")].max() < 0.01


def test_a_bound_mesh_follows_the_arm_and_the_roll(empty_file: Any) -> None:
    from armwright.addon import bind

    armature = _wren()
    item = _limb(armature)
    before = evaluated(item)
    bind.bind_automatically(armature, [item])
    assert np.abs(evaluated(item) - before).max() < 1e-5
    armature.pose.bones["fk.forearm.L"].rotation_euler[0] = 1.0
    assert np.abs(evaluated(item) - before).max() > 0.1


def test_what_a_group_held_before_stays_beside_it(empty_file: Any) -> None:
    from armwright.addon import bind

    armature = _wren()
    item = _limb(armature)
    item.vertex_groups.new(name="skin.forearm.L").add([1, 2, 5], 0.75, "REPLACE")
    bind.bind_automatically(armature, [item])
    kept = groups(item)["skin.forearm.L.kept"]
    assert np.flatnonzero(kept).tolist() == [1, 2, 5]
    assert set(kept[[1, 2, 5]]) == {0.75}


def test_a_mesh_that_the_heat_can_not_reach_is_refused_and_stays_as_it_was(empty_file: Any) -> None:
    import bpy

    from armwright.addon import bind
    from armwright.core.errors import BindError

    armature = _wren()
    good, bad = _limb(armature), nested("Torn", joints_of(armature, "R"))
    good.vertex_groups.new(name="skin.hand.L").add([4], 0.5, "REPLACE")
    _keys(good)
    before = skin_state(good), skin_state(bad), sorted(bpy.data.objects.keys()), sorted(bpy.data.meshes.keys())
    with pytest.raises(BindError, match=rf"no weights for \d+ of the {len(bad.data.vertices)} vertices of 'Torn'"):
        bind.bind_automatically(armature, [good, bad])
    after = skin_state(good), skin_state(bad), sorted(bpy.data.objects.keys()), sorted(bpy.data.meshes.keys())
    assert before == after


@pytest.mark.parametrize("how", ["auto", "names"])
def test_a_failure_half_way_through_puts_every_mesh_back(
    empty_file: Any, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    from armwright.addon import bind

    armature = _wren()
    items = [_limb(armature), _limb(armature, "R", "Other")]
    for item in items:
        item.vertex_groups.new(name="old").add([4, 7], 0.5, "REPLACE")
        item.vertex_groups.new(name="skin.hand.L").add([4], 0.25, "REPLACE")
        item.vertex_groups[1].lock_weight = True
    before = [skin_state(item) for item in items]
    whole = bind._attach

    def broken(item: Any, *rest: Any, **named: Any) -> None:
        whole(item, *rest, **named)
        if item is items[1]:
            raise KeyboardInterrupt

    monkeypatch.setattr(bind, "_attach", broken)
    with pytest.raises(KeyboardInterrupt):
        if how == "auto":
            bind.bind_automatically(armature, items)
        else:
            bind.bind_by_names(armature, items, {"old": "forearm.L"})
    assert [skin_state(item) for item in items] == before


@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_weights_by_names_keep_their_sums_and_leave_other_groups_alone(empty_file: Any, count: int) -> None:
    from armwright.addon import bind

    armature = _wren(count)
    item = _limb(armature)
    _keys(item)
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    for name in ("arm_up", "arm_low", "fist", "thumb"):
        group = item.vertex_groups.new(name=name)
        for index in range(len(item.data.vertices)):
            group.add([index], float(rng.uniform()), "REPLACE")
    before = groups(item)
    mapping = {"arm_up": "upper_arm.L", "arm_low": "forearm.L", "fist": "hand.L"}
    bind.bind_by_names(armature, [item], mapping)
    after = groups(item)
    mapped = sum(before[name] for name in mapping)
    assert np.abs(_weight_sum(item, armature) - mapped).max() < 1e-6
    assert np.array_equal(after["thumb"], before["thumb"])
    for name in mapping:
        assert np.array_equal(after[f"{name}.kept"], before[name])
        assert not after[name].any()
    names = ["skin.forearm.L", *(f"skin.forearm.{index}.L" for index in range(1, count))]
    assert np.abs(sum(after[name] for name in names) - before["arm_low"]).max() < 1e-6
    # A ring lies at the middle of the forearm's first bone where there are 3 or 6: all of it is this bone's.
    if count in (3, 6):
        ring = 12 + 12 // count // 2
        own = slice(ring * 12, ring * 12 + 12)
        assert np.abs(after["skin.forearm.L"][own] - before["arm_low"][own]).max() < 1e-6


def test_the_mapping_is_guessed_from_old_bones_of_the_same_and_of_another_armature(empty_file: Any) -> None:
    import bpy
    from characters import torso_armature

    from armwright.addon import bind, host
    from armwright.addon.build import attachment_to, build
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    armature = torso_armature()
    build(armature, plan_arms(guide_from_stature(1.7, "Wren"), ArmOptions(), attachment_to(armature, "chest")))
    shoulder, elbow, wrist, end = joints_of(armature, "L")
    data = bpy.data.armatures.new("Old")
    old = bpy.data.objects.new("Old", data)
    bpy.context.scene.collection.objects.link(old)
    old.location = (0.0, 0.2, 0.0)
    bpy.context.view_layer.update()
    middle = 0.5 * (shoulder + elbow)
    with host.mode(old, "EDIT"):
        for name, head, tail in (
            ("humerus", shoulder, middle),
            ("humerus_twist", middle, elbow),
            ("radius", elbow, wrist),
            ("mitten", wrist, end),
            ("chest", (0.0, 0.0, 1.2), (0.0, 0.0, 1.4)),
        ):
            bone = data.edit_bones.new(name)
            bone.head, bone.tail = np.array(head) - (0.0, 0.2, 0.0), np.array(tail) - (0.0, 0.2, 0.0)
    item = _limb(armature)
    everyone = range(len(item.data.vertices))
    for name in ("humerus", "humerus_twist", "radius", "mitten", "chest"):
        item.vertex_groups.new(name=name).add(everyone, 0.2, "REPLACE")
    modifier = item.modifiers.new("Old", "ARMATURE")
    modifier.object = old
    said = bind.bind_by_names(armature, [item])
    for pair in ("humerus to upper_arm.L", "humerus_twist to upper_arm.L", "radius to forearm.L", "mitten to hand.L"):
        assert pair in said
    assert "chest to" not in said
    assert [(entry.name, entry.object) for entry in item.modifiers] == [("Old", armature)]
    assert np.abs(_weight_sum(item, armature) - 1.0).max() < 1e-6
    assert groups(item)["chest"].min() == pytest.approx(0.2)


def test_binding_by_the_same_names_again_changes_no_weight(empty_file: Any) -> None:
    from armwright.addon import bind

    armature = _wren()
    item = _limb(armature)
    item.vertex_groups.new(name="old").add(range(len(item.data.vertices)), 1.0, "REPLACE")
    bind.bind_by_names(armature, [item], {"old": "forearm.L"})
    before = skin_state(item)
    bind.bind_by_names(armature, [item], {"old": "forearm.L"})
    assert skin_state(item) == before


def test_a_mesh_goes_over_from_one_number_of_skin_bones_to_another(empty_file: Any) -> None:
    from armwright.addon import bind, remove
    from armwright.addon.build import attachment_to, build
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    armature = _wren(1)
    item = _limb(armature)
    bind.bind_automatically(armature, [item])
    total = groups(item)["skin.forearm.L"]
    remove.remove_arms(armature)
    guide = guide_from_stature(1.7, "Wren")
    torso = max(bone.name for bone in armature.data.bones if bone.name.startswith("torso."))
    build(armature, plan_arms(guide, ArmOptions(twist_bones=4), attachment_to(armature, torso, "root")))
    bind.bind_by_names(armature, [item], {"skin.forearm.L": "forearm.L"})
    after = groups(item)
    names = ["skin.forearm.L", *(f"skin.forearm.{index}.L" for index in (1, 2, 3))]
    assert np.abs(sum(after[name] for name in names) - total).max() < 1e-6
    assert all(after[name].max() > 0.1 for name in names)


def test_the_armature_modifier_comes_before_what_makes_the_mesh_finer(empty_file: Any) -> None:
    from armwright.addon import bind

    armature = _wren()
    item = _limb(armature)
    for name, kind in (("mirror", "MIRROR"), ("fine", "SUBSURF")):
        item.modifiers.new(name, kind)
    bind.bind_automatically(armature, [item])
    assert [entry.type for entry in item.modifiers] == ["MIRROR", "ARMATURE", "SUBSURF"]


def test_a_turned_and_scaled_mesh_under_a_parent_stays_where_it_is(empty_file: Any) -> None:
    import bpy

    from armwright.addon import bind

    armature = _wren()
    armature.location, armature.rotation_euler, armature.scale = (1.0, -2.0, 0.5), (0.2, 0.4, 1.0), (2.0, 2.0, 2.0)
    item, loose = _limb(armature), _limb(armature, "R", "Loose")
    holder = bpy.data.objects.new("holder", None)
    bpy.context.scene.collection.objects.link(holder)
    bpy.context.view_layer.update()
    for entry in (item, loose):
        entry.matrix_world = armature.matrix_world.copy()
    item.parent, item.matrix_parent_inverse = holder, holder.matrix_world.inverted()
    before = [evaluated(entry) for entry in (item, loose)]
    bind.bind_automatically(armature, [item, loose])
    assert item.parent is holder
    assert loose.parent is armature
    for entry, points in zip((item, loose), before, strict=True):
        assert np.abs(evaluated(entry) - points).max() < 2e-5


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_selection_active_object_and_mode_are_as_before(empty_file: Any, mode: str) -> None:
    import bpy

    from armwright.addon import bind

    armature = _wren()
    item, other = _limb(armature), _limb(armature, "R", "Other")
    for entry in bpy.context.view_layer.objects:
        entry.select_set(entry is item)
    bpy.context.view_layer.objects.active = item
    bpy.ops.object.mode_set(mode=mode)
    bind.bind_automatically(armature, [item, other])
    assert bpy.context.view_layer.objects.active is item
    assert item.mode == mode
    assert [entry for entry in bpy.context.view_layer.objects if entry.select_get()] == [item]
    bpy.ops.object.mode_set(mode="OBJECT")
    assert np.abs(_weight_sum(item, armature) - 1.0).max() < 1e-5


def test_what_can_not_be_bound_is_refused_with_what_to_do(empty_file: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import bind

    armature = _wren()
    item = _limb(armature)
    item.vertex_groups.new(name="old").add([1], 1.0, "REPLACE")
    empty = bpy.data.objects.new("Hollow", bpy.data.meshes.new("Hollow"))
    lamp = bpy.data.objects.new("Lamp", bpy.data.lights.new("Lamp", "POINT"))
    hidden = bpy.data.objects.new("Away", item.data.copy())
    plain = bpy.data.objects.new("Plain", bpy.data.armatures.new("Plain"))
    for entry in (empty, lamp, plain):
        bpy.context.scene.collection.objects.link(entry)
    twin = bpy.data.objects.new("Twin", item.data)
    moved = _limb(armature, "R", "Moved")
    moved.modifiers.new("Plain", "ARMATURE").object = plain
    for how in (bind.bind_automatically, bind.bind_by_names):
        refused(lambda how=how: how(armature, []), "there is no mesh to bind")
        refused(lambda how=how: how(armature, [empty]), "'Hollow' has no vertices")
        refused(lambda how=how: how(armature, [lamp]), "'Lamp' is a light")
        refused(lambda how=how: how(armature, [hidden]), "'Away' is not in the current view layer")
        refused(lambda how=how: how(plain, [moved]), "has no arms")
        refused(lambda how=how: how(armature, [item]), "shares its mesh with 1 other users")
    bpy.data.objects.remove(twin)
    refused(lambda: bind.bind_automatically(armature, [moved]), "is moved by 'Plain' already")
    refused(lambda: bind.bind_by_names(armature, [item]), "say which group goes where")
    refused(lambda: bind.bind_by_names(armature, [item], {"old": "wing.L"}), "'wing.L', which is no part of an arm")
    refused(lambda: bind.bind_by_names(armature, [item], {"new": "hand.L"}), "no mesh has a vertex group named 'new'")


def test_a_group_that_would_move_nothing_any_more_is_refused(empty_file: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon import bind, host

    armature = _wren()
    item = _limb(armature)
    data = bpy.data.armatures.new("Old")
    old = bpy.data.objects.new("Old", data)
    bpy.context.scene.collection.objects.link(old)
    bpy.context.view_layer.update()
    with host.mode(old, "EDIT"):
        for name in ("tail", "radius"):
            bone = data.edit_bones.new(name)
            bone.head, bone.tail = joints_of(armature, "L")[1:3] if name == "radius" else ((0, 0, 0), (0, 1, 0))
    item.modifiers.new("Old", "ARMATURE").object = old
    for name in ("tail", "radius"):
        item.vertex_groups.new(name=name).add([1], 1.0, "REPLACE")
    refused(lambda: bind.bind_by_names(armature, [item]), "its group 'tail' belongs to no bone of 'Wren'")
    bind.bind_by_names(armature, [item], {"tail": "head", "radius": "forearm.L"})
    assert groups(item)["head"][1] == 1.0
