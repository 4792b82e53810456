"""The torso's wiggle and snap: limits, repetition, continuity, seeds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.errors import MotionError
from armwright.core.motion.clip import Clip, compose
from armwright.core.motion.wiggle import LONGEST_HOLD, SHORTEST_HOLD, torso_snap, torso_turn, torso_wiggle

# design.md section 6: tilt, side, twist in degrees; travel in L.
LIMITS = np.array([25.0, 25.0, 35.0, 0.15, 0.15, 0.15])
SEEDS = range(12)


def channels(clip: Clip) -> np.ndarray:
    """Tilt, side, twist (degrees) and travel (L), (N, 6), read back from the clip by scipy: R = Rx·Ry·Rz."""
    angles = Rotation.from_matrix(compose(clip)).as_euler("XYZ", degrees=True)
    return np.concatenate([angles, clip.travel], axis=1)


def everything(clip: Clip) -> bytes:
    parts = (
        clip.torso,
        clip.travel,
        clip.clavicle,
        clip.hand,
        clip.hand_turn,
        clip.elbow,
        clip.upper_arm,
        clip.forearm,
        clip.hand_channels,
    )
    return b"".join(part.tobytes() for part in parts)


@pytest.mark.parametrize("frames", [24, 60, 240, 1000])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_wiggle_reaches_its_limits_both_ways_and_never_passes_them(seed: int, frames: int) -> None:
    values = channels(torso_wiggle(frames, seed))
    assert values.shape == (frames, 6)
    assert (np.abs(values) <= LIMITS).all()
    assert (values.max(axis=0) >= 0.9 * LIMITS).all()
    assert (values.min(axis=0) <= -0.9 * LIMITS).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_wiggle_moves_in_small_steps(seed: int) -> None:
    clip = torso_wiggle(240, seed)
    turns = Rotation.from_matrix(compose(clip))
    steps = np.degrees((turns[1:] * turns[:-1].inv()).magnitude())
    assert steps.max() < 6.0
    assert np.linalg.norm(np.diff(clip.travel, axis=0), axis=1).max() < 0.05


@pytest.mark.parametrize("seed", SEEDS)
def test_a_wiggle_has_no_corners(seed: int) -> None:
    # A jump or a corner keeps its size when time is halved; a smooth motion's second difference falls by four.
    values = channels(torso_wiggle(240, seed)) / LIMITS
    fine = np.abs(np.diff(values, 2, axis=0)).max()
    coarse = np.abs(np.diff(values[::2], 2, axis=0)).max()
    assert fine < coarse / 2.5


@pytest.mark.parametrize("seed", SEEDS)
def test_a_long_wiggle_never_comes_back_to_an_earlier_pose_and_speed(seed: int) -> None:
    values = channels(torso_wiggle(2000, seed)) / LIMITS
    state = np.concatenate([values[1:], np.diff(values, axis=0) * 10.0], axis=1)
    for lag in range(30, 1900):
        assert np.abs(state[lag:] - state[:-lag]).max() > 0.2, f"repeats after {lag} frames"


def test_a_wiggle_starts_anywhere() -> None:
    starts = np.array([channels(torso_wiggle(240, seed))[0] for seed in range(60)]) / LIMITS
    assert (starts.max(axis=0) > 0.5).all()
    assert (starts.min(axis=0) < -0.5).all()
    assert (np.abs(starts).max(axis=1) > 0.05).all()


@pytest.mark.parametrize("make", [torso_wiggle, torso_snap])
def test_a_seed_gives_the_same_bytes_and_another_seed_others(make: type[Clip]) -> None:
    assert everything(make(240, 5)) == everything(make(240, 5))
    assert everything(make(240, 5)) != everything(make(240, 6))
    assert make(240, 5).seed == 5


@pytest.mark.parametrize("seed", SEEDS)
def test_a_snap_holds_still_then_jumps_within_the_limits(seed: int) -> None:
    values = channels(torso_snap(240, seed))
    assert values.shape == (240, 6)
    assert (np.abs(values) <= LIMITS).all()
    moved = np.abs(np.diff(values, axis=0)).max(axis=1) > 1e-9
    jumps = np.flatnonzero(moved) + 1
    holds = np.diff(np.concatenate([[0], jumps]))
    assert len(jumps) >= 240 // LONGEST_HOLD - 1
    assert holds.min() >= SHORTEST_HOLD == 5
    assert holds.max() <= LONGEST_HOLD == 20
    assert 240 - jumps[-1] <= LONGEST_HOLD


def test_snaps_draw_from_the_whole_of_the_limits() -> None:
    values = np.concatenate([channels(torso_snap(240, seed)) for seed in SEEDS]) / LIMITS
    assert (values.max(axis=0) > 0.9).all()
    assert (values.min(axis=0) < -0.9).all()


def test_only_the_torso_moves() -> None:
    for clip in (torso_wiggle(), torso_snap()):
        assert clip.frames == 240 and clip.torso.shape == (240, 1, 3, 3)
        for still in (clip.clavicle, clip.hand, clip.elbow, clip.upper_arm, clip.forearm, clip.hand_channels):
            assert not still.any()
        assert np.array_equal(clip.hand_turn, np.tile(np.eye(3), (240, 1, 1)))


@pytest.mark.parametrize(
    ("angles", "point", "goes"),
    [
        ((0.3, 0.0, 0.0), (0.0, 0.0, 1.0), (0, -1, 0)),  # tilt: the head goes to the front, -Y
        ((0.0, 0.3, 0.0), (0.0, 0.0, 1.0), (1, 0, 0)),  # side: the head goes to the left, +X
        ((0.0, 0.0, 0.3), (0.0, -1.0, 0.0), (1, 0, 0)),  # twist: the front goes to the left
    ],
)
def test_positive_angles_go_forwards_and_to_the_left(
    angles: tuple[float, float, float], point: tuple[float, float, float], goes: tuple[int, int, int]
) -> None:
    tilt, side, twist = (np.array([a]) for a in angles)
    moved = torso_turn(tilt, side, twist)[0] @ np.array(point) - np.array(point)
    assert moved @ np.array(goes) == pytest.approx(np.sin(0.3), abs=1e-12)


@pytest.mark.parametrize(
    ("make", "frames", "seed", "message"),
    [
        (torso_wiggle, 23, 1, "23 frames are too few"),
        (torso_wiggle, 240, -1, "seed -1 is negative"),
        (torso_snap, 0, 1, "0 frames; give 1 or more"),
        (torso_snap, 240, -1, "seed -1 is negative"),
    ],
)
def test_settings_out_of_range_are_refused(make: type[Clip], frames: int, seed: int, message: str) -> None:
    with pytest.raises(MotionError, match=message):
        make(frames, seed)
