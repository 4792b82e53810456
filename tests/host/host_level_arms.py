"""Arms held level: the hinge axis is then vertical, where Euler angles are singular in the host's own axes.

A rig that passes orientations on by Euler angles (as the host's Copy Rotation does) is off there by a rounding over the
cosine of the middle angle: by hundredths of a degree for a torso that has turned by a thousandth of a degree.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEED = 77
TURNS = (1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1)
POSES = 40


def _level_armature() -> Any:
    """Straight arms to the sides, bending forwards, on a torso of their own."""
    from armwright.addon.build import build_new
    from armwright.core.arm.build import plan_arms
    from armwright.core.guide import ArmGuide, Guide, TorsoGuide, mirrored
    from armwright.core.options import ArmOptions

    left = ArmGuide(
        "L",
        (0.03, 0.0, 1.4),
        (0.2, 0.0, 1.4),
        (0.5, 0.0, 1.4),
        (0.75, 0.0, 1.4),
        (0.9, 0.0, 1.4),
        (0.0, 0.0, -1.0),
        (0.0, 1.0, 0.0),
    )
    torso = TorsoGuide((0.0, 0.0, 0.0), ((0.0, 0.0, 0.9), (0.0, 0.0, 1.15), (0.0, 0.0, 1.45)), (0.0, 0.0, 1.7))
    return build_new(plan_arms(Guide("Wren", (left, mirrored(left)), torso), ArmOptions()), "Wren")


@pytest.mark.parametrize("mode", ["none", "hand", "elbow", "both"])
def test_level_arms_agree_with_the_solver_under_the_smallest_torso_turns(empty_file: Any, mode: str) -> None:
    from armwright.addon import prove_runs, sample, subjects
    from armwright.core.motion.clip import make_clip
    from armwright.core.proof.cases import Case
    from armwright.core.proof.run_plan import RunSpec
    from armwright.core.rotations import angle_between, quat_to_matrix, unit
    from armwright.core.solve.arm import solve
    from armwright.core.tracks import Tracks

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    armature = _level_armature()
    subject = subjects.subject_of(armature)
    count = POSES * len(TURNS)
    axis = unit(rng.normal(size=(count, 3)))
    half = 0.5 * np.repeat(TURNS, POSES)
    turn = quat_to_matrix(np.concatenate([np.cos(half)[:, None], np.sin(half)[:, None] * axis], -1))
    clip = make_clip("small", count, torso=turn[:, None])
    spec = RunSpec("small", clip, Case(mode, 0.0, 0.0, 0.0), requirements=())
    tracks, settings = prove_runs.tracks_of(subject, spec)
    # Everything at rest but the torso: the FK channels too.
    still = {arm: _at_rest(value, subject.geometries[arm]) for arm, value in settings.items()}
    torso_tracks, _, _ = prove_runs.torso_motion(subject, clip)
    tracks = Tracks(
        count,
        (
            *torso_tracks,
            *(item for arm, value in still.items() for item in prove_runs.hold_tracks(subject, arm, value)),
        ),
        tuple(item for arm, value in still.items() for item in prove_runs.channel_tracks(subject, arm, value)),
        tuple(item for arm, value in still.items() for item in prove_runs.dial_tracks(subject, arm, value)),
    )
    with sample.borrowed(armature) as stage:
        sampled = sample.step(stage, tracks, sample.sampled_bones(subject.record, subject.arms))
    samples = sample.arm_samples(subject.record, subject.arms, sampled.poses)
    for arm, value in still.items():
        found = samples[arm]
        wanted = solve(subject.geometries[arm], _as_shown(value, found))
        length = subject.geometries[arm].upper_length + subject.geometries[arm].forearm_length
        slide = np.linalg.norm(found.wrist[:, :3, 3] - wanted.wrist, axis=1).max() / length
        drift = np.degrees(angle_between(found.hand[:, :3, :3], wanted.hand)).max()
        upper = np.degrees(angle_between(found.upper_arm[:, :3, :3], wanted.upper_arm)).max()
        print(f"{mode} {arm}: wrist {slide:.1e} L, hand {drift:.1e} deg, upper arm {upper:.1e} deg")
        assert slide < 2e-6
        assert drift < 1e-3
        assert upper < 1e-3


def _at_rest(settings: Any, geometry: Any) -> Any:
    from dataclasses import replace

    zero = np.zeros_like(settings.upper_arm)
    # The hand a little nearer than the straight arm's reach, so that the elbow is bent and well defined.
    hand = np.tile(geometry.hand, (len(zero), 1, 1))
    shoulder, wrist = geometry.upper_arm[:3, 3], geometry.hand[:3, 3]
    hand[:, :3, 3] = shoulder + 0.95 * (wrist - shoulder)
    elbow = np.tile(geometry.upper_arm, (len(zero), 1, 1))
    elbow[:, :3, 3] = geometry.forearm[:3, 3]
    if settings.ik[0] > 0.0 and settings.elbow[0] > 0.0:
        hand[:, :3, 3] = wrist
    return replace(settings, clavicle=zero, upper_arm=zero, forearm=zero, hand=zero, hand_hold=hand, elbow_hold=elbow)


def _as_shown(settings: Any, found: Any) -> Any:
    from dataclasses import replace

    return replace(
        settings,
        torso=found.torso,
        root=found.root,
        hand_hold=found.hand_hold,
        elbow_hold=found.elbow_hold,
        aim=found.elbow_aim[:, :3, 3],
    )
