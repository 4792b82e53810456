"""Fingers: the host's evaluated bones against the reference, for any hand, over random channels, dials and holds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEED = 41107
POSES = 400
POSITION_LIMIT = 1e-6  # arm lengths; design, section 3, asks for 5e-6
ANGLE_LIMIT = 1e-3  # degrees; design asks for 5e-3


@pytest.mark.parametrize("hand", ["five", "two", "one_bone", "six_of_four", "thumb_only", "unlike", "claw"])
def test_host_and_reference_agree_on_random_channels_and_dials(empty_file: Any, hand: str) -> None:
    from hands import arm_length, build_hand, draw_fingers

    from armwright.addon import rig, sample, sample_fingers
    from armwright.core.rotations import angle_between, euler_to_matrix
    from armwright.core.solve.fingers import solve_fingers
    from armwright.core.tracks import DialTrack, EulerTrack, PoseTrack, Tracks

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    armature = build_hand(hand)
    record = rig.read_record(armature)
    geometries = {arm: sample_fingers.finger_geometry(armature, record, arm) for arm in record.arms}
    drawn = {arm: draw_fingers(rng, geometry, POSES) for arm, geometry in geometries.items() if geometry}
    poses, angles, dials, read = [], [], [], []
    for arm, settings in drawn.items():
        some_angles, some_dials = sample_fingers.finger_tracks(record, arm, geometries[arm], settings)
        angles += some_angles
        dials += some_dials
        for role in ("clavicle", "upper_arm", "forearm", "hand"):
            angles.append(EulerTrack(record.bone(arm, f"fk_{role}"), rng.uniform(-1.2, 1.2, (POSES, 3))))
        # A third of the poses each at the ends of the blend and in between.
        dials.append(DialTrack(record.bone(arm, "dials"), "ik", np.clip(rng.uniform(-1.0, 2.0, POSES), 0.0, 1.0)))
        hold = np.tile(np.array(armature.data.bones[record.bone(arm, "hand_hold")].matrix_local), (POSES, 1, 1))
        hold[:, :3, :3] = euler_to_matrix(rng.uniform(-3.0, 3.0, (POSES, 3)), "XYZ")
        hold[:, :3, 3] += rng.uniform(-0.3, 0.3, (POSES, 3))
        poses.append(PoseTrack(record.bone(arm, "hand_hold"), hold))
        read += [record.bone(arm, "hand"), *sample_fingers.all_skin_bones(record, arm, geometries[arm])]
    with sample.borrowed(armature) as stage:
        sampled = sample.step(stage, Tracks(POSES, tuple(poses), tuple(angles), tuple(dials)), read).poses
    for arm, settings in drawn.items():
        geometry = geometries[arm]
        count = sum(len(finger.frames) for finger in geometry.fingers)
        hand_pose, own, sampled = sampled[:, 0], sampled[:, 1 : count + 1], sampled[:, count + 1 :]
        wanted = solve_fingers(geometry, hand_pose, np.zeros(POSES), settings)
        length = arm_length(armature, record, arm)
        for name, found in sample_fingers.sorted_by_finger(geometry, own).items():
            gap = np.linalg.norm(wanted[name][..., :3, 3] - found[..., :3, 3], axis=-1).max() / length
            angle = np.degrees(angle_between(wanted[name][..., :3, :3], found[..., :3, :3])).max()
            print(f"{arm} {name:8s} {gap:.2e} L {angle:.2e} degrees")
            assert gap < POSITION_LIMIT
            assert angle < ANGLE_LIMIT
