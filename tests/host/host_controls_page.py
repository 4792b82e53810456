"""The page of controls, read from the rig as it is: shapes as they are drawn, colours, dials, the body behind."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from deep_snapshot import differences
from handed import coat, deep_snapshot_now, subject


def sheet_of(armature: Any) -> Any:
    from armwright.addon.control_sheet import sheet_of as read

    return read(subject(armature))


def drawn(armature: Any, bone: str) -> np.ndarray:
    """Every point of a control's lines."""
    return np.concatenate(next(control.lines for control in sheet_of(armature).controls if control.bone == bone))


def test_every_control_with_a_shape_is_told_once_and_every_dial(wren: Any) -> None:
    from armwright.core.controls.page import page

    given = sheet_of(wren)
    shaped = sorted(bone.name for bone in wren.pose.bones if bone.custom_shape is not None)
    text = page(given)
    assert sorted(re.findall(r'data-bone="([^"]*)"', text)) == shaped
    dials = {key for name in shaped for key in wren.pose.bones[name].keys()}  # noqa: SIM118
    assert dials >= set(wren.pose.bones["fk.clavicle.L"].keys())
    assert sorted(re.findall(r'data-dial="([^"]*)"', text)) == sorted(dials)
    assert all(control.role for control in given.controls)


def test_every_control_has_words_and_every_dial_help_and_a_range(wren: Any) -> None:
    from armwright.core.controls.words import words_of

    given = sheet_of(wren)
    assert [control.bone for control in given.controls if words_of(control.role) is None] == []
    for dial in given.dials:
        assert dial.help and dial.low < dial.high and dial.low <= dial.default <= dial.high, dial
    assert {dial.key for dial in given.dials if dial.angle} == {
        "upper_roll", "hand_roll", "hand_side", "hand_spin", "finger_bend"
    }  # fmt: skip


def test_shapes_are_where_the_plan_draws_them(wren: Any) -> None:
    bones = wren.data.bones
    for control, at in (("fk.upper_arm.L", "aux.upper_arm.L"), ("fk.hand.R", "skin.hand.R")):
        head, tail = np.array(bones[at].head_local), np.array(bones[at].tail_local)
        middle = drawn(wren, control).mean(axis=0)
        assert np.linalg.norm(middle - (head + 0.45 * (tail - head))) < 0.1 * np.linalg.norm(tail - head)
    cube = drawn(wren, "hold.elbow.L")
    assert (
        np.linalg.norm((cube.min(axis=0) + cube.max(axis=0)) / 2.0 - np.array(bones["hold.elbow.L"].head_local)) < 1e-5
    )


def test_the_roots_mark_lies_on_the_floor_and_points_to_the_front(wren: Any) -> None:
    points = drawn(wren, "root")
    assert np.abs(points[:, 2]).max() < 1e-5
    assert -points[:, 1].min() > 1.2 * points[:, 1].max() > 0.0


def test_a_pose_does_not_move_the_picture(wren: Any) -> None:
    from armwright.core.controls.page import page

    before = page(sheet_of(wren))
    wren.pose.bones["fk.upper_arm.L"].rotation_euler = (1.0, 0.5, 0.2)
    wren.location = (3.0, 2.0, 1.0)
    assert page(sheet_of(wren)) == before


def test_a_shape_of_the_users_own_is_drawn_as_it_is(wren: Any) -> None:
    import bpy

    mesh = bpy.data.meshes.new("Hook")
    mesh.from_pydata([(0, 0, 0), (0, 1, 0), (0.5, 1, 0)], [(0, 1), (1, 2)], [])
    bone = wren.pose.bones["hold.hand.L"]
    bone.custom_shape = bpy.data.objects.new("Hook", mesh)
    bone.custom_shape_scale_xyz = (2.0, 2.0, 2.0)
    bone.custom_shape_translation = (0.1, 0.0, 0.0)
    bone.custom_shape_rotation_euler = (0.0, 0.0, np.pi / 2.0)
    bone.use_custom_shape_bone_size = True
    bone.color.palette = "THEME05"
    length = bone.bone.length
    local = np.array([(0.0, 0.0, 0.0), (-2.0, 0.0, 0.0), (-2.0, 1.0, 0.0)]) * length + (0.1, 0.0, 0.0)
    frame = np.array(bone.bone.matrix_local)
    control = next(entry for entry in sheet_of(wren).controls if entry.bone == "hold.hand.L")
    assert len(control.lines) == 1
    assert np.abs(control.lines[0] - (local @ frame[:3, :3].T + frame[:3, 3])).max() < 1e-5
    theme = bpy.context.preferences.themes[0].bone_color_sets[4]
    assert control.colour == pytest.approx(tuple(theme.normal), abs=1e-6)
    bone.color.palette = "DEFAULT"
    assert next(entry for entry in sheet_of(wren).controls if entry.bone == "hold.hand.L").colour is None


