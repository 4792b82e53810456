"""What a change may key: the armature's own part of an action, layers of strips, and what is refused before it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from props import joints_along, lantern, subject_of, swing, switched
from refusals import refused
from swings import every_key, give_own_part

DIALS = "fk.clavicle.L"


def _every_change(armature: Any) -> list[Callable[[], Any]]:
    """A switch, a change of space, a grab, a range of holding and one of converting."""
    from armwright.addon import convert, grab, spaces

    subject = subject_of(armature)
    torso = spaces.space_named(subject, "L", "hand", "torso")
    return [
        lambda: switched(armature),
        lambda: switched(armature, keyed=False),
        lambda: spaces.set_space(subject, "L", "hand", torso, keyed=True),
        lambda: grab.grab(subject, "L", "hand", grab.Thing(armature, "torso.1"), keyed=True),
        lambda: grab.hold_range(subject, "L", "hand", None, 10, 20),
        lambda: convert.convert_whole(subject, convert.Request(("L",), "hand", 10, 20)),
    ]


def _swinging(armature: Any) -> Any:
    import bpy

    swing(armature)
    bpy.context.scene.frame_set(15)
    return armature.animation_data


def _strip(armature: Any, path: str, index: int = 0, name: str = "Sway", start: int = 1) -> Any:
    """A track below the action with a strip that moves one channel."""
    import bpy

    from armwright.addon import host

    action = bpy.data.actions.new(name)
    slot, curve = host.fill(action, armature.name)
    made = curve.new(path, index=index)
    for frame, value in ((1, 0.0), (40, 0.3)):
        made.keyframe_points.insert(frame, value)
    track = armature.animation_data.nla_tracks.new()
    track.name = "Layers"
    strip = track.strips.new(name, start, action)
    host.give_slot(strip, slot)
    bpy.context.scene.frame_set(bpy.context.scene.frame_current)
    return track, strip


def test_curves_of_another_character_in_the_same_action_are_no_matter(wren: Any) -> None:
    import bpy

    from armwright.addon import keys
    from armwright.addon.arm_state import Channel

    _swinging(wren)
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    action = wren.animation_data.action
    give_own_part(other, action)
    other.pose.bones[DIALS].keyframe_insert('["ik"]', frame=1)
    other.keyframe_insert(f'pose.bones["{DIALS}"]["ik"]', frame=1)
    theirs = every_key(other)
    assert keys.curves_for(wren, Channel(DIALS, '["ik"]')) == []
    from armwright.addon.curves import curves_of

    for curve in curves_of(action):
        if "ik" in curve.data_path:
            curve.lock = True
    theirs = every_key(other)
    before = joints_along(wren, range(1, 15))
    bpy.context.scene.frame_set(15)
    assert switched(wren).kept
    assert every_key(other) == theirs
    assert np.abs(joints_along(wren, range(1, 15)) - before).max() < 2e-6


def test_two_characters_on_the_same_slot_are_refused(wren: Any) -> None:
    import bpy

    _swinging(wren)
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    for change in _every_change(wren):
        refused(change, "Second keeper")


def test_an_action_that_is_a_strip_somewhere_else_as_well_is_refused(wren: Any) -> None:
    import bpy

    from armwright.addon import host

    _swinging(wren)
    action = wren.animation_data.action
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    other.animation_data.action = None
    track = other.animation_data.nla_tracks.new()
    host.give_slot(track.strips.new("Sway", 1, action), host.slot_of(wren.animation_data))
    for change in _every_change(wren):
        refused(change, "Second keeper")


@pytest.mark.parametrize("muted", ["", "strip"])
def test_strips_that_move_what_changes_are_named_muted_or_not(wren: Any, muted: str) -> None:
    import bpy

    # The host brings the channels of a muted strip to their defaults, as long as its track is not muted.
    _swinging(wren)
    _, strip = _strip(wren, 'pose.bones["hold.hand.L"].location')
    strip.mute = muted == "strip"
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren):
        refused(change, "Sway.*Layers|Layers.*Sway")


@pytest.mark.parametrize("change", range(6))
def test_a_strip_that_moves_something_else_only_stays_what_it_is(wren: Any, change: int) -> None:
    import bpy

    _swinging(wren)
    _strip(wren, 'pose.bones["torso.1"].rotation_euler')
    wren.pose.bones["torso.1"].rotation_mode = "XYZ"
    shot = range(1, 41)
    before = joints_along(wren, shot)
    assert np.ptp(before[:, 0, :3, 3], axis=0).max() > 0.01
    _kept_by(wren, change, before)
    bpy.context.scene.frame_set(20)
    assert wren.pose.bones["torso.1"].rotation_euler[0] > 0.05


def _kept_by(armature: Any, change: int, before: np.ndarray) -> None:
    """A change keeps its frame, and, unless it is not keyed, the frames before it."""
    import bpy

    bpy.context.scene.frame_set(15)
    _every_change(armature)[change]()
    # Held and converted ranges begin at 10.
    frame = 10 if change >= 4 else 15
    assert np.abs(joints_along(armature, [frame])[0] - before[frame - 1]).max() < 2e-5
    if change != 1:
        assert np.abs(joints_along(armature, range(1, 10)) - before[:9]).max() < 2e-6


@pytest.mark.parametrize("change", range(6))
def test_a_muted_track_is_no_matter(wren: Any, change: int) -> None:

    animation = _swinging(wren)
    track, _ = _strip(wren, 'pose.bones["hold.hand.L"].location')
    track.mute = True
    animation.action_influence = 0.5
    _kept_by(wren, change, joints_along(wren, range(1, 41)))


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("action_influence", 0.5, "0.5"),
        ("action_blend_type", "ADD", "add"),
        ("action_extrapolation", "NOTHING", "hold"),
        ("action_extrapolation", "HOLD_FORWARD", "hold"),
    ],
)
def test_an_action_that_is_mixed_with_strips_is_refused(wren: Any, name: str, value: Any, said: str) -> None:
    import bpy

    animation = _swinging(wren)
    _strip(wren, 'pose.bones["torso.1"].rotation_euler')
    setattr(animation, name, value)
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren):
        refused(change, said)


def test_without_strips_the_settings_of_the_mix_do_not_matter(wren: Any) -> None:
    import bpy

    animation = _swinging(wren)
    animation.action_influence, animation.action_blend_type = 0.5, "ADD"
    bpy.context.scene.frame_set(15)
    was = joints_along(wren, [15])
    assert switched(wren).kept
    assert np.abs(joints_along(wren, [15]) - was).max() < 2e-6


def test_a_strip_in_tweak_mode_is_refused(wren: Any) -> None:
    import bpy

    animation = _swinging(wren)
    action = animation.action
    track = animation.nla_tracks.new()
    strip = track.strips.new("Swing", 5, action)
    animation.action = None
    animation.nla_tracks.active = track
    track.select = strip.select = True
    animation.use_tweak_mode = True
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren):
        refused(change, "tweak")


def test_a_solo_track_hides_the_action_and_is_refused(wren: Any) -> None:
    import bpy

    _swinging(wren)
    track, _ = _strip(wren, 'pose.bones["torso.1"].rotation_euler')
    track.is_solo = True
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren):
        refused(change, "solo")


def test_a_pushed_down_action_is_refused_as_long_as_it_moves_the_arm(wren: Any) -> None:
    import bpy

    from armwright.addon import host

    animation = _swinging(wren)
    action = animation.action
    wren.pose.bones["hold.hand.L"].keyframe_insert("location", frame=1)
    strip = animation.nla_tracks.new().strips.new("Swing", 1, action)
    host.give_slot(strip, host.slot_of(animation))
    animation.action = None
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren)[:5]:
        refused(change, "Swing")


def test_a_scene_that_stretches_time_is_refused(wren: Any) -> None:
    import bpy

    _swinging(wren)
    bpy.context.scene.render.frame_map_new = 200
    bpy.context.scene.frame_set(15)
    for change in [*_every_change(wren)[:1], *_every_change(wren)[2:]]:
        refused(change, "time")


@pytest.mark.parametrize("flag", ["lock", "mute"])
def test_a_locked_or_muted_group_is_named(wren: Any, flag: str) -> None:
    from armwright.addon.convert_write import curve_bag

    _swinging(wren)
    wren.keyframe_insert(f'pose.bones["{DIALS}"]["ik"]', frame=1, group=DIALS)
    setattr(curve_bag(wren).groups[DIALS], flag, True)
    refused(lambda: switched(wren), "group.*fk.clavicle.L")


def test_a_modifier_on_a_curve_that_changes_is_named_and_a_muted_one_is_no_matter(wren: Any) -> None:
    from armwright.addon.convert_write import curve_bag

    _swinging(wren)
    wren.pose.bones["hold.hand.L"].keyframe_insert("location", frame=1)
    made = []
    for curve in curve_bag(wren).fcurves:
        if "hold.hand.L" in curve.data_path:
            made.append(curve.modifiers.new("CYCLES"))
    refused(lambda: switched(wren), "modifier")
    for modifier in made:
        modifier.mute = True
    assert switched(wren).kept


def test_a_driven_dial_or_channel_is_named(wren: Any) -> None:
    import bpy

    _swinging(wren)
    wren.pose.bones[DIALS].driver_add('["ik"]').driver.expression = "0"
    for change in _every_change(wren)[:2]:
        refused(change, "ik.* is driven")
    wren.pose.bones[DIALS].driver_remove('["ik"]')
    wren.pose.bones["hold.hand.L"].driver_add("location", 1).driver.expression = "0.1"
    bpy.context.scene.frame_set(15)
    for change in _every_change(wren):
        refused(change, "location is driven")


def test_a_hold_that_turns_by_axis_and_angle_is_refused_before_anything_has_changed(wren: Any) -> None:
    _swinging(wren)
    wren.pose.bones["hold.hand.L"].rotation_mode = "AXIS_ANGLE"
    for change in _every_change(wren):
        refused(change, "axis and angle")


def test_locks_of_the_viewport_do_not_hinder_a_change(wren: Any) -> None:
    import bpy

    animation = _swinging(wren)
    for name in ("hold.hand.L", "hold.elbow.L", "fk.clavicle.L", "aim.elbow.L", "fk.forearm.L"):
        bone = wren.pose.bones[name]
        bone.lock_location = bone.lock_rotation = (True, True, True)
        bone.lock_rotation_w = bone.lock_rotations_4d = True
    was = joints_along(wren, [15])
    for mode in ("both", "hand", "elbow", "none"):
        assert switched(wren, mode).kept
    bpy.context.scene.frame_set(15)
    assert np.abs(joints_along(wren, [15]) - was).max() < 2e-5
    assert animation.action is not None


def test_a_dial_that_was_keyed_by_hand_with_smooth_keys_holds_from_the_switch_on(wren: Any) -> None:
    import bpy

    from armwright.addon.convert_write import curve_bag

    _swinging(wren)
    dials = wren.pose.bones[DIALS]
    for frame, value in ((5, 0.0), (30, 0.0), (38, 1.0)):
        dials["ik"] = value
        wren.keyframe_insert(f'pose.bones["{DIALS}"]["ik"]', frame=frame)
    (curve,) = [item for item in curve_bag(wren).fcurves if "ik" in item.data_path]
    for point in curve.keyframe_points:
        point.interpolation = "BEZIER"
    bpy.context.scene.frame_set(15)
    before = joints_along(wren, range(1, 15))
    late = [curve.evaluate(frame) for frame in np.arange(30.0, 45.0, 0.5)]
    bpy.context.scene.frame_set(15)
    assert switched(wren).kept
    assert np.abs(joints_along(wren, range(1, 15)) - before).max() < 2e-6
    shown = [curve.evaluate(frame) for frame in np.arange(15.0, 30.0, 0.5)]
    assert shown == [1.0] * 30
    assert [curve.evaluate(frame) for frame in np.arange(1.0, 14.5, 0.5)] == [0.0] * 27
    assert np.abs(np.subtract([curve.evaluate(frame) for frame in np.arange(30.0, 45.0, 0.5)], late)).max() < 1e-6


def test_a_mended_hold_keeps_the_other_characters_curves(wren: Any) -> None:
    import bpy

    from armwright.addon import grab, mend

    subject, prop = subject_of(wren), lantern()
    _swinging(wren)
    other = wren.copy()
    other.name = "Second keeper"
    bpy.context.collection.objects.link(other)
    bpy.context.view_layer.update()
    action = wren.animation_data.action
    give_own_part(other, action)
    assert grab.grab(subject_of(other), "L", "hand", grab.Thing(prop), keyed=True).kept
    assert grab.grab(subject, "L", "hand", grab.Thing(prop), keyed=True).kept
    assert any("Lantern" in path for path, _ in every_key(other))
    theirs = every_key(other)
    bpy.data.objects.remove(prop)
    bpy.context.view_layer.update()
    assert "where it was grabbed" in mend.mend_spaces(subject)[0]
    assert every_key(other) == theirs
    assert not any("Lantern" in path for path, _ in every_key(wren))


@pytest.mark.parametrize("keyed", [(), (1, 30)], ids=["new curve", "keyed curve"])
def test_the_key_before_a_change_is_written_where_the_host_keeps_it(wren: Any, keyed: tuple[int, ...]) -> None:
    """The host moves a curve's keys in memory when the curve is updated: a key held on to from before is not there."""
    from armwright.addon import keys
    from armwright.addon.keys import Channel

    bone = wren.pose.bones["fk.hand.L"]
    for frame in keyed:
        bone.keyframe_insert("rotation_euler", frame=frame)
    channel = Channel(bone.name, "rotation_euler")
    keys._key_before(wren, channel, keys.sides(wren, [channel], 14), 14)
    curves = keys.curves_for(wren, channel)
    assert len(curves) == 3
    for curve in curves:
        assert [point.interpolation for point in curve.keyframe_points if point.co.x == 14.0] == ["CONSTANT"]
