"""The walks of changes make each one once and come back; a circuit exists or is refused."""

from __future__ import annotations

from collections import Counter
from dataclasses import astuple
from itertools import pairwise

import numpy as np
import pytest

from armwright.core.errors import ProofError
from armwright.core.motion.clip import make_clip
from armwright.core.motion.wiggle import torso_wiggle
from armwright.core.proof.cases import CORNERS, MODES, Case
from armwright.core.proof.changes import circuit, dial_walk, mid_motion, space_walk

SPACES = ("world", "torso", "head", "prop", "other-hand")


def test_the_walk_of_dials_makes_each_change_from_each_corner_once_and_comes_back() -> None:
    walk = dial_walk()
    assert walk[0].before == walk[-1].after == CORNERS[0] == Case("none", 0.0, 0.0, 0.0)
    assert all(first.after == second.before for first, second in pairwise(walk))
    made = Counter((step.before, step.after) for step in walk)
    wanted = {
        (before, after)
        for before in CORNERS
        for after in CORNERS
        if sum(one != other for one, other in zip(astuple(before), astuple(after), strict=True)) == 1
    }
    assert set(made) == wanted
    assert set(made.values()) == {1}
    # Three other modes and three dials from each of 32 corners.
    assert len(walk) == 32 * 6


def test_ways_of_changes_tell_what_is_different_afterwards() -> None:
    for step in dial_walk():
        if step.kind == "mode":
            assert step.way == f"to-{step.after.mode}"
            assert step.after.mode != step.before.mode
            continue
        dial, _, way = step.way.partition("-")
        assert getattr(step.after, dial) == {"on": 1.0, "off": 0.0}[way]
        assert getattr(step.before, dial) == 1.0 - getattr(step.after, dial)
    assert len({(step.before, step.kind, step.way) for step in dial_walk()}) == len(dial_walk())


@pytest.mark.parametrize("count", [2, 3, 5])
def test_the_walk_of_spaces_makes_each_ordered_pair_once_and_comes_back(count: int) -> None:
    walk = space_walk(Case("hand", 0.0, 1.0, 1.0), "hand", SPACES[:count])
    pairs = [(step.before, step.after) for step in walk]
    assert sorted(pairs) == sorted((a, b) for a in SPACES[:count] for b in SPACES[:count] if a != b)
    assert walk[0].before == walk[-1].after == SPACES[0]
    assert all(first.after == second.before for first, second in pairwise(walk))
    assert walk[0].way == f"{walk[0].before}-to-{walk[0].after}"
    assert walk[0].kind == "hand-space"


def test_a_single_space_leaves_nothing_to_walk() -> None:
    assert space_walk(Case("hand", 0.0, 0.0, 0.0), "hand", ("world",)) == ()


def test_a_graph_with_a_way_of_no_return_has_no_circuit() -> None:
    with pytest.raises(ProofError, match="no walk from 0"):
        circuit(0, {0: [1], 1: [2], 2: []}.__getitem__)


def test_poses_in_the_middle_of_a_motion_are_frames_of_it_with_swung_arms() -> None:
    clip = torso_wiggle(240, 5)
    poses = mid_motion(clip, 4)
    assert poses.name == clip.name
    assert poses.frames == 4
    for index in range(4):
        same = np.abs(clip.torso - poses.torso[index]).max(axis=(1, 2, 3)) == 0.0
        assert same.sum() == 1
        assert 0 < int(np.argmax(same)) < 239
    for channels in (poses.upper_arm, poses.forearm, poses.hand_channels):
        assert np.linalg.norm(channels, axis=1).min() > 0.1
        assert np.ptp(channels, axis=0).max() > 0.2


def test_a_short_motion_gives_poses_as_well() -> None:
    poses = mid_motion(make_clip("recorded", 3), 4)
    assert poses.frames == 4
    assert len(MODES) == 4
