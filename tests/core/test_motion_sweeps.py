"""Sweeps of the arm's own controls: ranges reached and kept, loops, smooth, torso still."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.errors import MotionError
from armwright.core.motion.clip import Clip
from armwright.core.motion.sweeps import elbow_sweep, fk_sweep, hand_sweep, shrug

SWEEPS = (shrug, hand_sweep, elbow_sweep, fk_sweep)
SEEDS = range(8)

# Degrees about X, Y, Z: (control, lowest, highest, source).
AAOS = "AAOS, in Norkin & White, Measurement of Joint Motion, table A.1"
FK_RANGES = [
    ("upper_arm", 0, -60, 90, f"{AAOS}: shoulder extension 60; to the plane of flexion: common practice"),
    ("upper_arm", 1, -90, 70, f"{AAOS}: lateral rotation 90, medial rotation 70"),
    ("upper_arm", 2, -90, 90, f"{AAOS}: abduction 0 to 180, from a T-pose at 90"),
    ("forearm", 0, 0, 150, f"{AAOS}: elbow flexion 150"),
    ("forearm", 1, -80, 80, f"{AAOS}: supination 80, pronation 80"),
    ("forearm", 2, -10, 10, "common practice"),
    ("hand_channels", 0, -70, 80, f"{AAOS}: wrist extension 70, flexion 80"),
    ("hand_channels", 1, -10, 10, "common practice"),
    ("hand_channels", 2, -30, 20, f"{AAOS}: ulnar deviation 30, radial deviation 20"),
    ("clavicle", 0, -10, 30, "common practice"),
    ("clavicle", 2, -20, 20, "common practice"),
]


def moving(clip: Clip) -> np.ndarray:
    """All that moves in a clip, (N, values)."""
    parts = (clip.travel, clip.clavicle, clip.hand, clip.elbow, clip.upper_arm, clip.forearm, clip.hand_channels)
    turns = Rotation.from_matrix(clip.hand_turn).as_rotvec()
    return np.concatenate([*parts, turns], axis=1)


@pytest.mark.parametrize("make", SWEEPS)
@pytest.mark.parametrize("frames", [48, 240, 241])
def test_a_sweep_is_a_smooth_loop_from_rest_to_rest_with_a_still_torso(make: Callable[..., Clip], frames: int) -> None:
    clip = make(frames)
    values = moving(clip)
    assert clip.frames == frames
    assert np.array_equal(clip.torso, np.tile(np.eye(3), (frames, 1, 1, 1)))
    assert not clip.travel.any()
    assert np.abs(values[0]).max() < 1e-12
    assert np.abs(values[-1]).max() < 1e-12
    # Smooth across the seam as well: the step is bounded by 5 cycles of half the range.
    around = np.concatenate([values[:-1], values[:2]])
    ranges = values.max(axis=0) - values.min(axis=0)
    assert (np.abs(np.diff(around, axis=0)).max(axis=0) <= 1.05 * np.pi * 5 / (frames - 1) * ranges + 1e-12).all()


@pytest.mark.parametrize(("control", "axis", "low", "high", "source"), FK_RANGES)
def test_fk_channels_run_over_the_whole_range_of_motion_and_no_further(
    control: str, axis: int, low: float, high: float, source: str
) -> None:
    values = np.degrees(getattr(fk_sweep(), control)[:, axis])
    assert low - 1e-9 <= values.min() <= low + 0.01 * (high - low), source
    assert high + 1e-9 >= values.max() >= high - 0.01 * (high - low), source


def test_fk_joints_meet_in_many_ways() -> None:
    clip = fk_sweep()
    channels = np.concatenate([clip.clavicle, clip.upper_arm, clip.forearm, clip.hand_channels], axis=1)
    active = channels[:, np.ptp(channels, axis=0) > 0.0]
    assert active.shape[1] == len(FK_RANGES)
    # Channels of one joint are no functions of one another.
    for joint in (clip.upper_arm, clip.forearm, clip.hand_channels):
        assert np.abs(np.corrcoef(joint.T) - np.eye(3)).max() < 0.5


def test_a_shrug_raises_drops_and_goes_forward_and_backward() -> None:
    raise_, roll, back = np.degrees(shrug().clavicle).T
    assert (raise_.min(), raise_.max()) == pytest.approx((-10.0, 30.0), abs=0.1)
    assert (back.min(), back.max()) == pytest.approx((-20.0, 20.0), abs=0.1)
    assert not roll.any()
    # Forward and backward come both while raised and while dropped.
    for half in (raise_ > 10.0, raise_ < 10.0):
        assert back[half].max() > 15.0 and back[half].min() < -15.0
    assert not moving(shrug())[:, 6:].any()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("make", "part", "box"), [(hand_sweep, "hand", 0.25), (elbow_sweep, "elbow", 0.15)])
def test_a_hold_sweeps_the_whole_of_its_box_and_leaves_no_other_trace(
    make: Callable[..., Clip], part: str, box: float, seed: int
) -> None:
    clip = make(240, seed)
    path = getattr(clip, part)
    assert (np.abs(path) <= box).all()
    assert (path.max(axis=0) > 0.99 * box).all()
    assert (path.min(axis=0) < -0.99 * box).all()
    # No plane holds the curve.
    assert np.linalg.svd(path - path.mean(axis=0), compute_uv=False)[-1] > 0.1 * box * np.sqrt(240)
    other = {"hand": clip.elbow, "elbow": clip.hand}[part]
    assert not other.any() and not clip.upper_arm.any() and not clip.clavicle.any()


@pytest.mark.parametrize("seed", SEEDS)
def test_the_hand_turns_about_every_axis_by_up_to_thirty_degrees(seed: int) -> None:
    angles = np.degrees(Rotation.from_matrix(hand_sweep(240, seed).hand_turn).as_euler("xyz"))
    assert np.abs(angles).max() <= 30.0 + 1e-9
    assert (angles.max(axis=0) > 29.5).all() and (angles.min(axis=0) < -29.5).all()


@pytest.mark.parametrize("make", [hand_sweep, elbow_sweep])
def test_a_seed_gives_the_same_curve_and_seeds_give_many(make: Callable[..., Clip]) -> None:
    assert moving(make(240, 3)).tobytes() == moving(make(240, 3)).tobytes()
    assert len({moving(make(240, seed)).tobytes() for seed in SEEDS}) > len(SEEDS) // 2


@pytest.mark.parametrize("make", SWEEPS)
def test_too_few_frames_are_refused(make: Callable[..., Clip]) -> None:
    with pytest.raises(MotionError, match="47 frames are too few to be smooth; give 48 or more"):
        make(47)


@pytest.mark.parametrize("make", [hand_sweep, elbow_sweep])
def test_a_negative_seed_is_refused(make: Callable[..., Clip]) -> None:
    with pytest.raises(MotionError, match="seed -1 is negative"):
        make(240, -1)
