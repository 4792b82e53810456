"""Phases of a study held on the rig: what stands does not slide, nothing pops, all of it or nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from props import subject_of
from study_recordings import ELBOW, HAND, LAST, record, world
from swings import apart, every_key, poses

SLIDE, POP, POP_ANGLE = 2e-6, 1e-5, 1e-2
LENGTH = 0.332 * 1.7


def phase(arm: str = "L", part: str = "hand", on: str = "world", frames: tuple[int, int] = HAND) -> Any:
    from armwright.addon.hold_phase_plan import HoldPhase

    return HoldPhase(arm, part, on, *frames)


def held(armature: Any, *phases: Any) -> Any:
    from armwright.addon.hold_phases import hold_phases_whole

    return hold_phases_whole(subject_of(armature), phases)


def slide_of(armature: Any, bone: str, frames: tuple[int, int]) -> float:
    """In arm lengths, by the host's own matrices in the world."""
    heads = world(armature, bone, range(frames[0], frames[1] + 1))[:, :3, 3]
    return float(np.linalg.norm(heads - heads[0], axis=1).max()) / LENGTH


def test_a_planted_hand_and_a_resting_elbow_stand_and_nothing_pops(wren: Any) -> None:
    record(wren)
    shown = poses(wren, range(1, LAST + 5))
    assert slide_of(wren, "skin.hand.L", HAND) > 1e-3
    assert slide_of(wren, "skin.forearm.R", ELBOW) > 1e-3
    done = held(wren, phase(), phase("R", "elbow", frames=ELBOW))
    print(done)
    assert slide_of(wren, "skin.hand.L", HAND) <= SLIDE
    assert slide_of(wren, "skin.forearm.R", ELBOW) <= SLIDE
    assert done.slide <= SLIDE
    now = poses(wren, range(1, LAST + 5))
    for joints, (first, last) in ((slice(0, 3), HAND), (slice(3, 6), ELBOW)):
        # Frames before the hold, and from where it has gone back, are as they were; the hold begins on the recording.
        for frames in (range(1, first + 1), range(last + 4, LAST + 1)):
            rows = [frame - 1 for frame in frames]
            gap, turn = apart(now[rows, joints], shown[rows, joints])
            assert gap / LENGTH <= POP
            assert turn <= POP_ANGLE
    gap, _ = apart(now, shown)
    assert gap / LENGTH == pytest.approx(max(far for _, far, _ in done.moved), rel=0.02)
    assert "moved from the recording by at most" in done.sentence()
    assert "no pop" in done.sentence()


def test_the_step_from_frame_to_frame_where_a_hold_ends_is_the_recordings(wren: Any) -> None:
    record(wren)
    frames = range(HAND[1] - 1, HAND[1] + 6)
    before = world(wren, "skin.hand.L", frames)[:, :3, 3]
    held(wren, phase())
    steps = np.linalg.norm(np.diff(world(wren, "skin.hand.L", frames)[:, :3, 3], axis=0), axis=1)
    recorded = np.linalg.norm(np.diff(before, axis=0), axis=1)
    assert (steps[1:] - recorded[1:]).max() < 0.003


def test_a_hold_stays_in_the_world_while_the_armature_itself_travels(wren: Any) -> None:
    record(wren)
    for frame, place, turn in ((1, (0.0, 0.0, 0.0), 0.0), (LAST, (0.01, -0.02, 0.01), 0.02)):
        wren.location, wren.rotation_euler = place, (0.0, 0.0, turn)
        wren.keyframe_insert("location", frame=frame)
        wren.keyframe_insert("rotation_euler", frame=frame)
    assert slide_of(wren, "skin.hand.L", HAND) > 5e-3
    done = held(wren, phase())
    print(done)
    assert slide_of(wren, "skin.hand.L", HAND) <= SLIDE


def test_a_hand_goes_with_what_it_holds(wren: Any) -> None:
    import bpy
    from props import lantern

    prop = lantern("lantern")
    for frame, place in ((1, (0.3, -0.3, 1.1)), (HAND[0], (0.3, -0.3, 1.1)), (HAND[1], (0.25, -0.35, 1.0))):
        prop.location = place
        prop.keyframe_insert("location", frame=frame)
    record(wren, mover=prop)
    done = held(wren, phase(on="lantern"))
    print(done)
    frames = range(HAND[0], HAND[1] + 1)
    hand, offsets = world(wren, "skin.hand.L", frames), []
    for row, frame in enumerate(frames):
        bpy.context.scene.frame_set(frame)
        offsets.append((np.linalg.inv(np.array(prop.matrix_world)) @ hand[row])[:3, 3])
    assert np.linalg.norm(np.array(offsets) - offsets[0], axis=1).max() / LENGTH <= SLIDE
    assert np.linalg.norm(hand[-1, :3, 3] - hand[0, :3, 3]) > 0.05
    # Where it is let go the world has it again.
    bpy.context.scene.frame_set(LAST)
    carrier = subject_of(wren).record.bone("L", "hand_space")
    assert wren.pose.bones[carrier].constraints["lantern"].influence == 0.0


