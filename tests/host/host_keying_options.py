"""Keys of a change under the animator's options: keying sets, automatic keying, new keys' looks, poses not keyed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import joints_along, lantern, subject_of, swing, switched

DIALS = "fk.clavicle.L"
FRAME = 15


@pytest.fixture
def options(empty_file: Any) -> Iterator[Any]:
    """The preferences, which are put back afterwards."""
    import bpy

    edit = bpy.context.preferences.edit
    names = ("use_keyframe_insert_available", "keyframe_new_interpolation_type", "keyframe_new_handle_type")
    before = {name: getattr(edit, name) for name in names}
    yield edit
    for name, value in before.items():
        setattr(edit, name, value)


def _frames(armature: Any, path: str, index: int = 0) -> list[float]:
    """Frames of the keys of one curve; none if there is no curve."""
    from armwright.addon.curves import own_bag

    bag = own_bag(armature)
    return [
        point.co.x
        for curve in (bag.fcurves if bag else ())
        if curve.data_path == path and curve.array_index == index
        for point in curve.keyframe_points
    ]


def _path(bone: str, rest: str) -> str:
    return f'pose.bones["{bone}"]{rest}'


def test_the_paths_of_the_active_keying_set_on_this_arm_are_keyed_too(wren: Any) -> None:
    import bpy

    swing(wren)
    bpy.context.scene.frame_set(FRAME)
    made = bpy.context.scene.keying_sets.new(name="Lantern arm")
    for path in (
        _path("fk.hand.L", ".scale"),
        _path("fk.hand.L", ".rotation_euler"),
        _path("fk.hand.R", ".rotation_euler"),
        _path("torso.2", ".rotation_euler"),
        _path(DIALS, '["volume"]'),
        _path("gone", ".location"),
    ):
        made.paths.add(wren, path)
    made.paths.add(wren, _path("fk.upper_arm.L", ".rotation_euler"), index=1)
    made.paths[-1].use_entire_array = False
    made.paths.add(lantern(), "location")
    before = joints_along(wren, range(1, 41))
    bpy.context.scene.frame_set(FRAME)
    outcome = switched(wren)
    assert outcome.kept
    assert "4 more channels of the keying set 'Lantern arm' keyed" in outcome.sentence()
    assert _frames(wren, _path("fk.hand.L", ".scale")) == [FRAME]
    assert FRAME in _frames(wren, _path("fk.hand.L", ".rotation_euler"))
    assert _frames(wren, _path(DIALS, '["volume"]')) == [FRAME]
    assert FRAME in _frames(wren, _path("fk.upper_arm.L", ".rotation_euler"), 1)
    assert FRAME not in _frames(wren, _path("fk.upper_arm.L", ".rotation_euler"), 0)
    assert FRAME not in _frames(wren, _path("torso.2", ".rotation_euler"))
    assert _frames(wren, _path("fk.hand.R", ".rotation_euler")) == []
    # What the change needs is keyed whether the set names it or not.
    assert _frames(wren, _path(DIALS, '["ik"]')) == [FRAME - 1, FRAME]
    assert _frames(wren, _path("hold.hand.L", ".location")) == [FRAME - 1, FRAME]
    assert np.abs(joints_along(wren, range(1, FRAME)) - before[: FRAME - 1]).max() < 2e-6


@pytest.mark.parametrize(
    ("name", "keyed"),
    [
        ("Location", {".location"}),
        ("Scaling", {".scale"}),
        ("LocRotScale", {".location", ".rotation_euler", ".scale"}),
        ("BUILTIN_KSI_LocScale", {".location", ".scale"}),
        ("Available", set()),
        ("BUILTIN_KSI_VisualLoc", set()),
    ],
)
def test_a_set_of_the_hosts_own_counts_for_the_selected_bones_of_the_arm(wren: Any, name: str, keyed: set[str]) -> None:
    import bpy

    swing(wren)
    activate(wren, "POSE")
    for bone in wren.pose.bones:
        _select(bone, bone.name in ("fk.hand.L", "fk.hand.R"))
    bpy.context.scene.frame_set(FRAME)
    sets = bpy.context.scene.keying_sets_all
    sets.active = next(item for item in sets if item.bl_idname == name)
    outcome = switched(wren)
    assert outcome.kept
    for rest in (".location", ".scale"):
        assert _frames(wren, _path("fk.hand.L", rest)) == ([FRAME] if rest in keyed else [])
        assert _frames(wren, _path("fk.hand.R", rest)) == []
        assert _frames(wren, _path("fk.forearm.L", rest)) == []
    turned = ".rotation_euler" in keyed or name == "Available"
    assert (FRAME in _frames(wren, _path("fk.hand.L", ".rotation_euler"))) == turned
    assert _frames(wren, _path(DIALS, '["ik"]')) == [FRAME - 1, FRAME]


def _select(bone: Any, on: bool) -> None:
    from armwright.addon import host

    host.select(bone, on)


def test_what_of_a_keying_set_can_not_be_keyed_is_counted_and_left(wren: Any) -> None:
    import bpy

    from armwright.addon.curves import own_bag

    swing(wren)
    bpy.context.scene.frame_set(FRAME)
    made = bpy.context.scene.keying_sets.new(name="Lantern arm")
    made.paths.add(wren, _path("fk.hand.L", ".rotation_euler"))
    made.paths.add(wren, _path("fk.hand.L", ".scale"))
    for curve in own_bag(wren).fcurves:
        curve.lock = "fk.hand.L" in curve.data_path
    outcome = switched(wren)
    assert "1 more channels of the keying set 'Lantern arm' keyed (1 of its channels can not be keyed)" in outcome.note
    assert FRAME not in _frames(wren, _path("fk.hand.L", ".rotation_euler"))


def test_a_change_of_space_and_a_grab_key_the_set_as_well(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, spaces

    swing(wren)
    bpy.context.scene.frame_set(FRAME)
    made = bpy.context.scene.keying_sets.new(name="Lantern arm")
    made.paths.add(wren, _path("fk.hand.L", ".scale"))
    subject = subject_of(wren)
    torso = spaces.space_named(subject, "L", "hand", "torso")
    assert "Lantern arm" in spaces.set_space(subject, "L", "hand", torso, keyed=True).sentence()
    bpy.context.scene.frame_set(FRAME + 5)
    assert "Lantern arm" in grab.grab(subject, "L", "hand", None, keyed=True).sentence()
    assert _frames(wren, _path("fk.hand.L", ".scale")) == [FRAME, FRAME + 5]


@pytest.mark.parametrize(
    ("auto", "mode", "available", "keys"),
    [
        (False, "ADD_REPLACE_KEYS", False, False),
        (True, "ADD_REPLACE_KEYS", False, True),
        (True, "REPLACE_KEYS", False, False),
        (True, "ADD_REPLACE_KEYS", True, False),
    ],
)
def test_automatic_keying_alone_begins_curves_only_where_it_may_add_keys(
    options: Any, wren: Any, auto: bool, mode: str, available: bool, keys: bool
) -> None:
    import bpy

    settings = bpy.context.scene.tool_settings
    settings.use_keyframe_insert_auto, settings.auto_keying_mode = auto, mode
    options.use_keyframe_insert_available = available
    try:
        bpy.context.scene.frame_set(FRAME)
        outcome = switched(wren, keyed=None)
        assert outcome.keyed == keys
        assert _frames(wren, _path(DIALS, '["ik"]')) == ([FRAME - 1, FRAME] if keys else [])
    finally:
        settings.use_keyframe_insert_auto, settings.auto_keying_mode = False, "ADD_REPLACE_KEYS"


@pytest.mark.parametrize("mode", ["ADD_REPLACE_KEYS", "REPLACE_KEYS"])
def test_where_the_arm_is_keyed_all_that_changes_is_keyed_and_only_available_says_so(
    options: Any, wren: Any, mode: str
) -> None:
    import bpy

    options.use_keyframe_insert_available = True
    bpy.context.scene.tool_settings.auto_keying_mode = mode
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.2, 0.0)
    wren.keyframe_insert(_path(DIALS, '["ik"]'), frame=1)
    bpy.context.scene.frame_set(FRAME)
    outcome = switched(wren, keyed=None)
    assert outcome.keyed
    assert _frames(wren, _path(DIALS, '["ik"]')) == [1, FRAME - 1, FRAME]
    assert _frames(wren, _path("hold.hand.L", ".location")) == [FRAME - 1, FRAME]
    assert "channels had no keys and got them, or the hold would drift" in outcome.sentence()


def test_new_keys_look_as_the_preferences_and_the_tool_settings_want_them(options: Any, wren: Any) -> None:
    import bpy

    from armwright.addon.curves import own_bag

    options.keyframe_new_interpolation_type, options.keyframe_new_handle_type = "SINE", "VECTOR"
    bpy.context.scene.tool_settings.keyframe_type = "EXTREME"
    bpy.context.scene.frame_set(FRAME)
    switched(wren)
    kinds: set[str] = set()
    for curve in own_bag(wren).fcurves:
        for point in curve.keyframe_points:
            dial = "ik" in curve.data_path
            # Before the change everything holds; dials do after it too.
            assert point.interpolation == ("CONSTANT" if dial or point.co.x < FRAME else "SINE"), curve.data_path
            assert point.type == "EXTREME"
            if point.co.x == FRAME:
                kinds.add(point.handle_right_type)
    assert kinds == {"VECTOR"}


@pytest.mark.parametrize("interpolation", ["BEZIER", "LINEAR", "CONSTANT", "SINE"])
def test_after_a_change_a_curve_goes_on_to_its_next_key_as_it_did(wren: Any, interpolation: str) -> None:
    import bpy

    from armwright.addon.curves import own_bag

    swing(wren)
    for curve in own_bag(wren).fcurves:
        for point in curve.keyframe_points:
            point.interpolation = interpolation
    bpy.context.scene.frame_set(10)
    switched(wren)
    bpy.context.scene.frame_set(25)
    switched(wren, "none")
    (curve,) = [item for item in own_bag(wren).fcurves if item.data_path == _path("fk.upper_arm.L", ".rotation_euler")][
        :1
    ]
    ways = {point.co.x: point.interpolation for point in curve.keyframe_points}
    assert ways[24.0] == "CONSTANT"
    assert ways[25.0] == interpolation


@pytest.mark.parametrize("change", ["switch", "space", "grab"])
def test_what_is_posed_over_keys_and_not_keyed_outlives_a_keyed_change(wren: Any, change: str) -> None:
    import bpy

    from armwright.addon import grab, spaces

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    swing(prop)
    bpy.context.scene.frame_set(FRAME)
    before = joints_along(wren, range(1, FRAME))
    bpy.context.scene.frame_set(FRAME)
    bones = wren.pose.bones
    bones["torso.2"].rotation_euler = (0.2, -0.1, 0.15)
    bones["fk.hand.L"].rotation_euler = (0.5, 0.4, -0.3)
    prop.location = (0.5, -0.2, 1.3)
    bpy.context.view_layer.update()
    shown = np.array([bones[f"skin.{part}.L"].matrix for part in ("upper_arm", "forearm", "hand")])
    if change == "switch":
        outcome = switched(wren, "elbow")
    elif change == "space":
        torso = spaces.space_named(subject, "L", "hand", "torso")
        outcome = spaces.set_space(subject, "L", "hand", torso, keyed=True)
    else:
        outcome = grab.grab(subject, "L", "elbow", grab.Thing(prop), keyed=True)
    assert outcome.kept and outcome.keyed
    assert np.allclose(bones["torso.2"].rotation_euler, (0.2, -0.1, 0.15))
    assert np.allclose(bones["fk.hand.L"].rotation_euler, (0.5, 0.4, -0.3))
    assert np.allclose(prop.location, (0.5, -0.2, 1.3))
    now = np.array([bones[f"skin.{part}.L"].matrix for part in ("upper_arm", "forearm", "hand")])
    assert np.abs(now - shown).max() < 1e-5
    # The hand's own turn is a part of the pose that a switch keeps, and is keyed with it; the torso's is not.
    assert (FRAME in _frames(wren, _path("fk.hand.L", ".rotation_euler"))) == (change != "space")
    assert FRAME not in _frames(wren, _path("torso.2", ".rotation_euler"))
    assert np.abs(joints_along(wren, range(1, FRAME)) - before).max() < 2e-6


def test_a_line_before_the_first_key_that_a_key_would_bend_is_named(wren: Any) -> None:
    import bpy
    from refusals import refused

    from armwright.addon.curves import own_bag

    swing(wren)
    hold = wren.pose.bones["hold.hand.L"]
    for frame in (20, 30):
        hold.location.x = frame
        hold.keyframe_insert("location", frame=frame)
    for curve in own_bag(wren).fcurves:
        if hold.name in curve.data_path:
            curve.extrapolation = "LINEAR"
    bpy.context.scene.frame_set(FRAME)
    refused(lambda: switched(wren), "runs on in a line before its first key")
    bpy.context.scene.frame_set(25)
    assert switched(wren).kept


def test_what_is_posed_and_not_keyed_outlives_a_range_of_holding_and_a_mending(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, mend

    subject, prop = subject_of(wren), lantern()
    swing(wren)
    bpy.context.scene.frame_set(35)
    wren.pose.bones["torso.2"].rotation_euler = (0.2, -0.1, 0.15)
    bpy.context.view_layer.update()
    grab.hold_range(subject, "L", "hand", grab.Thing(prop), 10, 20)
    assert bpy.context.scene.frame_current == 35
    assert np.allclose(wren.pose.bones["torso.2"].rotation_euler, (0.2, -0.1, 0.15))
    bpy.data.objects.remove(prop)
    assert len(mend.mend_spaces(subject)) == 1
    assert bpy.context.scene.frame_current == 35
    assert np.allclose(wren.pose.bones["torso.2"].rotation_euler, (0.2, -0.1, 0.15))
