"""A study as settings of another body's arms, in the reference solver: what is held stands, what is not is followed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from arm_cases import arm as arm_of
from made_motions import FORE, SHOULDER, UPPER, Made, held_hand, planted_elbow, planted_hand, rolling_hand
from numpy.typing import NDArray

from armwright.core.errors import MotionError
from armwright.core.rotations import unit
from armwright.core.solve.arm import solve
from armwright.core.solve.settings import ArmGeometry
from armwright.core.study.motion import StudyMotion
from armwright.core.study.phases import ELBOW, HAND, HELD, ROLL, WORLD, Phase
from armwright.core.study.study import Study, study
from armwright.core.transfer.arcs import Arcs
from armwright.core.transfer.differences import arm_differences
from armwright.core.transfer.mapped import Mapped, mapped, size_of
from armwright.core.transfer.resample import checked_study
from armwright.core.transfer.solved import hand_poses, solved_arms
from armwright.core.transfer.together import fitted, handovers
from armwright.core.transfer.torso import chain_for

Array = NDArray[np.float64]
SEED, RATE = 11, 30.0
ARMS = {"L": arm_of(), "R": arm_of(side="R")}
# Upper arm and forearm over the recorded ones.
PROPORTIONS = [(1.0, 1.0), (0.8, 0.8), (1.3, 1.3), (0.8, 1.3), (1.3, 0.8)]
EXACT = 1e-9  # of the arm's length: all of it is double precision here


def sized(geometry: ArmGeometry, factors: tuple[float, float]) -> ArmGeometry:
    """The arm with segments `factors` times as long as the recorded body's."""
    upper, fore = UPPER * factors[0], FORE * factors[1]
    frames = {name: getattr(geometry, name).copy() for name in ("forearm", "hand")}
    frames["forearm"][:3, 3] = geometry.upper_arm[:3, 3] + geometry.upper_arm[:3, 1] * upper
    frames["hand"][:3, 3] = frames["forearm"][:3, 3] + geometry.forearm[:3, 1] * fore
    return replace(geometry, **frames, upper_length=upper, forearm_length=fore)


def put_on(found: Study, factors: tuple[float, float] = (1.0, 1.0)) -> tuple[Mapped, dict[str, Arcs], list[str]]:
    geometries = {arm: sized(geometry, factors) for arm, geometry in ARMS.items()}
    goal = mapped(found.motion, geometries, np.eye(3))
    notes: list[str] = []
    root = np.tile(np.eye(4), (found.motion.frames, 1, 1))
    dials = {arm.arm: {"isolate": 0.3} for arm in goal.arms}
    return goal, solved_arms(geometries, found, goal, root, dials, 0.2, notes), notes


def free_rows(one: Arcs) -> NDArray[np.bool_]:
    return (one.settings.ik == 0.0) & (one.settings.elbow == 0.0) & ~one.led


@pytest.mark.parametrize("factors", PROPORTIONS)
@pytest.mark.parametrize("make", [planted_hand, planted_elbow])
def test_what_is_planted_stands_and_the_rest_keeps_its_directions(make: object, factors: tuple[float, float]) -> None:
    made: Made = make(RATE, SEED)  # type: ignore[operator]
    goal, solved, _ = put_on(study(made.motion), factors)
    one, arm = solved["L"], goal.arms[0]
    length = UPPER * factors[0] + FORE * factors[1]
    assert len(one.runs) > 5
    # Solved anew from the settings alone.
    pose = solve(sized(ARMS["L"], factors), one.settings)
    for run in one.runs:
        if run.hand is not None:
            part = run.rows - run.hand.first
            away = pose.wrist[run.rows] - run.hand.place[part]
            away += np.einsum("fij,fj->fi", pose.hand[run.rows], run.hand.pivot[part])
            near = pose.hand_missing[run.rows] < EXACT
        else:
            assert run.elbow is not None
            away, near = pose.elbow[run.rows] - run.elbow.place, pose.elbow_missing[run.rows] < EXACT
        assert near.any()
        assert np.abs(away[near]).max() < EXACT * length
    free = free_rows(one)
    assert free.sum() > 50
    for ours, theirs in ((pose.upper_arm, arm.upper_arm), (pose.forearm, arm.forearm)):
        assert np.linalg.norm(ours[free, :, 1] - theirs[free], axis=1).max() < 1e-7
    # What is keyed beside the holds gives the same pose: nothing pops as they come and go.
    swung = solve(sized(ARMS["L"], factors), one.free)
    edges = np.unique([row for run in one.runs for row in (run.first, run.last)])
    for name in ("elbow", "wrist", "hand"):
        assert np.abs(getattr(swung, name)[edges] - getattr(pose, name)[edges]).max() < 1e-6, name