def test_a_hand_goes_with_the_other_hand(wren: Any) -> None:
    record(wren)
    done = held(wren, phase("L", on="R", frames=(20, 30)))
    frames = range(20, 31)
    left, right = world(wren, "skin.hand.L", frames), world(wren, "skin.hand.R", frames)
    offsets = (np.linalg.inv(right) @ left)[:, :3, 3]
    assert np.linalg.norm(offsets - offsets[0], axis=1).max() / LENGTH <= SLIDE
    assert done.slide <= SLIDE


def test_hand_and_elbow_of_one_arm_are_held_at_once(wren: Any) -> None:
    record(wren)
    done = held(wren, phase("R", "elbow", frames=ELBOW), phase("R", "hand", frames=(25, 35)))
    print(done)
    assert slide_of(wren, "skin.hand.R", (25, 35)) <= SLIDE
    assert slide_of(wren, "skin.forearm.R", ELBOW) <= SLIDE


def test_phases_that_follow_at_once_are_each_held_at_their_own_place(wren: Any) -> None:
    record(wren)
    held(wren, phase(frames=(15, 24)), phase(frames=(25, 38)))
    assert slide_of(wren, "skin.hand.L", (15, 24)) <= SLIDE
    assert slide_of(wren, "skin.hand.L", (25, 38)) <= SLIDE
    assert slide_of(wren, "skin.hand.L", (15, 38)) > 1e-4


def test_an_arm_that_is_held_in_the_torso_by_now_is_held_in_the_world(wren: Any) -> None:
    import bpy
    from props import switched

    from armwright.addon import spaces

    record(wren)
    bpy.context.scene.frame_set(1)
    subject = subject_of(wren)
    switched(wren, "hand")
    spaces.set_space(subject, "L", "hand", spaces.space_named(subject, "L", "hand", "torso"), keyed=True)
    done = held(wren, phase())
    print(done)
    assert slide_of(wren, "skin.hand.L", HAND) <= SLIDE


def test_what_is_posed_and_not_keyed_and_the_frame_stay(wren: Any) -> None:
    import bpy

    record(wren)
    bpy.context.scene.frame_set(50)
    wren.pose.bones["head"].rotation_mode = "XYZ"
    wren.pose.bones["head"].rotation_euler = (0.2, 0.3, 0.1)
    held(wren, phase())
    assert bpy.context.scene.frame_current == 50
    assert tuple(wren.pose.bones["head"].rotation_euler) == pytest.approx((0.2, 0.3, 0.1))
    before = np.array(wren.pose.bones["skin.hand.L"].matrix)
    bpy.context.scene.frame_set(50)
    assert np.abs(np.array(wren.pose.bones["skin.hand.L"].matrix) - before).max() < 1e-6


