"""What can not be studied is refused in a sentence; what only looks as if it could not is studied all the same."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from foreign_hands import STILL_FRAMES, at_work, t_posed
from keepers import activate
from refusals import refused
from shots import link_character, override_character, save_character, set_in_motion


@pytest.fixture
def registered() -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


def read(armature: Any, **other: Any) -> Any:
    from armwright.addon.study_action import motion_of_action

    return motion_of_action(armature, **other)


def stranger() -> Any:
    armature = t_posed()
    at_work(armature, *STILL_FRAMES)
    return armature


def why() -> str:
    import bpy

    from armwright.addon.operators.study import why_no_study

    return why_no_study(bpy.context)


def pushed_down(armature: Any, start: int = 1) -> Any:
    """The armature's action as a strip that starts at a frame; nothing is active any more."""
    animation = armature.animation_data
    track = animation.nla_tracks.new()
    strip = track.strips.new("work", start, animation.action)
    animation.action = None
    return strip


def test_an_armature_that_plays_strips_alone_is_told_so(registered: None, empty_file: Any) -> None:
    armature = stranger()
    action = armature.animation_data.action
    pushed_down(armature)
    activate(armature)
    for said in (refused(lambda: read(armature), "strips"), why()):
        print(said)
        assert armature.name in said and "NLA" in said and "action" in said
    # An action that is named is read, alone.
    assert read(armature, action=action).frames == 41


def test_a_strip_that_is_tweaked_is_refused_because_its_frames_are_others(registered: None, empty_file: Any) -> None:
    armature = stranger()
    strip = pushed_down(armature, start=51)
    animation = armature.animation_data
    animation.nla_tracks.active, strip.select = animation.nla_tracks[0], True
    animation.use_tweak_mode = True
    assert animation.action is not None
    activate(armature)
    for said in (refused(lambda: read(armature), "tweaked"), why()):
        print(said)
        assert "tweaked" in said and "Tab" in said
    animation.use_tweak_mode = False


def test_strips_that_play_along_are_said(empty_file: Any) -> None:
    import bpy

    armature = stranger()
    assert not any("NLA" in note for note in read(armature).notes)
    other = bpy.data.actions.new("sway")
    track = armature.animation_data.nla_tracks.new()
    track.strips.new("sway", 1, other)
    assert any("NLA" in note for note in read(armature).notes)
    track.mute = True
    assert not any("NLA" in note for note in read(armature).notes)


def test_an_instance_of_a_linked_character_is_told_to_be_overridden(
    registered: None, wren: Any, tmp_path: Path
) -> None:
    set_in_motion(wren)
    path = tmp_path / "keeper.blend"
    save_character(wren, path)
    instance = link_character(path)
    activate(instance)
    for said in (refused(lambda: read(instance), "override"), why()):
        print(said)
        assert "Keeper" in said and "library override" in said.lower()


def test_an_overridden_character_is_studied(registered: None, wren: Any, tmp_path: Path) -> None:
    import bpy

    set_in_motion(wren)
    expected = read(wren).arms[0].wrist
    path = tmp_path / "keeper.blend"
    save_character(wren, path)
    armature = override_character(path)
    assert why() == ""
    assert np.abs(read(armature).arms[0].wrist - expected).max() < 2e-6
    assert bpy.ops.armwright.run_study() == {"FINISHED"}


def test_a_linked_armature_is_studied_where_it_stands(registered: None, wren: Any, tmp_path: Path) -> None:
    """Linked as an object and not overridden: nothing of it may be written, and nothing needs to be."""
    import bpy

    set_in_motion(wren)
    expected, name = read(wren).arms[0].wrist, wren.name
    path = tmp_path / "keeper.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(path), link=True) as (_, wanted):
        wanted.objects, wanted.actions = [name], list(_.actions)
    armature = wanted.objects[0]
    bpy.context.scene.collection.objects.link(armature)
    bpy.context.view_layer.update()
    activate(armature)
    assert armature.library is not None
    assert np.abs(read(armature).arms[0].wrist - expected).max() < 2e-6
    local = bpy.data.actions.new("local")
    said = refused(lambda: read(armature, action=local), "linked")
    print(said)
    # Held it can not be.
    assert not bpy.ops.armwright.hold_phases.poll()


def test_an_armature_of_no_size_is_refused(registered: None, wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    other = stranger()
    for armature in (wren, other):
        for scale in ((0.0, 0.0, 0.0), (1.0, 0.0, 1.0)):
            armature.scale = scale
            bpy.context.view_layer.update()
            said = refused(lambda armature=armature: read(armature), "scale")
            print(said)
            assert armature.name in said


def test_an_armature_without_arms_is_refused(registered: None, empty_file: Any) -> None:
    import bpy
    from characters import torso_armature

    legs = torso_armature("Buoy")
    bone = next(iter(legs.pose.bones))
    for frame in (1, 9):
        bone.keyframe_insert("location", frame=frame)
    print(refused(lambda: read(legs), "no arms were found in the armature 'Buoy'"))
    activate(legs)
    with pytest.raises(RuntimeError, match="no arms were found"):
        bpy.ops.armwright.run_study()
    empty = bpy.data.objects.new("Bare", bpy.data.armatures.new("Bare"))
    bpy.context.scene.collection.objects.link(empty)
    bpy.context.view_layer.update()
    print(refused(lambda: read(empty), "'Bare' has no bones"))


def test_an_action_of_one_frame_or_none_is_refused_by_the_button(registered: None, empty_file: Any) -> None:
    import bpy

    armature = t_posed()
    activate(armature)
    assert "plays no action" in why()
    armature.pose.bones["palm.L"].keyframe_insert("rotation_quaternion", frame=4)
    with pytest.raises(RuntimeError, match="has one frame, 4"):
        bpy.ops.armwright.run_study()
    assert len(bpy.context.window_manager.armwright_study.phases) == 0


def test_a_study_that_fails_leaves_the_last_list_as_it_was(registered: None, wren: Any) -> None:
    import bpy

    set_in_motion(wren)
    activate(wren)
    assert bpy.ops.armwright.run_study() == {"FINISHED"}
    state = bpy.context.window_manager.armwright_study
    before = [(line.words, line.first, line.last, line.ticked) for line in state.phases]
    assert before
    wren.scale = (-1.0, 1.0, 1.0)
    bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match="mirrored"):
        bpy.ops.armwright.run_study()
    assert [(line.words, line.first, line.last, line.ticked) for line in state.phases] == before