@pytest.mark.parametrize("factors", PROPORTIONS)
def test_a_hand_on_the_other_hand_goes_along_with_it(factors: tuple[float, float]) -> None:
    found = study(held_hand(RATE, SEED, thing=False, noise=0.0).motion)
    assert any(phase.kind == HELD for phase in found.phases)
    _, solved, _ = put_on(found, factors)
    measured = 0
    for arm, one in solved.items():
        for run in one.runs:
            if run.hand is None or run.hand.on == WORLD:
                continue
            other = hand_poses(solved[run.hand.on])[run.rows]
            seen = np.linalg.inv(other) @ hand_poses(one)[run.rows]
            near = one.pose.hand_missing[run.rows] < EXACT
            if near.any():
                assert np.abs(seen[near] - seen[near][0]).max() < EXACT, (arm, run.first)
                measured += 1
    assert measured >= 2


@pytest.mark.parametrize("factors", PROPORTIONS)
def test_a_hand_that_rolls_stands_on_one_point_after_another(factors: tuple[float, float]) -> None:
    found = study(rolling_hand(RATE, SEED, 1.0, 0.0)[0].motion)
    assert any(phase.kind == ROLL for phase in found.phases)
    _, solved, _ = put_on(found, factors)
    one, measured = solved["L"], 0
    for run in one.runs:
        assert run.hand is not None
        poses = hand_poses(one)[run.rows]
        part = run.rows - run.hand.first
        points = poses[:, :3, 3] + np.einsum("fij,fj->fi", poses[:, :3, :3], run.hand.pivot[part])
        near = one.pose.hand_missing[run.rows] < EXACT
        assert np.abs(points - run.hand.place[part])[near].max(initial=0.0) < EXACT
        measured += int((near & run.hand.rolls[part]).sum())
    assert measured > 20


def both(hand: tuple[int, int], elbow: tuple[int, int]) -> Study:
    """Hand and elbow stand all the time; when each is said to be held is given."""
    made = planted_elbow(RATE, SEED, 0.0)
    frames = 80
    arm = made.motion.arms[0]
    time = np.arange(frames) / RATE
    away = 0.03 * np.stack([np.sin(2.0 * time), np.cos(1.3 * time), np.sin(1.7 * time)], axis=1)
    place = np.array([0.25, -0.2, 1.2])
    way = unit(np.array([[-0.3, -0.9, 0.2]]))[0]
    shoulder = place + np.array([0.0, 0.15, 0.3]) + away
    points = {
        "shoulder": shoulder,
        "elbow": np.tile(place, (frames, 1)),
        "wrist": np.tile(place + FORE * way, (frames, 1)),
    }
    moved = replace(arm, **points, tip=points["wrist"] + 0.19 * way, hand=None)
    torso = np.tile(np.eye(4), (frames, 1, 1))
    torso[:, :3, 3] = shoulder - SHOULDER
    motion = StudyMotion("rail", RATE, (moved,), torso)
    phases = (Phase("L", HAND, WORLD, *hand, 0.1, 0.0, 0.0), Phase("L", ELBOW, WORLD, *elbow, 0.1, 0.0, 0.0))
    return replace(study(motion), phases=phases)


@pytest.mark.parametrize("factors", PROPORTIONS)
@pytest.mark.parametrize(("hand", "elbow"), [((10, 60), (25, 45)), ((25, 45), (10, 60)), ((10, 40), (41, 70))])
def test_hand_and_elbow_held_at_once_are_a_forearm_apart(
    hand: tuple[int, int], elbow: tuple[int, int], factors: tuple[float, float]
) -> None:
    _, solved, notes = put_on(both(hand, elbow), factors)
    one, length = solved["L"], UPPER * factors[0] + FORE * factors[1]
    assert not [note for note in notes if "short" in note]
    pose = one.pose
    for rows, points in ((range(hand[0], hand[1] + 1), pose.wrist), (range(elbow[0], elbow[1] + 1), pose.elbow)):
        assert np.abs(points[rows] - points[rows[0]]).max() < EXACT * length
    assert pose.hand_missing[hand[0] : hand[1] + 1].max() < EXACT
    # The change from one to both and back is no jump: where the recorded body is alike, nothing moves at all.
    for points in (pose.elbow, pose.wrist):
        steps = np.linalg.norm(np.diff(points[min(hand[0], elbow[0]) : max(hand[1], elbow[1]) + 1], axis=0), axis=1)
        assert steps.max() < 0.06 * length
        if factors == (1.0, 1.0):
            assert steps.max() < 0.02 * length