@pytest.mark.parametrize("at", [1, 2, 3])
def test_a_failure_half_way_leaves_the_file_as_it_was(wren: Any, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    from deep_snapshot import deep_snapshot, differences
    from props import lantern

    from armwright.addon.convert_write import Journal

    lantern("lantern")
    record(wren)
    before, keys = deep_snapshot(), every_key(wren)
    calls: list[int] = []
    written = Journal.write

    def write(self: Any, *arguments: Any) -> int:
        calls.append(1)
        done = written(self, *arguments)
        if len(calls) == at:
            raise RuntimeError("the host would not")
        return done

    monkeypatch.setattr(Journal, "write", write)
    with pytest.raises(RuntimeError, match="would not"):
        held(wren, phase(on="lantern"), phase("R", "elbow", frames=ELBOW))
    assert len(calls) == at
    assert differences(before, deep_snapshot()) == []
    assert every_key(wren) == keys


# Where something else may fail: each function that holding calls, and the call of it that does.
STAGES = [
    ("spaces.ensure_space", 1),
    ("spaces.ensure_space", 2),
    ("spaces.influence", 1),
    ("keys.check_free", 1),
    ("keys.check_free", 2),
    ("keys.check_free", 4),
    ("held_settings", 1),
    ("held_settings", 2),
    ("tracks_where_changing", 1),
    ("tracks_where_changing", 2),
    ("arm_state.check_carried", 1),
    ("arm_state.check_carried", 4),
    ("convert_read.joints", 1),
    ("convert_read.gaps", 2),
    ("_measured", 1),
]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt])
@pytest.mark.parametrize(("name", "at"), STAGES)
def test_a_failure_at_any_stage_leaves_the_file_as_it_was(
    wren: Any, monkeypatch: pytest.MonkeyPatch, name: str, at: int, error: type[BaseException]
) -> None:
    import importlib

    from deep_snapshot import deep_snapshot, differences
    from props import lantern

    lantern("lantern")
    lantern("rope")
    record(wren)
    before, keys, stacks = deep_snapshot(), every_key(wren), constraints(wren)
    owner: Any = importlib.import_module("armwright.addon.hold_phases")
    *path, last = name.split(".")
    for part in path:
        owner = getattr(owner, part)
    real, calls = getattr(owner, last), []

    def failing(*arguments: Any, **options: Any) -> Any:
        calls.append(1)
        out = real(*arguments, **options)
        if len(calls) == at:
            # After its work was done: what it left behind has to go as well.
            raise error("the host would not")
        return out

    monkeypatch.setattr(owner, last, failing)
    with pytest.raises(error, match="would not"):
        held(wren, phase(on="lantern"), phase("R", "elbow", on="rope", frames=ELBOW))
    monkeypatch.undo()
    assert len(calls) == at
    assert differences(before, deep_snapshot()) == []
    assert every_key(wren) == keys
    assert constraints(wren) == stacks
    # And it can be done afterwards.
    assert held(wren, phase(on="lantern"), phase("R", "elbow", on="rope", frames=ELBOW)).phases == 2


def constraints(armature: Any) -> dict[str, list[tuple[str, float]]]:
    return {bone.name: [(item.name, item.influence) for item in bone.constraints] for bone in armature.pose.bones}


def test_one_undo_takes_a_hold_back_and_one_redo_brings_it_again(wren: Any) -> None:
    import bpy
    from keepers import activate
    from shots import character

    import armwright
    from armwright.addon import study_list
    from armwright.addon.study_action import motion_of_action
    from armwright.core.study.study import study

    record(wren)
    motion = motion_of_action(wren)
    armwright.register()
    try:
        activate(wren, "POSE")
        bpy.context.scene.frame_set(9)
        state = bpy.context.window_manager.armwright_study
        study_list.fill(state, wren.name, study(motion), 0)
        for line in state.phases:
            line.ticked = line.kind == "hand-planted" and line.arm == "L"
        bpy.ops.ed.undo_push(message="recorded")
        keys, stacks = every_key(wren), constraints(wren)
        assert bpy.ops.armwright.hold_phases("EXEC_DEFAULT", True) == {"FINISHED"}
        done = every_key(wren)
        assert done != keys
        assert bpy.ops.ed.undo() == {"FINISHED"}
        assert every_key(character()) == keys
        assert constraints(character()) == stacks
        assert bpy.ops.ed.redo() == {"FINISHED"}
        assert every_key(character()) == done
    finally:
        armwright.unregister()


def test_stopping_anywhere_leaves_the_file_as_it_was(wren: Any) -> None:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.hold_phases import hold_phases

    record(wren)
    before, keys = deep_snapshot(), every_key(wren)
    for steps in (1, 40, 75, 10_000):
        work = hold_phases(subject_of(wren), [phase(), phase("R", "elbow", frames=ELBOW)])
        for count, step in enumerate(work):
            if count == steps or step.done == step.total - 1:
                break
        work.close()
        assert differences(before, deep_snapshot()) == []
        assert every_key(wren) == keys


def test_what_can_not_be_held_is_refused_in_a_sentence(wren: Any) -> None:
    from refusals import refused

    refused(lambda: held(wren, phase()), "no keyframes")
    record(wren)
    refused(lambda: held(wren), "no phase is ticked")
    refused(lambda: held(wren, phase("upper.L")), "has no arm")
    refused(lambda: held(wren, phase(on="oar")), "'oar' is not in this scene")
    refused(lambda: held(wren, phase(on="R"), phase("R", on="L")), "untick one of the two")
    refused(lambda: held(wren, phase(), phase(frames=(30, 50))), "overlaps it")
    refused(lambda: held(wren, phase(frames=(30, 30))), "nothing to hold")
