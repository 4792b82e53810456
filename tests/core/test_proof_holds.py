"""Held points lie in reach of a moving shoulder, or out of it, the same each time, mirrored for the right arm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armwright.core.errors import ProofError
from armwright.core.motion.clip import make_clip
from armwright.core.options import ArmOptions
from armwright.core.proof.cases import Case
from armwright.core.proof.holds import BEYOND, COMFORTABLE, LEAST, Reach, far_place, near_place, room
from armwright.core.proof.run_plan import FAR, RunSpec, planned_runs, standard_motions
from armwright.core.proof.run_settings import settings_for
from armwright.core.proof.synthetic import guide_geometry, torso_poses
from armwright.core.rotations import axis_matrix
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry, ArmSettings
from armwright.core.stature import guide_from_stature

WREN = guide_from_stature(1.7, "Wren")
RUNS = planned_runs(standard_motions())
MIRROR = np.array([-1.0, 1.0, 1.0])


def set_up(spec: RunSpec, arm: str = "L", options: ArmOptions | None = None) -> tuple[ArmGeometry, ArmSettings]:
    geometry = guide_geometry(WREN, arm, options)
    torso = torso_poses(WREN, spec.clip, geometry.upper_length + geometry.forearm_length)
    return geometry, settings_for(spec, arm, geometry, torso, np.broadcast_to(np.eye(4), torso.shape))


def path(radius: float, frames: int = 40) -> np.ndarray:
    turn = np.linspace(0.0, 2.0 * np.pi, frames)
    return radius * np.stack([np.sin(turn), np.cos(turn), 0.3 * np.sin(2.0 * turn)], axis=1)


def reach_of(shoulder: np.ndarray, nearest: float, furthest: float, aim: np.ndarray | None = None) -> Reach:
    ones = np.ones(len(shoulder))
    return Reach(shoulder, np.zeros_like(shoulder), nearest * ones, furthest * ones, 1.0, aim)


def test_room_is_the_smallest_distance_from_either_end_of_the_reach() -> None:
    """Against a loop over places and frames."""
    rng = np.random.default_rng(5)
    shoulder, moves, places = rng.normal(size=(20, 3)), rng.normal(size=(20, 3)), rng.normal(size=(30, 3))
    nearest, furthest = rng.uniform(0.1, 0.3, 20), rng.uniform(1.0, 2.0, 20)
    found = room(Reach(shoulder, moves, nearest, furthest, 0.7), places)
    for place, value in zip(places, found, strict=True):
        away = [np.linalg.norm(place + move - at) for move, at in zip(moves, shoulder, strict=True)]
        wanted = min(min(far - low, high - far) for far, low, high in zip(away, nearest, furthest, strict=True))
        assert value == pytest.approx(wanted / 0.7, abs=1e-12)


def test_a_natural_place_with_room_is_taken_as_it_is() -> None:
    natural = np.array([0.0, -0.5, 0.0])
    assert np.array_equal(near_place(reach_of(path(0.1), 0.1, 1.0), natural, "hand"), natural)


def test_a_place_out_of_reach_is_moved_until_it_has_comfortable_room_and_no_further() -> None:
    reach = reach_of(path(0.2), 0.1, 1.0)
    natural = np.array([1.1, -0.2, 0.1])
    place = near_place(reach, natural, "hand")
    assert room(reach, place[None])[0] >= COMFORTABLE
    assert np.linalg.norm(place - natural) < 0.5
    assert np.array_equal(place, near_place(reach, natural, "hand"))


def test_a_place_keeps_off_the_line_to_the_aim() -> None:
    shoulder = path(0.05)
    aim = np.tile([0.0, -1.0, 0.0], (len(shoulder), 1))
    place = near_place(reach_of(shoulder, 0.1, 1.0, aim), np.array([0.0, -0.6, 0.0]), "hand")
    to_place, to_aim = place - shoulder, aim - shoulder
    sine = np.linalg.norm(np.cross(to_place, to_aim), axis=1)
    assert (sine / np.linalg.norm(to_place, axis=1) / np.linalg.norm(to_aim, axis=1) >= 0.2 - 1e-12).all()


def test_a_motion_that_no_place_can_follow_is_refused_with_the_distance() -> None:
    # Two opposite shoulders 3 apart: the best place is 1.5 from both, half an arm too far.
    shoulder = np.array([[-1.5, 0.0, 0.0], [1.5, 0.0, 0.0]])
    with pytest.raises(ProofError, match=r"the L hand hold: no place .* misses by 0\.5\d* m"):
        near_place(reach_of(shoulder, 0.1, 1.0), np.zeros(3), "the L hand hold")


def test_a_far_place_is_out_of_reach_by_the_share_asked_for_and_only_for_a_part() -> None:
    reach = reach_of(path(0.3), 0.1, 1.0)
    place = far_place(reach, np.array([0.2, -0.5, 0.3]))
    away = np.linalg.norm(place - reach.shoulder, axis=1)
    assert away.max() == pytest.approx(BEYOND, abs=1e-9)
    assert away.min() < 1.0


@pytest.mark.parametrize("arm", ["L", "R"])
@pytest.mark.parametrize("mode", ["hand", "elbow", "both"])
def test_the_reference_solver_reaches_every_hold_of_a_near_run_with_room(mode: str, arm: str) -> None:
    for spec in RUNS:
        if spec.case.mode != mode or spec.reach == FAR or spec.case.isolate or spec.raised is not None or spec.dials:
            continue
        geometry, settings = set_up(spec, arm)
        pose = solve(geometry, settings)
        size = geometry.upper_length + geometry.forearm_length
        if mode in ("elbow", "both"):
            away = np.linalg.norm(settings.elbow_hold[:, :3, 3] - pose.shoulder, axis=1) / geometry.upper_length
            assert (away > 0.5 + LEAST).all() and (away < 2.0 - LEAST).all(), spec.motion
            assert pose.elbow_missing.max() < 1e-12
        if mode == "hand":
            away = np.linalg.norm(settings.hand_hold[:, :3, 3] - pose.shoulder, axis=1) / size
            assert (away < 1.0 - LEAST).all(), spec.motion
        assert mode == "elbow" or pose.hand_missing.max() < 1e-12, spec.motion


@pytest.mark.parametrize(
    ("mode", "stretch", "name"), [("hand", 0.0, "hand"), ("elbow", 1.0, "elbow"), ("both", 0.0, "hand")]
)
def test_a_far_run_leaves_the_reach_for_a_part(mode: str, stretch: float, name: str) -> None:
    spec = next(item for item in RUNS if item.reach == FAR and (item.case.mode, item.case.stretch) == (mode, stretch))
    geometry, settings = set_up(spec)
    missing = getattr(solve(geometry, settings), f"{name}_missing")
    assert missing.max() > 0.02


def test_holds_keep_still_in_the_world_while_the_torso_moves_and_the_aim_travels_with_it() -> None:
    spec = next(item for item in RUNS if item.motion == "torso-wiggle" and item.case.mode == "both")
    _, settings = set_up(spec)
    for hold in (settings.hand_hold, settings.elbow_hold):
        assert np.abs(hold - hold[0]).max() < 1e-12
    local = np.linalg.solve(
        settings.torso, np.concatenate([settings.aim, np.ones((len(settings.aim), 1))], 1)[..., None]
    )
    assert np.ptp(settings.aim, axis=0).max() > 0.05
    assert np.abs(local - local[0]).max() < 1e-12


def test_without_stretch_the_hand_hold_stays_a_forearm_from_the_elbow_hold_while_both_move() -> None:
    for motion in ("hand-sweep", "elbow-sweep"):
        spec = next(item for item in RUNS if item.motion == motion and item.case == Case("both", 0.0, 0.0, 0.0))
        geometry, settings = set_up(spec)
        away = np.linalg.norm(settings.hand_hold[:, :3, 3] - settings.elbow_hold[:, :3, 3], axis=1)
        assert np.abs(away - geometry.forearm_length).max() < 1e-12
        assert np.ptp(settings.hand_hold[:, :3, 3], axis=0).max() > 0.05


@pytest.mark.parametrize("mode", ["hand", "elbow", "both"])
def test_the_right_arms_run_is_the_mirror_image_of_the_lefts(mode: str) -> None:
    for motion in ("hand-sweep", "elbow-sweep", "fk-sweep", "shrug"):
        spec = next(item for item in RUNS if item.motion == motion and item.case == Case(mode, 0.0, 1.0, 1.0))
        left, right = (solve(*set_up(spec, arm)) for arm in "LR")
        for joint in ("shoulder", "elbow", "wrist"):
            assert np.abs(getattr(left, joint) * MIRROR - getattr(right, joint)).max() < 1e-9, (motion, joint)


def test_a_character_that_faces_another_way_gets_the_same_run_turned() -> None:
    turn = np.eye(4)
    turn[:3, :3] = axis_matrix("Z", np.array(2.0))
    spec = next(item for item in RUNS if item.motion == "hand-sweep" and item.case == Case("both", 0.0, 1.0, 1.0))
    geometry, settings = set_up(spec)
    rests = {
        name: turn @ getattr(geometry, name) for name in ("torso", "root", "clavicle", "upper_arm", "forearm", "hand")
    }
    facing = turn[:3, :3]
    other = settings_for(spec, "L", replace(geometry, **rests), turn @ settings.torso, turn @ settings.root, facing)
    assert np.abs(other.hand_hold - turn @ settings.hand_hold).max() < 1e-9
    assert np.abs(other.aim - settings.aim @ facing.T).max() < 1e-9


@pytest.mark.parametrize("mode", ["none", "elbow"])
def test_the_raised_arm_passes_through_every_elevation_from_hanging_to_overhead(mode: str) -> None:
    for arm in "LR":
        spec = next(item for item in RUNS if item.motion == "raise" and item.case == Case(mode, 1.0, 1.0, 0.0))
        elevation = solve(*set_up(spec, arm)).elevation
        assert np.abs(elevation - np.linspace(0.0, np.pi, len(elevation))).max() < 1e-7


def test_narrow_limits_of_the_segments_are_refused_with_a_sentence() -> None:
    spec = next(item for item in RUNS if item.motion == "torso-wiggle" and item.case.mode == "elbow")
    with pytest.raises(ProofError, match=r"torso-wiggle: the left elbow hold: no place"):
        set_up(spec, options=ArmOptions(shortest=0.99, longest=1.01))


def test_poses_and_dials_that_do_not_fit_the_clip_are_refused() -> None:
    spec = RunSpec("lean", make_clip("lean", 5), Case("none", 0.0, 0.0, 0.0))
    geometry = guide_geometry(WREN, "L")
    rest = np.broadcast_to(geometry.torso, (5, 4, 4))
    with pytest.raises(ProofError, match="clip needs"):
        settings_for(spec, "L", geometry, rest[:4], rest)
    for dials in ((("ik", np.zeros(4)),), (("glow", np.zeros(5)),)):
        with pytest.raises(ProofError, match="dial"):
            settings_for(replace(spec, dials=dials), "L", geometry, rest, rest)
