"""What an action holds besides motion: calibration poses in front, hands that are scaled away, frames of the scene."""

from __future__ import annotations

from typing import Any

import numpy as np
from deep_snapshot import deep_snapshot, differences
from foreign_hands import about, key_turn, t_posed
from refusals import refused
from study_recordings import record

# Frames of calibration in front, and frames of the whole clip.
POSED, LAST = 8, 60


def read(armature: Any, **other: Any) -> Any:
    from armwright.addon.study_action import motion_of_action

    return motion_of_action(armature, **other)


def swinging(armature: Any, first: int, last: int) -> None:
    """Arms hang and swing, elbows bent, a key on each frame."""
    for frame in range(first, last + 1):
        swing = 25.0 * np.sin(0.25 * (frame - first))
        for side, out in (("L", 1.0), ("R", -1.0)):
            key_turn(armature, f"humerus.{side}", frame, about("X", swing) @ about("Y", out * 70.0))
            key_turn(armature, f"ulna.{side}", frame, about("Z", -out * 50.0))


def rested(armature: Any, first: int, last: int) -> None:
    for frame in range(first, last + 1):
        for side in "LR":
            for bone in ("humerus", "ulna"):
                key_turn(armature, f"{bone}.{side}", frame, np.eye(3))


def hidden(armature: Any, first: int, last: int) -> None:
    """The left hand is scaled to nothing from frame `first` to `last`."""
    posed = armature.pose.bones["palm.L"]
    for frame in range(1, LAST + 1):
        posed.scale = (0.0,) * 3 if first <= frame <= last else (1.0,) * 3
        posed.keyframe_insert("scale", frame=frame)


def test_a_calibration_pose_in_front_is_left_out_and_said(empty_file: Any) -> None:
    armature = t_posed()
    rested(armature, 1, POSED)
    swinging(armature, POSED + 1, LAST)
    motion = read(armature)
    assert (motion.left_out, motion.frames) == (POSED, LAST - POSED)
    assert any(f"{POSED} frames of a calibration pose in front are left out" in note for note in motion.notes)
    # Elbows of a T-pose are straight; none is in the study.
    arm = motion.arms[0]
    across = np.cross(arm.elbow - arm.shoulder, arm.wrist - arm.elbow)
    assert np.linalg.norm(across, axis=1).min() > 0.01


def test_a_rest_pose_that_is_no_t_pose_is_left_out_where_it_stands(empty_file: Any) -> None:
    """Arms that hang by 40 degrees at rest: only the armature says that this is a rest pose."""
    from foreign_arms import bare_fk

    armature = bare_fk()
    for frame in range(1, LAST + 1):
        moved = 0.0 if frame <= POSED else 40.0 + 10.0 * np.sin(0.3 * frame)
        for side in "LR":
            key_turn(armature, f"humerus.{side}", frame, about("X", moved))
    motion = read(armature)
    assert (motion.left_out, motion.frames) == (POSED, LAST - POSED)


def test_a_motion_that_sets_out_from_rest_is_read_from_its_first_frame(empty_file: Any) -> None:
    from foreign_arms import bare_fk

    armature = bare_fk()
    for frame in range(1, LAST + 1):
        for side in "LR":
            key_turn(armature, f"humerus.{side}", frame, about("X", 30.0 * np.sin(0.1 * (frame - 1))))
    motion = read(armature)
    assert (motion.left_out, motion.frames) == (0, LAST)


def test_one_frame_of_rest_is_left_out_where_the_motion_jumps_off_it(empty_file: Any) -> None:
    from foreign_arms import bare_fk

    armature = bare_fk()
    for frame in range(1, LAST + 1):
        moved = 0.0 if frame == 1 else 35.0 + 10.0 * np.sin(0.2 * frame)
        for side in "LR":
            key_turn(armature, f"humerus.{side}", frame, about("X", moved))
    assert read(armature).left_out == 1


def test_a_hand_that_is_scaled_away_for_a_moment_is_bridged(empty_file: Any) -> None:
    armature = t_posed()
    swinging(armature, 1, LAST)
    whole = read(armature)
    hidden(armature, 20, 22)
    motion = read(armature)
    assert motion.frames == LAST
    assert any("3 frames without numbers are bridged" in note for note in motion.notes), motion.notes
    for arm, expected in zip(motion.arms, whole.arms, strict=True):
        assert np.abs(arm.wrist - expected.wrist).max() < 1e-5
        apart = np.degrees(np.arccos(np.clip((np.einsum("fij,fij->f", arm.hand, expected.hand) - 1) / 2, -1, 1)))
        assert np.delete(apart, [19, 20, 21]).max() < 1e-3
        # A bridge of four frames is off by an eighth of 16 times the arm's 25·0.25² degrees a frame² at most.
        assert apart.max() < 3.2


def test_a_hand_that_is_scaled_away_for_longer_is_refused_with_bone_and_frames(empty_file: Any) -> None:
    armature = t_posed()
    swinging(armature, 1, LAST)
    hidden(armature, 20, 40)
    said = refused(lambda: read(armature), "'palm.L' is scaled to nothing from frame 20 to 40")
    print(said)


def test_hands_without_orientation_may_be_scaled_away(empty_file: Any) -> None:
    """Joints are known whatever their size; only what the hand's turn tells is missing, and missing it is."""
    armature = t_posed(fingers=())
    swinging(armature, 1, LAST)
    hidden(armature, 20, 40)
    assert read(armature).frames == LAST


def test_phases_are_listed_in_the_scenes_frames_whatever_was_left_out(empty_file: Any, wren: Any) -> None:
    import bpy
    from keepers import activate

    import armwright
    from armwright.addon.convert_write import curve_bag

    record(wren, creep=0.0003)
    for curve in curve_bag(wren).fcurves:
        for point in curve.keyframe_points:
            point.co.x += 100.0
        # At rest in front.
        for frame in range(95, 101):
            curve.keyframe_points.insert(frame, 1.0 if "length" in curve.data_path else 0.0)
        curve.update()
    armwright.register()
    try:
        activate(wren)
        bpy.context.scene.frame_set(120)
        before = deep_snapshot()
        assert bpy.ops.armwright.run_study() == {"FINISHED"}
        assert differences(before, deep_snapshot()) == []
        state = bpy.context.window_manager.armwright_study
        print([(line.words, line.first, line.last) for line in state.phases], state.notes)
        (hand,) = [line for line in state.phases if (line.kind, line.arm) == ("hand-planted", "L")]
        assert abs(hand.first - 115) <= 2 and abs(hand.last - 138) <= 2
        assert min(line.first for line in state.phases) == 101
        assert "6 frames of a calibration pose in front are left out" in state.notes
    finally:
        armwright.unregister()


def test_a_clip_is_whole_where_nothing_is_wrong(empty_file: Any) -> None:
    armature = t_posed()
    swinging(armature, 1, LAST)
    motion = read(armature)
    assert (motion.left_out, motion.frames) == (0, LAST)
    assert [note for note in motion.notes if "left out" in note] == []
