"""Bad input gets a sentence that says what to do, and the file stays as it was."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from refusals import body, guide_of, plan_of, refused


def with_left(**changed: Any) -> Any:
    """A guide whose left arm is changed."""
    guide = guide_of()
    return replace(guide, arms=(replace(guide.arms[0], **changed), guide.arms[1]))


NOT_AN_ARM = {
    "coincident joints": (lambda arm: {"elbow": arm.shoulder}, "at the same place.*move them apart"),
    "clavicle without length": (lambda arm: {"clavicle": arm.shoulder}, "clavicle.*same place"),
    "hand without length": (lambda arm: {"hand_end": arm.wrist}, "hand.*same place"),
    "not a number": (lambda arm: {"elbow": (float("nan"), 0.0, 1.0)}, r"arms\[0\].*elbow.*finite"),
    "endless": (lambda arm: {"wrist": (float("inf"), 0.0, 1.0)}, r"arms\[0\].*wrist.*finite"),
    "far away": (lambda arm: {"wrist": (3e8, 0.0, 1.0)}, "wrist.*check the units"),
    "straight": (
        lambda arm: {"elbow": tuple((a + b) / 2.0 for a, b in zip(arm.shoulder, arm.wrist, strict=True))},
        "straight.*say where the elbow points",
    ),
    "palm along the hand": (
        lambda arm: {"palm": tuple(b - a for a, b in zip(arm.wrist, arm.hand_end, strict=True))},
        "palm.*parallel",
    ),
    "clavicle upright": (lambda arm: {"clavicle": (arm.shoulder[0], arm.shoulder[1], 1.2)}, "clavicle.*up or down"),
    "no side": (lambda arm: {"side": "left"}, "side 'left'.*L, R"),
    "one side twice": (lambda arm: {"side": "R"}, "right arm is described 2 times"),
}


@pytest.mark.parametrize("case", NOT_AN_ARM.values(), ids=NOT_AN_ARM.keys())
def test_joints_that_make_no_arm_are_refused(empty_file: Any, case: Any) -> None:
    from armwright.addon.build import build_new
    from armwright.core.guide_check import check_guide

    change, words = case
    guide = with_left(**change(guide_of().arms[0]))

    def work() -> None:
        check_guide(guide)
        build_new(plan_of(guide), "Wren")

    refused(work, words)


@pytest.mark.parametrize("joint", ["elbow", "wrist", "clavicle", "hand_end"])
def test_a_plan_that_skipped_the_check_of_its_guide_still_builds_nothing_broken(empty_file: Any, joint: str) -> None:
    from armwright.addon.build import build_new

    refused(lambda: build_new(plan_of(with_left(**{joint: (float("nan"), 0.0, 1.0)})), "Wren"), ".")


def test_markers_at_one_place_are_refused_by_the_operator(empty_file: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    import armwright

    armwright.register()
    try:
        bpy.ops.armwright.place_markers()
        bpy.context.scene.armwright_build.mirror_markers = False
        bpy.data.objects["elbow.R"].location = bpy.data.objects["wrist.R"].location
        bpy.context.view_layer.update()
        before = deep_snapshot()
        with pytest.raises(RuntimeError, match=r"right arm.*at the same place.*move them apart"):
            bpy.ops.armwright.build_arms()
        assert differences(before, deep_snapshot()) == []
    finally:
        armwright.unregister()


def test_a_missing_marker_is_named(empty_file: Any) -> None:
    import bpy

    from armwright.addon import marker_objects

    marker_objects.place(guide_of())
    bpy.data.objects.remove(bpy.data.objects["palm.L"])
    bpy.context.view_layer.update()
    refused(lambda: marker_objects.read("Wren", None, guide_of()), r"palm\.L is missing")


def test_markers_of_one_arm_build_one_arm_and_say_so(empty_file: Any) -> None:
    import bpy

    from armwright.addon import marker_objects
    from armwright.addon.build import build_new
    from armwright.addon.rig import read_record
    from armwright.core.guide_check import check_guide

    guide = guide_of()
    marker_objects.place(replace(guide, arms=guide.arms[:1]))
    bpy.context.view_layer.update()
    read = marker_objects.read("Wren", None, guide)
    assert any("only the left arm" in warning for warning in check_guide(read))
    assert read_record(build_new(plan_of(read), "Wren")).arms == ("L",)


def test_markers_are_not_placed_twice(empty_file: Any) -> None:
    from armwright.addon import marker_objects

    marker_objects.place(guide_of())
    refused(lambda: marker_objects.place(guide_of()), "there are joint markers already")


# Armatures that can not take arms.


def attempt_on(armature: Any, words: str) -> str:
    """A plan made for the armature while it was fit is refused by it now."""
    from armwright.addon.build import build

    plan = plan_of(armature=armature)
    return refused(lambda: build(armature, plan), words)


@pytest.mark.parametrize(
    ("scale", "words"),
    [
        ((1.0, 1.0, 2.0), "scaled unevenly.*apply its scale"),
        ((1.0, 1.0, 1.001), "scaled unevenly.*apply its scale"),
        ((-1.0, 1.0, 1.0), "mirrored by a negative scale.*apply its scale"),
        ((-1.0, -1.0, -1.0), "mirrored by a negative scale.*apply its scale"),
        ((0.0, 0.0, 0.0), "flat.*apply its scale"),
    ],
)
def test_an_armature_whose_scale_would_bend_arms_is_refused(empty_file: Any, scale: Any, words: str) -> None:
    import bpy

    armature = body()
    armature.scale = scale
    bpy.context.view_layer.update()
    attempt_on(armature, words)


def test_an_armature_sheared_by_its_parent_is_refused(empty_file: Any) -> None:
    import bpy

    armature = body()
    parent = bpy.data.objects.new("Deck", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.scale = (1.0, 3.0, 1.0)
    armature.parent = parent
    armature.rotation_euler = (0.0, 0.0, 0.7)
    bpy.context.view_layer.update()
    attempt_on(armature, "unevenly or skewed")


def test_shared_armature_data_is_refused(empty_file: Any) -> None:
    import bpy

    armature = body()
    other = bpy.data.objects.new("Twin", armature.data)
    bpy.context.scene.collection.objects.link(other)
    attempt_on(armature, "shares its bones.*single-user")


def test_an_armature_in_an_excluded_collection_is_refused(empty_file: Any) -> None:
    import bpy

    armature = body()
    away = bpy.data.collections.new("Away")
    bpy.context.scene.collection.children.link(away)
    away.objects.link(armature)
    bpy.context.scene.collection.objects.unlink(armature)
    bpy.context.view_layer.layer_collection.children["Away"].exclude = True
    attempt_on(armature, "not in the current view layer.*enable the collection")


def test_an_armature_disabled_in_viewports_is_refused(empty_file: Any) -> None:
    armature = body()
    armature.hide_viewport = True
    attempt_on(armature, "disabled in viewports.*enable it")


@pytest.mark.parametrize("way", ["append object", "override"])
def test_a_linked_armature_is_refused(empty_file: Any, way: str, tmp_path: Any) -> None:
    import bpy

    body()
    path = str(tmp_path / "library.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(path, link=True) as (_, wanted):
        wanted.objects = ["Body"]
    armature = bpy.data.objects["Body"]
    bpy.context.scene.collection.objects.link(armature)
    if way == "override":
        armature = armature.override_create(remap_local_usages=True)
    bpy.context.view_layer.update()
    sentence = attempt_on(armature, "linked from.*in that file")
    assert "library.blend" in sentence


def test_a_mesh_is_refused(empty_file: Any) -> None:
    import bpy

    from armwright.addon.build import build

    mesh = bpy.data.objects.new("Coat", bpy.data.meshes.new("Coat"))
    bpy.context.scene.collection.objects.link(mesh)
    refused(lambda: build(mesh, plan_of()), "'Coat' is a mesh.*select the character's armature")


def test_an_armature_with_arms_is_refused_also_for_the_other_side(empty_file: Any) -> None:
    from armwright.addon.build import build
    from armwright.addon.rig import read_record

    armature = body()
    guide = guide_of()
    build(armature, plan_of(replace(guide, arms=guide.arms[:1]), armature))
    plan = plan_of(replace(guide, arms=guide.arms[1:]), armature)
    refused(lambda: build(armature, plan), "has arms already.*remove them first")
    assert read_record(armature).arms == ("L",)


def test_bones_with_the_names_of_arms_are_named(empty_file: Any) -> None:
    armature = body()
    armature.data.bones["belly"].name = "hold.hand.L"
    sentence = attempt_on(armature, "already has a bone named 'hold.hand.L'.*rename")
    assert "more of" not in sentence


@pytest.mark.parametrize(
    ("torso", "root", "words"),
    [
        ("neck", "", "no bone named 'neck'.*choose one of: belly, chest, hips"),
        ("", "", "choose the bone.*torso"),
        ("chest", "ground", "no bone named 'ground'"),
        ("hips", "chest", "'chest' moves with the torso bone 'hips'.*outside the torso"),
        ("chest", "chest", "moves with the torso bone"),
    ],
)
def test_a_torso_or_root_that_can_not_be_is_refused(empty_file: Any, torso: str, root: str, words: str) -> None:
    armature = body()
    refused(lambda: plan_of(None, armature, torso, root), words)


def test_a_torso_bone_that_has_gone_is_named(empty_file: Any) -> None:
    from armwright.addon.build import build

    armature = body()
    plan = plan_of(armature=armature)
    armature.data.bones["chest"].name = "thorax"
    refused(lambda: build(armature, plan), "no bone named 'chest'")


def test_a_torso_bone_that_has_moved_is_named(empty_file: Any) -> None:
    from armwright.addon import host
    from armwright.addon.build import build

    armature = body()
    plan = plan_of(armature=armature)
    with host.mode(armature, "EDIT"):
        armature.data.edit_bones["chest"].tail.x += 0.1
    refused(lambda: build(armature, plan), "'chest' is not where the plan expects it.*plan the arms again")


def test_a_bone_that_is_being_edited_can_carry_the_arms(empty_file: Any) -> None:
    import bpy

    from armwright.addon.build import build

    armature = body()
    bpy.context.view_layer.objects.active = armature
    bpy.ops.object.mode_set(mode="EDIT")
    bone = armature.data.edit_bones.new("thorax")
    bone.head, bone.tail, bone.parent = (0.0, 0.0, 1.3), (0.0, 0.0, 1.5), armature.data.edit_bones["belly"]
    build(armature, plan_of(None, armature, "thorax"))
    assert armature.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")
    assert armature.data.bones["fk.clavicle.L"].parent.name == "thorax"


def test_a_plan_for_an_armature_does_not_make_a_new_one(empty_file: Any) -> None:
    from armwright.addon.build import build_new

    plan = plan_of(armature=body())
    refused(lambda: build_new(plan, "Wren"), "needs the bone 'chest'.*choose that armature")


def test_removing_arms_that_are_not_there_is_refused(empty_file: Any) -> None:
    from armwright.addon.remove import remove_arms

    armature = body()
    refused(lambda: remove_arms(armature), "no arms built by Armwright")


def test_removing_arms_from_shared_bones_is_refused(wren: Any) -> None:
    import bpy

    from armwright.addon.remove import remove_arms

    bpy.context.scene.collection.objects.link(bpy.data.objects.new("Twin", wren.data))
    refused(lambda: remove_arms(wren), "shares its bones")


def test_a_damaged_record_is_told(wren: Any) -> None:
    from armwright.addon.remove import remove_arms

    wren["armwright"] = str(wren["armwright"])[:200]
    refused(lambda: remove_arms(wren), "'Wren'.*rig record")


def test_arms_that_have_lost_a_dial_are_told(wren: Any) -> None:
    from armwright.addon import subjects

    del wren.pose.bones["fk.clavicle.L"]["upper_roll"]
    refused(
        lambda: subjects.subject_of(wren), "'fk.clavicle.L' of 'Wren' has no dial 'upper_roll': build the arms again"
    )
