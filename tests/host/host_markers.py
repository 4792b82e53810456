"""Markers of every joint, fingers and pivots too; read from a mesh in one click; mirrored as they are moved."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from armwright.core.guide import ArmGuide, FingerGuide, Guide, PivotGuide, mirrored
from armwright.core.hand_proportions import with_fingers
from armwright.core.stature import guide_from_stature

sys.path.insert(0, str(Path(__file__).parent.parent / "core"))


ASIDE = np.array([3.0, 1.0, 0.0])


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture(scope="module")
def wren_body() -> Any:
    from fit_bodies import Shape
    from fit_hands import Hand, fingered

    return fingered(Shape(flexion=20.0), Hand(), fine=0.0016)


def body_of(vertices: Any, faces: Any, name: str = "Wren") -> Any:
    """A selected object with the mesh."""
    import bpy

    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([tuple(map(float, point)) for point in vertices], [], [tuple(map(int, face)) for face in faces])
    item = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(item)
    bpy.context.view_layer.objects.active = item
    item.select_set(True)
    return item


def full_guide() -> Guide:
    """Two pairs of arms, fingers, and pivots; the hands of the second pair have none."""
    body = guide_from_stature(1.7, "Wren")
    left = with_fingers(body.arms[0])
    wrist = np.array(left.wrist)
    left = replace(left, pivots=PivotGuide(*(tuple(wrist + np.array([0.01 * k, -0.02 * k, 0.005])) for k in range(6))))
    lower = replace(body.arms[0], pair="lower", elbow=tuple(np.array(left.elbow) - [0, 0, 0.1]), bend=(0.0, 0.6, -0.8))
    return replace(body, arms=(left, mirrored(left), lower, mirrored(lower)))


def directions_made_units(arm: ArmGuide) -> ArmGuide:
    def unit(vector: Any) -> Any:
        return None if vector is None else tuple(np.array(vector) / np.linalg.norm(vector))

    fingers = tuple(FingerGuide(finger.name, finger.joints, unit(finger.curl), finger.thumb) for finger in arm.fingers)
    return replace(arm, palm=unit(arm.palm), bend=unit(arm.bend), fingers=fingers)


def numbers_of(value: Any) -> list[float]:
    import json

    from armwright.core import guide_json

    def walk(item: Any) -> Iterator[float]:
        if isinstance(item, dict):
            for key in sorted(item):
                yield from walk(item[key])
        elif isinstance(item, list):
            for entry in item:
                yield from walk(entry)
        elif isinstance(item, float | int) and not isinstance(item, bool):
            yield float(item)

    return list(walk(json.loads(guide_json.to_text(value))))


def words_of(guide: Guide) -> list[Any]:
    return [(arm.id, [(f.name, len(f.joints), f.thumb, f.curl is None) for f in arm.fingers], arm.pivots is None)
            for arm in guide.arms]  # fmt: skip


def test_markers_make_the_guide_that_made_them(empty_file: Any) -> None:
    import bpy

    from armwright.addon import marker_objects

    guide = full_guide()
    marker_objects.place(guide, torso=True)
    bpy.context.view_layer.update()
    found = marker_objects.read("Wren", None, guide_from_stature(1.0, "another"))
    order = [arm.id for arm in found.arms]
    wanted = replace(guide, arms=tuple(next(arm for arm in guide.arms if arm.id == name) for name in order))
    assert words_of(found) == words_of(wanted)
    bend = {arm.id: arm.bend for arm in found.arms}
    wanted = replace(wanted, arms=tuple(replace(arm, bend=arm.bend or bend[arm.id]) for arm in wanted.arms))
    for one, other in zip(map(directions_made_units, found.arms), map(directions_made_units, wanted.arms), strict=True):
        gaps = np.array(numbers_of(replace(found, arms=(one,)))) - numbers_of(replace(wanted, arms=(other,)))
        assert np.abs(gaps).max() < 2e-6


def test_markers_of_a_guide_that_markers_made_stand_where_those_stood(empty_file: Any) -> None:
    import bpy

    from armwright.addon import marker_objects

    marker_objects.place(full_guide(), torso=True)
    bpy.context.view_layer.update()
    before = {name: tuple(marker.location) for name, marker in marker_objects.find_markers().items()}
    guide = marker_objects.read("Wren", None, full_guide())
    assert marker_objects.take_away() == len(before)
    assert marker_objects.find_markers() == {}
    assert marker_objects.COLLECTION not in bpy.data.collections
    marker_objects.place(guide, torso=True)
    after = {name: tuple(marker.location) for name, marker in marker_objects.find_markers().items()}
    assert before.keys() == after.keys()
    for name, place in before.items():
        assert math.dist(place, after[name]) < 2e-6, name


def test_one_click_places_a_marker_on_every_joint_of_the_mesh(registered: None, wren_body: Any) -> None:
    import bpy

    body_of(wren_body.vertices, wren_body.faces)
    assert bpy.ops.armwright.read_joints() == {"FINISHED"}
    for side, truth in wren_body.arms.items():
        for joint in ("shoulder", "elbow", "wrist", "hand_end"):
            marker = bpy.data.objects[f"{joint}.{side}"]
            assert math.dist(marker.location, getattr(truth, joint)) < 0.08 * truth.length
        for finger, joints in truth.fingers.items():
            for number, place in enumerate(joints):
                marker = bpy.data.objects[f"{finger}.{number + 1}.{side}"]
                assert math.dist(marker.location, place) < 0.08 * truth.length, marker.name
        assert f"pivot.heel.{side}" in bpy.data.objects
    assert bpy.context.scene.armwright_build.source == "markers"


def test_guessed_joints_look_different_until_they_are_moved(registered: None, wren_body: Any) -> None:
    import bpy

    from armwright.addon import marker_colours, marker_objects

    body_of(wren_body.vertices, wren_body.faces)
    bpy.ops.armwright.read_joints()
    guessed = marker_objects.guessed(marker_objects.find_markers())
    assert guessed["clavicle"] == ("L", "R") and "wrist" not in guessed
    clavicle, wrist = bpy.data.objects["clavicle.L"], bpy.data.objects["wrist.L"]
    assert clavicle.empty_display_type != wrist.empty_display_type
    assert marker_colours.colour_of(clavicle) == marker_colours.GUESS
    assert marker_colours.colour_of(wrist) in (marker_colours.SURE, marker_colours.UNSURE)
    assert marker_colours.GUESS in marker_colours.points()[1]
    clavicle.location.z += 0.01
    bpy.context.view_layer.update()
    assert "clavicle" not in marker_objects.guessed(marker_objects.find_markers())
    assert clavicle.empty_display_type == wrist.empty_display_type
    assert marker_colours.colour_of(clavicle) != marker_colours.GUESS


def test_a_marker_that_is_moved_moves_the_other_sides_at_once(registered: None) -> None:
    import bpy

    bpy.ops.armwright.place_markers()
    for name, other in (("elbow.L", "elbow.R"), ("wrist.R", "wrist.L")):
        bpy.data.objects[name].location += bpy.data.objects[name].location * 0.1
        bpy.context.view_layer.update()
        x, y, z = bpy.data.objects[name].location
        assert math.dist(bpy.data.objects[other].location, (-x, y, z)) < 1e-6


def test_markers_are_not_mirrored_where_that_is_off_or_both_were_moved(registered: None) -> None:
    import bpy

    bpy.ops.armwright.place_markers()
    left, right = bpy.data.objects["elbow.L"], bpy.data.objects["elbow.R"]
    left.location.z, right.location.z = 1.0, 1.1
    bpy.context.view_layer.update()
    assert (left.location.z, right.location.z) == pytest.approx((1.0, 1.1))
    bpy.context.scene.armwright_build.mirror_markers = False
    left.location.z = 1.2
    bpy.context.view_layer.update()
    assert (left.location.z, right.location.z) == pytest.approx((1.2, 1.1))


def test_markers_are_mirrored_across_the_character_wherever_it_stands(registered: None, wren_body: Any) -> None:
    import bpy

    body_of(wren_body.vertices + ASIDE, wren_body.faces)
    bpy.ops.armwright.read_joints()
    left = bpy.data.objects["elbow.L"]
    left.location.x += 0.05
    bpy.context.view_layer.update()
    right = bpy.data.objects["elbow.R"]
    assert left.location.x + right.location.x == pytest.approx(6.0, abs=0.02)
    assert tuple(right.location.yz) == pytest.approx(tuple(left.location.yz), abs=1e-6)


def test_nothing_is_placed_where_there_are_no_arms_or_markers_are_there(registered: None, wren_body: Any) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences

    corners = [(x, y, z) for x in (-0.3, 0.3) for y in (-0.1, 0.1) for z in (0.0, 1.7)]
    crate = body_of(corners, [(0, 1, 3, 2), (4, 5, 7, 6), (0, 2, 6, 4), (1, 3, 7, 5)], "Crate")
    before = deep_snapshot()
    with pytest.raises(RuntimeError, match="no arms"):
        bpy.ops.armwright.read_joints()
    assert differences(before, deep_snapshot()) == []
    crate.select_set(False)
    body_of(wren_body.vertices, wren_body.faces)
    bpy.ops.armwright.place_markers()
    bpy.data.objects["elbow.L"].location.x += 0.01
    bpy.context.view_layer.update()
    before = deep_snapshot()
    with pytest.raises(RuntimeError, match="there are joint markers already"):
        bpy.ops.armwright.read_joints()
    assert differences(before, deep_snapshot()) == []
    count = len(bpy.data.objects)
    assert bpy.ops.armwright.read_joints(again=True) == {"FINISHED"}
    assert len(bpy.data.objects) > count
    assert sum(name.startswith("elbow") for name in bpy.data.objects.keys()) == 2  # noqa: SIM118


def test_arms_are_built_on_a_torso_from_the_mesh(registered: None, wren_body: Any) -> None:
    import bpy

    body_of(wren_body.vertices + ASIDE, wren_body.faces)
    bpy.ops.armwright.read_joints()
    bpy.context.view_layer.update()
    assert bpy.ops.armwright.build_arms() == {"FINISHED"}
    armature = bpy.context.view_layer.objects.active
    for bone in armature.data.bones:
        if bone.name.startswith("skin."):
            assert abs((armature.matrix_world @ bone.head_local).x - 3.0) < 1.0
    torso = [bone for bone in armature.data.bones if not bone.name.endswith((".L", ".R"))]
    assert torso and all(abs((armature.matrix_world @ bone.head_local).x - 3.0) < 0.02 for bone in torso)


def test_one_undo_takes_back_a_reading(registered: None, wren_body: Any) -> None:
    import bpy

    body_of(wren_body.vertices, wren_body.faces)
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.armwright.read_joints("EXEC_DEFAULT", True)
    assert "elbow.L" in bpy.data.objects
    bpy.ops.ed.undo()
    assert "elbow.L" not in bpy.data.objects and "Joint markers" not in bpy.data.collections
    assert "Wren" in bpy.data.objects
