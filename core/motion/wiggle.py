"""Torso motions that a held joint must not feel: a smooth wiggle that never repeats, and jumps."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..rotations import euler_to_matrix
from .clip import Clip, make_clip

Array = NDArray[np.float64]

# Limits of the torso tests (common practice; the trunk turns 45 degrees each way, AMA in Norkin & White, table A.1).
TILT = math.radians(25.0)
SIDE = math.radians(25.0)
TWIST = math.radians(35.0)
TRAVEL = 0.15
LIMITS = np.array([TILT, SIDE, TWIST, TRAVEL, TRAVEL, TRAVEL])
# Peak of every channel over its limit: under 1 so that rounding on the way to a pose can not step over the limit.
REACH = 0.999

# Frequencies are square roots of distinct primes, in cycles per span: no two, nor any sums of them with whole factors,
# agree (square roots of distinct primes are linearly independent over the rationals: Besicovitch 1940, from memory).
# Channel c takes primes c, c + 6, c + 12: a slow, a middle and a fast one each.
PRIMES = np.array([2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61], dtype=np.float64)
CHANNELS = 6
SPAN_FRAMES = 240
SHORTEST_WIGGLE = 24

SHORTEST_HOLD = 5
LONGEST_HOLD = 20


def torso_wiggle(frames: int = 240, seed: int = 1) -> Clip:
    """Tilt, side, twist and travel as sums of incommensurate sines, each from one of its limits to the other.

    A clip of fewer than SPAN_FRAMES frames makes the same movement faster. Raises MotionError below SHORTEST_WIGGLE
    frames, where the fastest sine would no longer be smooth.
    """
    if frames < SHORTEST_WIGGLE:
        raise MotionError(f"torso-wiggle: {frames} frames are too few to be smooth; give {SHORTEST_WIGGLE} or more")
    _check_seed("torso-wiggle", seed)
    cycles = np.sqrt(PRIMES).reshape(-1, CHANNELS) / min(frames, SPAN_FRAMES)
    phase = np.random.default_rng(seed).uniform(0.0, 2.0 * math.pi, cycles.shape)
    time = np.arange(frames, dtype=np.float64)[:, None, None]
    # Faster sines move less, so that no single one decides the speed.
    waves = np.sum(np.sin(2.0 * math.pi * cycles * time + phase) / cycles, axis=1) * cycles[0]
    low, high = waves.min(axis=0), waves.max(axis=0)
    return _torso_clip("torso-wiggle", seed, (2.0 * waves - (high + low)) / (high - low) * LIMITS * REACH)


def torso_snap(frames: int = 240, seed: int = 1) -> Clip:
    """Random poses within the wiggle's limits, each held for a random number of frames, with a jump between."""
    _check_seed("torso-snap", seed)
    if frames < 1:
        raise MotionError(f"torso-snap: {frames} frames; give 1 or more")
    rng = np.random.default_rng(seed)
    most = -(-frames // SHORTEST_HOLD)
    holds = rng.integers(SHORTEST_HOLD, LONGEST_HOLD + 1, most)
    poses = rng.uniform(-1.0, 1.0, (most, CHANNELS)) * LIMITS * REACH
    return _torso_clip("torso-snap", seed, np.repeat(poses, holds, axis=0)[:frames])


def torso_turn(tilt: Array, side: Array, twist: Array) -> Array:
    """Turn of a torso, (N, 3, 3), character axes, from angles in radians.

    tilt > 0 forwards (about +X, the left), side > 0 to the left (about +Y, the back), twist > 0 to the left (about up).
    The matrix is Rx·Ry·Rz: the twist is about the torso's own axis, which side and tilt then lean.
    """
    return euler_to_matrix(np.stack([tilt, side, twist], axis=-1), "ZYX")


def _torso_clip(name: str, seed: int, channels: Array) -> Clip:
    turn = torso_turn(channels[:, 0], channels[:, 1], channels[:, 2])
    return make_clip(name, len(channels), seed, torso=turn[:, None], travel=channels[:, 3:])


def _check_seed(name: str, seed: int) -> None:
    if seed < 0:
        raise MotionError(f"{name}: seed {seed} is negative; give 0 or more")
