"""The skin bones in the host against the reference solver, over random settings, for 1 to 6 bones a segment.

What the draw keeps away from besides host_agreement.py's sets is in docs/arm.md: a swing of half a turn has no roll,
and a roll within a degree of half a turn may come out on either side of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEED = 20250114
POSES = 700
POSITION_LIMIT = 5e-6  # arm lengths
ANGLE_LIMIT = 5e-3  # degrees
SIZE_LIMIT = 1e-5
# At 10 degrees from the opposite direction a rounding is magnified by 1 / sin(5 degrees), 11 times.
OPPOSITE_MARGIN = np.radians(10.0)
HALF_TURN_MARGIN = np.radians(1.0)


def asymmetric(count: int) -> Any:
    """Arms of different lengths and bends on a torso of their own, with `count` skin bones a segment."""
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.guide import ArmGuide, Guide
    from armwright.core.options import ArmOptions
    from armwright.core.stature import guide_from_stature

    whole = guide_from_stature(1.7, "Wren")
    right = ArmGuide(
        "R",
        (-0.04, 0.01, 1.42),
        (-0.24, 0.03, 1.38),
        (-0.41, 0.09, 1.21),
        (-0.46, -0.08, 1.02),
        (-0.47, -0.19, 0.98),
        (0.3, -0.2, -0.9),
        (0.0, 1.0, 0.0),
    )
    guide = Guide(whole.name, (whole.arms[0], right), whole.torso, whole.up, whole.front)
    return build_new(plan_arms(guide, ArmOptions(twist_bones=count)), "Wren")


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_skin_bones_agree_with_the_solver_on_random_settings(empty_file: Any, count: int) -> None:
    from dataclasses import replace

    import host_agreement

    from armwright.addon import rig, sample
    from armwright.core.options import ArmOptions
    from armwright.core.rotations import angle_between
    from armwright.core.solve.arm import solve
    from armwright.core.solve.plant import hold_for
    from armwright.core.solve.twist import skin_poses

    rng = np.random.default_rng(SEED + count)
    print("seed", SEED + count)
    armature = asymmetric(count)
    record = rig.read_record(armature)
    options = ArmOptions(twist_bones=count)
    up = np.array([0.0, 0.0, 1.0])
    geometries = {arm: sample.geometry(armature, record, arm, options, up) for arm in record.arms}
    rest = geometries["L"].torso
    turns = host_agreement._random_rotations(rng, POSES, 1.2) @ rest[:3, :3]
    torso = host_agreement._frames(turns, rng.uniform(-0.4, 0.4, (POSES, 3)) + rest[:3, 3])
    root = np.tile(np.eye(4), (POSES, 1, 1))
    settings = {arm: host_agreement.draw(rng, geometry, torso, root) for arm, geometry in geometries.items()}
    tracks = host_agreement.tracks_of(armature, record, torso, root, settings)
    names = sample.sampled_bones(record, record.arms)
    with sample.borrowed(armature) as stage:
        sampled = sample.step(stage, tracks, [*names, *(f"aux.hand_goal.{arm}" for arm in record.arms)])
    samples = sample.arm_samples(record, record.arms, sampled.poses)
    for index, (arm, drawn) in enumerate(settings.items()):
        got, geometry = samples[arm], geometries[arm]
        value = replace(
            drawn,
            torso=got.torso,
            root=got.root,
            hand_hold=got.hand_hold,
            elbow_hold=got.elbow_hold,
            aim=got.elbow_aim[:, :3, 3],
        )
        # Where a rolling hand is to be, as the host has it: host_agreement.py compares that by itself.
        value = replace(value, hand_hold=hold_for(geometry, value, sampled.poses[:, len(names) + index]))
        good = host_agreement._keeps_away(geometry, drawn)
        length = geometry.upper_length + geometry.forearm_length
        wanted = skin_poses(geometry, solve(geometry, value))
        for segment, want, found in zip(("upper", "fore"), wanted, (got.upper_skin, got.forearm_skin), strict=True):
            assert found.shape == (POSES, count, 4, 4)
            mask = good & (want.swing < np.pi - OPPOSITE_MARGIN) & (np.abs(want.roll) < np.pi - HALF_TURN_MARGIN)
            assert mask.sum() > 0.6 * POSES
            assert np.abs(want.roll[mask]).max() > np.radians(150.0)
            size = np.linalg.norm(found[..., :3, :3], axis=-2)
            angle = np.degrees(angle_between(want.orientation, found[..., :3, :3] / size[..., None, :]))
            place = np.linalg.norm(want.place - found[..., :3, 3], axis=-1) / length
            scale = np.stack([want.width, want.factor, want.width], axis=-1)[:, None]
            stretch = np.abs(size / scale - 1.0).max(axis=-1)
            print(
                f"{count} bones, {arm} {segment}: turn {angle[mask].max():.2e} deg, place {place[mask].max():.2e} L, "
                f"size {stretch[mask].max():.2e} in {mask.sum()} poses"
            )
            assert angle[mask].max() < ANGLE_LIMIT
            assert place[mask].max() < POSITION_LIMIT
            assert stretch[mask].max() < SIZE_LIMIT