def test_a_shape_that_is_no_wire_is_drawn_as_the_bone(wren: Any) -> None:
    import bpy

    bone = wren.pose.bones["hold.hand.L"]
    bone.custom_shape = bpy.data.objects.new("Nothing", None)
    head, tail = np.array(bone.bone.head_local), np.array(bone.bone.tail_local)
    assert np.abs(drawn(wren, "hold.hand.L") - np.stack([head, tail])).max() < 1e-6


def test_hues_are_the_rigs(wren: Any) -> None:
    # The host keeps a colour in bytes.
    colours = {control.bone: control.colour for control in sheet_of(wren).controls}
    assert colours["fk.hand.L"] == colours["fk.hand.R"] == pytest.approx((0.05, 0.62, 0.60), abs=0.5 / 255)
    assert colours["hold.hand.L"] == pytest.approx((0.92, 0.58, 0.08), abs=0.5 / 255)


def test_the_body_is_the_mesh_wherever_that_stands(wren: Any) -> None:
    wren.location, wren.scale = (2.0, 0.0, 1.0), (0.5, 0.5, 0.5)
    item = coat(wren)
    item.parent = wren
    triangles = sheet_of(wren).triangles
    assert len(triangles) == 2 * len(item.data.polygons)
    points = np.array([vertex.co for vertex in item.data.vertices])
    assert np.abs(np.sort(triangles.reshape(-1, 3).max(axis=0)) - np.sort(points.max(axis=0))).max() < 1e-5


def test_reading_changes_nothing(wren: Any) -> None:
    before = deep_snapshot_now()
    sheet_of(wren)
    assert differences(before, deep_snapshot_now()) == []


def test_arms_on_a_users_own_torso_are_told_without_a_body_group(empty_file: Any) -> None:
    from characters import wren_on_torso

    from armwright.core.controls.page import page

    given = sheet_of(wren_on_torso())
    assert {control.arm for control in given.controls} == {"L", "R"}
    assert "The body" not in page(given)


# Buttons


def test_buttons_write_both_files_and_replace_none_unasked(wren: Any, tmp_path: Path) -> None:
    import bpy

    import armwright

    armwright.register()
    try:
        bpy.context.view_layer.objects.active = wren
        bpy.context.scene.frame_end = 5
        for button, name in (
            (bpy.ops.armwright.save_controls_page, "wren.html"),
            (bpy.ops.armwright.hand_over, "wren.glb"),
            (bpy.ops.armwright.ask_hand_over, "asked.glb"),
        ):
            path = tmp_path / name
            given = {} if name.endswith("html") else {"first": 1, "last": 5}
            before = deep_snapshot_now()
            assert button(filepath=str(path), **given) == {"FINISHED"}
            assert path.stat().st_size > 1000
            path.write_bytes(b"mine")
            with pytest.raises(RuntimeError, match="there already"):
                button(filepath=str(path), **given)
            assert path.read_bytes() == b"mine"
            assert button(filepath=str(path), replace=True, **given) == {"FINISHED"}
            assert path.stat().st_size > 1000
            with pytest.raises(RuntimeError, match="folder"):
                button(filepath=str(tmp_path / "wren.html" / "in a file" / name), **given)
            assert differences(before, deep_snapshot_now()) == []
    finally:
        armwright.unregister()
