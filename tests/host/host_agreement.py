"""The heart of the suite: the host's evaluated bones against the reference solver, over random settings and poses.

Two ways to one answer that share no code: the rig is a plan of constraints and drivers, the solver is numpy. The draw
keeps
the distances from the singular sets of docs/arm.md that `_keeps_away` states, because there both answers are right and
arbitrarily far apart; `test_next_to_the_straight_arm` looks at the one that animators meet.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

SEED = 20240611
POSES = 3000
POSITION_LIMIT = 5e-6  # arm lengths
ANGLE_LIMIT = 5e-3  # degrees
GOAL_LIMIT = 2e-6  # arm lengths: what a held point may slide by
# Below this angle the host interpolates orientations linearly (docs/arm.md, "What the host rounds").
LINEAR_BELOW = np.radians(1.62)


def _random_rotations(rng: np.random.Generator, count: int, largest: float) -> np.ndarray:
    from armwright.core.rotations import quat_to_matrix, unit

    axis = unit(rng.normal(size=(count, 3)))
    angle = rng.uniform(0.0, largest, count) / 2.0
    return quat_to_matrix(np.concatenate([np.cos(angle)[:, None], np.sin(angle)[:, None] * axis], -1))


def _frames(rotation: np.ndarray, at: np.ndarray) -> np.ndarray:
    out = np.tile(np.eye(4), (len(rotation), 1, 1))
    out[:, :3, :3], out[:, :3, 3] = rotation, at
    return out


def _dial(rng: np.random.Generator, count: int, low: float = 0.0, high: float = 1.0) -> np.ndarray:
    """A third at each end of the range, the rest between."""
    value = rng.uniform(low, high, count)
    value = np.where(rng.uniform(size=count) < 1 / 3, low, np.where(rng.uniform(size=count) < 0.5, high, value))
    return value.astype(np.float32).astype(float)


def draw(rng: np.random.Generator, geometry: Any, torso: np.ndarray, root: np.ndarray) -> Any:
    """Random settings (N poses) of an arm on given torso and root poses; holds in and out of reach."""
    from armwright.core.rotations import unit
    from armwright.core.solve.settings import ArmSettings

    count = len(torso)

    def single(values: np.ndarray) -> np.ndarray:
        return values.astype(np.float32).astype(float)

    length = geometry.upper_length + geometry.forearm_length
    local = np.linalg.inv(geometry.torso) @ geometry.upper_arm
    near_shoulder = (torso @ local)[:, :3, 3]

    def around(low: float, high: float) -> np.ndarray:
        return near_shoulder + unit(rng.normal(size=(count, 3))) * (rng.uniform(low, high, count) * length)[:, None]

    hand = around(0.1, 1.6)
    return ArmSettings(
        torso=torso,
        root=root,
        clavicle=single(rng.uniform(-0.5, 0.5, (count, 3))),
        upper_arm=single(rng.uniform(-2.5, 2.5, (count, 3))),
        forearm=single(rng.uniform(-1.5, 2.5, (count, 3))),
        hand=single(rng.uniform(-1.5, 1.5, (count, 3))),
        hand_hold=_frames(_random_rotations(rng, count, np.pi), hand),
        elbow_hold=_frames(_random_rotations(rng, count, np.pi), around(0.1, 1.4)),
        aim=around(0.5, 1.5),
        ik=_dial(rng, count),
        elbow=_dial(rng, count),
        isolate=_dial(rng, count),
        lift=_dial(rng, count),
        stretch=_dial(rng, count),
        soft=_dial(rng, count),
        volume=_dial(rng, count),
        upper_length=_dial(rng, count, 0.6, 1.5),
        forearm_length=_dial(rng, count, 0.6, 1.5),
        upper_roll=single(rng.uniform(-np.pi, np.pi, count)),
        hand_roll=_dial(rng, count, -np.pi / 2.0, np.pi),
        hand_side=_dial(rng, count, -np.pi / 2.0, np.pi / 2.0),
        hand_spin=_dial(rng, count, -np.pi, np.pi),
        finger_bend=_dial(rng, count, 0.0, np.pi / 2.0),
    )


def _keeps_away(geometry: Any, settings: Any) -> np.ndarray:
    """Which poses keep away from the singular sets: directions by 10 degrees, lengths by 2 % of the arm's (elbow to
    hand: 10 %; straight arm: 0.1 %).

    At 10 degrees a rounding in single precision is magnified six times, which leaves the limit its meaning.
    """
    from armwright.core.rotations import angle_between, unit
    from armwright.core.solve import arm as reference
    from armwright.core.solve.plant import hand_goal

    pose, parts = reference.solve_parts(geometry, settings)
    s = settings
    length = geometry.upper_length + geometry.forearm_length
    shoulder0 = (s.torso @ np.linalg.inv(geometry.torso) @ geometry.upper_arm)[:, :3, 3]
    good = np.ones(len(s.ik), bool)
    margin = np.radians(10.0)

    def apart(first: np.ndarray, second: np.ndarray) -> np.ndarray:
        return np.sin(margin) < np.linalg.norm(np.cross(unit(first), unit(second)), axis=1)

    def not_opposite(first: np.ndarray, second: np.ndarray) -> np.ndarray:
        return np.sum(unit(first) * unit(second), axis=1) > -np.cos(margin)

    def blendable(first: np.ndarray, second: np.ndarray, dial: np.ndarray) -> np.ndarray:
        angle = angle_between(first, second)
        return (dial == 0.0) | (dial == 1.0) | ((angle < np.pi - margin) & (angle > LINEAR_BELOW))

    goal = hand_goal(geometry, s)
    hand, elbow = goal[:, :3, 3], s.elbow_hold[:, :3, 3]
    for point in (shoulder0, pose.shoulder):
        good &= np.linalg.norm(hand - point, axis=1) > 0.02 * length
        good &= np.linalg.norm(elbow - point, axis=1) > 0.02 * length
        good &= apart(hand - point, s.aim - point)
    # Isolation is blended in the armature's axes, where the host's linear interpolation does no harm.
    ends = (s.isolate == 0.0) | (s.isolate == 1.0)
    good &= ends | (angle_between(parts.carried, parts.level) < np.pi - margin)
    good &= blendable(parts.elevation_fk, parts.elevation_ik, s.ik)
    good &= blendable(parts.fk_upper, parts.ik_upper, s.ik)
    good &= blendable(parts.fk_upper, s.elbow_hold[:, :3, :3], s.elbow)
    good &= blendable(parts.fk_forearm, parts.ik_forearm, s.ik)
    good &= blendable(parts.fk_hand, goal[:, :3, :3], s.ik)
    held = s.elbow > 0.0
    held_partly = held & (s.elbow < 1.0)
    for frame, point in (
        (parts.elevation, shoulder0),
        (parts.free_upper, pose.shoulder),
        (parts.ik_upper, pose.shoulder),
    ):
        good &= ~held | not_opposite(frame[:, :, 1], elbow - point)
        good &= ~held_partly | (np.sum(unit(frame[:, :, 1]) * unit(elbow - point), axis=1) < np.cos(LINEAR_BELOW))
    good &= not_opposite(parts.held_ik_upper[:, :, 1], hand - parts.ik_elbow)
    # The forearm aims at the hand hold from there: a rounding of 1e-7 m turns it by 1e-7 over this distance.
    good &= np.linalg.norm(hand - parts.ik_elbow, axis=1) > 0.1 * length
    straight = geometry.upper_length * s.upper_length + geometry.forearm_length * s.forearm_length
    shell = np.abs(np.linalg.norm(hand - pose.shoulder, axis=1) / straight - 1.0) < 1e-3
    good &= ~(shell & (s.soft < 0.05))
    return good


@pytest.mark.parametrize("with_root", [True, False], ids=["root", "no-root"])
def test_host_and_solver_agree_on_random_settings(empty_file: Any, with_root: bool) -> None:
    rng = np.random.default_rng(SEED + with_root)
    print("seed", SEED + with_root)
    compare(rng, POSES // 2 if not with_root else POSES, with_root)


def tracks_of(armature: Any, record: Any, torso: np.ndarray, root: np.ndarray, settings: dict[str, Any]) -> Any:
    """Everything to set for the settings of each arm."""
    from armwright.core.tracks import DialTrack, EulerTrack, PoseTrack, Tracks

    count = len(torso)
    poses = [PoseTrack(record.root, root)] if record.root else []
    poses.append(PoseTrack(record.torso, torso))
    angles, dials = [], []
    for arm, value in settings.items():
        aim = np.tile(np.array(armature.data.bones[record.bone(arm, "elbow_aim")].matrix_local), (count, 1, 1))
        aim[:, :3, 3] = value.aim
        poses += [
            PoseTrack(record.bone(arm, "hand_hold"), value.hand_hold),
            PoseTrack(record.bone(arm, "elbow_hold"), value.elbow_hold),
            PoseTrack(record.bone(arm, "elbow_aim"), aim),
        ]
        for role in ("clavicle", "upper_arm", "forearm", "hand"):
            angles.append(EulerTrack(record.bone(arm, f"fk_{role}"), getattr(value, role)))
        lengths = ("upper_length", "forearm_length")
        planted = ("hand_roll", "hand_side", "hand_spin", "finger_bend")
        for key in ("ik", "isolate", "lift", "stretch", "soft", "volume", *lengths, "upper_roll", *planted):
            dials.append(DialTrack(record.bone(arm, "dials"), key, getattr(value, key)))
        dials.append(DialTrack(record.bone(arm, "dials"), "elbow_hold", value.elbow))
    return Tracks(count, tuple(poses), tuple(angles), tuple(dials))


def compare(rng: np.random.Generator, count: int, with_root: bool) -> None:
    from characters import wren_on_own_armature, wren_on_torso

    agree(wren_on_own_armature() if with_root else wren_on_torso(), rng, count)


def agree(armature: Any, rng: np.random.Generator, count: int) -> None:
    """Random settings on every arm of a rig, in the host and in the solver."""
    from armwright.addon import rig, sample
    from armwright.core.options import ArmOptions
    from armwright.core.rotations import angle_between
    from armwright.core.solve.arm import solve
    from armwright.core.solve.plant import finger_base, hand_goal, hold_for

    record = rig.read_record(armature)
    up = np.array([0.0, 0.0, 1.0])
    geometries = {arm: sample.geometry(armature, record, arm, ArmOptions(), up) for arm in record.arms}
    first = geometries[record.arms[0]]
    torso_rest = first.torso
    torso = _frames(_random_rotations(rng, count, 1.2), rng.uniform(-0.4, 0.4, (count, 3)))
    torso[:, :3, :3] = torso[:, :3, :3] @ torso_rest[:3, :3]
    torso[:, :3, 3] += torso_rest[:3, 3]
    root = np.tile(np.eye(4), (count, 1, 1))
    if record.root:
        root = _frames(_random_rotations(rng, count, 1.0), rng.uniform(-0.4, 0.4, (count, 3))) @ first.root
    settings = {arm: draw(rng, geometry, torso, root) for arm, geometry in geometries.items()}
    good = {arm: _keeps_away(geometries[arm], settings[arm]) for arm in record.arms}
    for arm, mask in good.items():
        print(f"{arm}: {mask.sum()} of {count} poses keep away from the singular sets")
        assert mask.sum() > 0.7 * count
    tracks = tracks_of(armature, record, torso, root, settings)
    names = sample.sampled_bones(record, record.arms)
    goals = [f"aux.hand_goal.{arm}" for arm in record.arms]
    with sample.borrowed(armature) as stage:
        sampled = sample.step(stage, tracks, [*names, *goals])
    print(f"{count / sampled.seconds:.0f} frames a second")
    samples = sample.arm_samples(record, record.arms, sampled.poses)
    worst: dict[str, float] = {}

    def note(name: str, error: np.ndarray) -> None:
        worst[name] = float(error.max())
        print(f"{name:20s} worst {error.max():.2e} median {np.median(error):.2e}")

    for arm, drawn in settings.items():
        got = samples[arm]
        # Both sides get the controls as the host holds them, in single precision; everything after that is compared.
        value = replace(
            drawn,
            torso=got.torso,
            root=got.root,
            hand_hold=got.hand_hold,
            elbow_hold=got.elbow_hold,
            aim=got.elbow_aim[:, :3, 3],
        )
        # What a planted hand reaches for is the first thing that is reckoned from them.
        goal = sampled.poses[:, len(names) + record.arms.index(arm)]
        length = geometries[arm].upper_length + geometries[arm].forearm_length
        wanted = hand_goal(geometries[arm], value)
        note(f"{arm} goal", np.linalg.norm(wanted[:, :3, 3] - goal[:, :3, 3], axis=1) / length)
        note(f"{arm} goal turn", np.degrees(angle_between(wanted[:, :3, :3], goal[:, :3, :3])))
        # It is rounded anew, and the arm next to a singular set magnifies that like any rounding of a control: so both
        # sides get this one as the host holds it too.
        value = replace(value, hand_hold=hold_for(geometries[arm], value, goal))
        want, mask = solve(geometries[arm], value), good[arm]
        for name, wanted, found in (
            ("shoulder", want.shoulder, got.upper_arm),
            ("elbow", want.elbow, got.forearm),
            ("wrist", want.wrist, got.hand),
        ):
            error = np.linalg.norm(wanted - found[:, :3, 3], axis=1) / length
            note(f"{arm} {name}", error[mask])
        for name in ("clavicle", "upper_arm", "forearm", "hand"):
            error = np.degrees(angle_between(getattr(want, name), getattr(got, name)[:, :3, :3]))
            note(f"{arm} {name} turn", error[mask])
        # The fingers' carrier where the evaluated hand has it: its own place, and nothing of the arm's.
        wanted = finger_base(geometries[arm], value, got.hand)
        error = np.linalg.norm(wanted[:, :3, 3] - got.fingers[:, :3, 3], axis=1) / length
        note(f"{arm} fingers", error)
        note(f"{arm} fingers turn", np.degrees(angle_between(wanted[:, :3, :3], got.fingers[:, :3, :3])))
        for name, factor, width, found in (
            ("upper", want.upper_factor, want.upper_width, got.skin_upper_arm),
            ("fore", want.forearm_factor, want.forearm_width, got.skin_forearm),
        ):
            size = np.linalg.norm(found[:, :3, :3], axis=1)
            error = np.abs(size / np.stack([width, factor, width], 1) - 1.0).max(axis=1)
            note(f"{arm} {name} size", error[mask])
    for name, error in worst.items():
        if name.endswith("goal"):
            assert error < GOAL_LIMIT, (name, error)
        limit = ANGLE_LIMIT if name.endswith("turn") else 1e-5 if name.endswith("size") else POSITION_LIMIT
        assert error < limit, (name, error)
