"""The sidebar's study: phases listed and jumped to, marked on the timeline and cleared, held by the button."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from deep_snapshot import deep_snapshot, differences
from keepers import activate
from study_recordings import ELBOW, HAND, LAST, record, world


@pytest.fixture
def registered() -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


@pytest.fixture
def studied(registered: None, wren: Any) -> Any:
    """The state after a study of a recorded Wren."""
    import bpy

    record(wren, creep=0.0003)
    activate(wren)
    bpy.context.scene.frame_set(9)
    before = deep_snapshot()
    assert bpy.ops.armwright.run_study() == {"FINISHED"}
    assert differences(before, deep_snapshot()) == []
    return bpy.context.window_manager.armwright_study


def lines_of(state: Any, kind: str) -> list[Any]:
    return [line for line in state.phases if line.kind == kind]


def marks() -> list[tuple[int, str]]:
    import bpy

    return sorted((marker.frame, marker.name) for marker in bpy.context.scene.timeline_markers)


def test_a_study_lists_what_the_arms_do_in_the_scenes_frames(studied: Any, wren: Any) -> None:
    print([(line.words, line.first, line.last) for line in studied.phases], studied.reach, studied.torso)
    (hand,) = [line for line in lines_of(studied, "hand-planted") if line.arm == "L"]
    # The recording's first frame is the scene's frame 1.
    assert abs(hand.first - HAND[0]) <= 2
    assert abs(hand.last - HAND[1]) <= 2
    assert hand.ticked and hand.words == "L hand planted"
    elbows = [line for line in lines_of(studied, "elbow-planted") if line.arm == "R"]
    assert any(abs(line.first - ELBOW[0]) <= 2 and abs(line.last - ELBOW[1]) <= 2 for line in elbows)
    assert all(not line.ticked for line in lines_of(studied, "swinging"))
    assert studied.rig == wren.name
    assert studied.action == wren.animation_data.action.name
    assert studied.reach.startswith("Reach: L ") and "no stretch" in studied.reach
    assert studied.torso.replace("\u00a0", " ") == "Torso: tilt -7 to 6°, side -6 to 6°, twist -1 to 3°"


def test_a_click_on_a_row_goes_to_its_first_frame(studied: Any) -> None:
    import bpy

    assert bpy.context.scene.frame_current == 9
    for place in (2, 0):
        studied.active = place
        assert bpy.context.scene.frame_current == studied.phases[place].first


def test_markers_are_set_and_only_ours_are_cleared(studied: Any) -> None:
    import bpy

    scene = bpy.context.scene
    camera = bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    scene.collection.objects.link(camera)
    hand = lines_of(studied, "hand-planted")[0]
    mine = [(5, "light the lamp"), (hand.first, hand.words), (hand.last, "L hand free")]
    for frame, name in mine:
        scene.timeline_markers.new(name, frame=frame)
    cut = scene.timeline_markers.new("cut", frame=hand.first)
    cut.camera = camera
    mine = marks()
    assert bpy.ops.armwright.mark_phases() == {"FINISHED"}
    ours = [entry for entry in marks() if entry not in mine]
    assert (hand.last + 1, "L hand free") in ours
    assert any(name == "R elbow planted" for _, name in ours)
    # The user's own of the same name and frame is not doubled.
    assert marks().count((hand.first, hand.words)) == 1
    # Set again it is the same; and no marker more.
    set_once = marks()
    assert bpy.ops.armwright.mark_phases() == {"FINISHED"}
    assert marks() == set_once
    # What the user makes of ours is the user's: moved, renamed, bound to a camera.
    moved, renamed, bound = [item for item in scene.timeline_markers if (item.frame, item.name) in ours][:3]
    moved.frame, renamed.name, bound.camera = 777, "here", camera
    kept = [(moved.frame, moved.name), (renamed.frame, renamed.name), (bound.frame, bound.name)]
    assert bpy.ops.armwright.clear_phase_marks() == {"FINISHED"}
    assert marks() == sorted([*mine, *kept])
    assert cut.camera == camera
    assert not bpy.ops.armwright.clear_phase_marks.poll()


def test_the_button_holds_what_is_ticked_and_unticks_it(studied: Any, wren: Any) -> None:
    import bpy

    for line in studied.phases:
        line.ticked = line.kind == "hand-planted" and line.arm == "L"
    (hand,) = [line for line in studied.phases if line.ticked]
    frames = range(hand.first, hand.last + 1)
    assert bpy.ops.armwright.hold_phases() == {"FINISHED"}
    heads = world(wren, "skin.hand.L", frames)[:, :3, 3]
    assert np.linalg.norm(heads - heads[0], axis=1).max() / (0.332 * 1.7) <= 2e-6
    assert not any(line.ticked for line in studied.phases)
    assert not bpy.ops.armwright.hold_phases.poll()


def test_phases_of_another_action_are_not_held(studied: Any, wren: Any) -> None:
    import bpy

    assert bpy.ops.armwright.hold_phases.poll()
    wren.animation_data.action = wren.animation_data.action.copy()
    assert not bpy.ops.armwright.hold_phases.poll()


def test_a_list_goes_with_its_file(studied: Any) -> None:
    import bpy

    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    state = bpy.context.window_manager.armwright_study
    assert (len(state.phases), state.rig) == (0, "")


def test_arms_of_other_making_are_studied_by_a_card(registered: None, empty_file: Any, tmp_path: Any) -> None:
    import bpy
    from foreign_arms import bare_fk, bare_fk_card

    from armwright.core.card import card_json

    armature = bare_fk()
    for frame, angle in ((1, 0.0), (12, 0.5), (LAST, -0.2)):
        armature.pose.bones["chest"].rotation_mode = "XYZ"
        armature.pose.bones["chest"].rotation_euler = (angle, 0.0, 0.0)
        armature.pose.bones["chest"].keyframe_insert("rotation_euler", frame=frame)
    activate(armature)
    path = tmp_path / "card.json"
    path.write_text(card_json.to_text(bare_fk_card(armature)))
    state = bpy.context.window_manager.armwright_study
    for card in ("", str(path)):
        state.card = card
        assert bpy.ops.armwright.run_study() == {"FINISHED"}
        assert {line.arm for line in state.phases} == {"L", "R"}
        # No arms of ours: nothing to tick.
        assert not any(line.holdable or line.ticked for line in state.phases)
    state.card = str(tmp_path / "none.json")
    with pytest.raises(RuntimeError, match=r"none\.json"):
        bpy.ops.armwright.run_study()


def test_two_hands_that_hold_each_other_are_ticked_once(registered: None, wren: Any) -> None:
    import bpy
    from study_motions import two_hands_together

    from armwright.addon import study_list
    from armwright.core.study.study import study

    state = bpy.context.window_manager.armwright_study
    study_list.fill(state, wren.name, study(two_hands_together()), 1)
    held = lines_of(state, "held")
    assert {line.on for line in held} == {"L", "R"}
    assert [line.ticked for line in sorted(held, key=lambda line: line.arm)] == [True, False]