def test_the_hold_that_begins_first_keeps_its_place() -> None:
    for hand, elbow, kept in (
        ((10, 60), (25, 45), "wrist"),
        ((25, 45), (10, 60), "elbow"),
        ((10, 50), (10, 50), "wrist"),
    ):
        goal, solved, _ = put_on(both(hand, elbow), (0.8, 1.3))
        row = 30
        moved = np.linalg.norm(getattr(solved["L"].pose, kept)[row] - getattr(goal.arms[0], kept)[row])
        assert moved < EXACT, kept


def test_a_hand_that_rolls_beside_a_held_elbow_is_said() -> None:
    found = study(rolling_hand(RATE, SEED, 1.0, 0.0)[0].motion)
    roll = next(phase for phase in found.phases if phase.kind == ROLL)
    elbow = Phase("L", ELBOW, WORLD, max(roll.first - 3, 0), roll.last, 0.1, 0.0, 0.0)
    _, _, notes = put_on(replace(found, phases=(*found.phases, elbow)))
    assert any("rolls while its elbow is held" in note for note in notes), notes


def test_runs_that_meet_are_led_and_others_are_not() -> None:
    # First, last, hand, elbow.
    apart = handovers([(0, 9, True, False), (11, 20, True, True)], 5)
    assert apart == []
    met = handovers([(0, 9, True, False), (10, 20, True, True), (21, 23, False, True)], 5)
    assert [(item.rows.tolist(), item.at, item.hand, item.elbow) for item in met] == [
        ([9, 8, 7, 6, 5], 10, False, True),
        ([21], 20, True, False),
    ]
    for item in met:
        assert (np.diff(item.share) < 0).all() and 0.0 < item.share[-1] <= item.share[0] < 1.0
    assert fitted("L", [], [], 0.3, 0.6, (), []) == ([], [])


def test_held_angles_give_way_and_the_others_do_not() -> None:
    found = study(planted_hand(RATE, SEED, 0.0).motion)
    goal, solved, _ = put_on(found, (1.3, 0.8))
    one = solved["L"]
    joints = np.tile(np.eye(4), (found.motion.frames, 3, 1, 1))
    for place, (turns, heads) in enumerate((("upper_arm", "shoulder"), ("forearm", "elbow"), ("hand", "wrist"))):
        joints[:, place, :3, :3], joints[:, place, :3, 3] = getattr(one.pose, turns), getattr(one.pose, heads)
    figures = arm_differences(goal.arms[0], joints, size_of(sized(ARMS["L"], (1.3, 0.8))), free_rows(one))
    for item in figures:
        if item.unit == "degrees" and item.joint != "hand":
            assert item.free < 1e-4 and item.held > 3.0
            assert item.most == item.held and not free_rows(one)[item.worst]


def test_a_chain_of_any_length_ends_in_the_torso() -> None:
    rng = np.random.default_rng(SEED)
    torso = planted_hand(RATE, SEED, 0.0).motion.torso[:40]
    for count in (1, 2, 4):
        rests = np.tile(np.eye(4), (count, 1, 1))
        rests[:, :3, 3] = np.stack([np.zeros(count), rng.normal(0.0, 0.01, count), 0.2 * np.arange(count)], axis=1)
        chain = chain_for(rests, torso, np.array([0.0, 0.0, 1.0]))
        np.testing.assert_allclose(chain[:, -1], torso, atol=1e-12)
        # Bones stay together: each head is where the one below carries it.
        for one, two in zip(range(count - 1), range(1, count), strict=True):
            carried = chain[:, one] @ np.linalg.inv(rests[one]) @ rests[two]
            np.testing.assert_allclose(chain[:, two, :3, 3], carried[:, :3, 3], atol=1e-12)


def test_numbers_that_are_none_are_refused_where_they_are() -> None:
    found = study(planted_hand(RATE, SEED, 0.0).motion)
    checked_study(found)
    torso = found.motion.torso.copy()
    torso[12, 0, 3] = np.inf
    with pytest.raises(MotionError, match="torso has no number at frame 12"):
        checked_study(replace(found, motion=replace(found.motion, torso=torso)))
    with pytest.raises(MotionError, match="no rate"):
        checked_study(replace(found, motion=replace(found.motion, rate=0.0)))
    turned = np.tile(np.eye(3), (found.motion.frames, 1, 1))
    turned[7] = np.nan
    arm = replace(found.motion.arms[0], hand=turned)
    with pytest.raises(MotionError, match="hand has no number at frame 7"):
        checked_study(replace(found, motion=replace(found.motion, arms=(arm,))))
