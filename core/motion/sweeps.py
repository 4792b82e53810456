"""Motions of the arm's own controls, over their ranges, with a still torso.

Every sweep is a loop: its first and last frame are the pose at rest, and each channel follows one whole-numbered sine.
Ranges: AAOS, in Norkin & White, Measurement of Joint Motion, table A.1, where a line says so; else common practice.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError
from ..rotations import euler_to_matrix
from .clip import Clip, make_clip

Array = NDArray[np.float64]
Ranges = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

# Below this the fastest sine of a sweep has too few frames to come near its peak.
SHORTEST_SWEEP = 48

# Degrees, (lowest, highest) about X, Y, Z of the left arm's controls. Zero is rest, taken as a T-pose.
# Clavicle: drop and raise; its own roll; forward and backward. Common practice.
CLAVICLE_DEGREES: Ranges = ((-10.0, 30.0), (0.0, 0.0), (-20.0, 20.0))
# Upper arm: backward as far as extension goes, 60, and to straight ahead, the plane of flexion; lateral 90 and medial
# 70 rotation; lowered and raised to the ends of abduction, 0 and 180 (AAOS).
UPPER_ARM_DEGREES: Ranges = ((-60.0, 90.0), (-90.0, 70.0), (-90.0, 90.0))
# Forearm: flexion 150, pronation and supination 80 each (AAOS). A hinge does not tilt; animators do, a little.
FOREARM_DEGREES: Ranges = ((0.0, 150.0), (-80.0, 80.0), (-10.0, 10.0))
# Hand: extension 70, flexion 80; ulnar 30, radial 20 (AAOS). A wrist does not roll; animators do it, a little.
HAND_DEGREES: Ranges = ((-70.0, 80.0), (-10.0, 10.0), (-30.0, 20.0))

# Box about a hold's place, units of L, and turn of the hand hold about each axis, degrees. Common practice.
HAND_BOX = 0.25
HAND_TURN_DEGREES: Ranges = ((-30.0, 30.0), (-30.0, 30.0), (-30.0, 30.0))
ELBOW_BOX = 0.15


def shrug(frames: int = 240) -> Clip:
    """The clavicle raises, drops and goes forward and backward: a figure of eight over its range."""
    _check("shrug", frames, 0)
    return make_clip("shrug", frames, clavicle=_channels(frames, CLAVICLE_DEGREES, (1, 1, 2)))


def hand_sweep(frames: int = 240, seed: int = 1) -> Clip:
    """The hand hold runs a smooth closed curve in a box of HAND_BOX about its place and turns; the seed picks it."""
    _check("hand-sweep", frames, seed)
    rng = np.random.default_rng(seed)
    path = _curve(frames, rng) * HAND_BOX
    turn = euler_to_matrix(_channels(frames, HAND_TURN_DEGREES, _order(rng)), "XYZ")
    return make_clip("hand-sweep", frames, seed, hand=path, hand_turn=turn)


def elbow_sweep(frames: int = 240, seed: int = 1) -> Clip:
    """The elbow hold runs a smooth closed curve in a box of ELBOW_BOX about its place; the seed picks the curve."""
    _check("elbow-sweep", frames, seed)
    return make_clip("elbow-sweep", frames, seed, elbow=_curve(frames, np.random.default_rng(seed)) * ELBOW_BOX)


def fk_sweep(frames: int = 240) -> Clip:
    """Every FK channel runs over its range of motion, the joints at different speeds so that they meet in many ways."""
    _check("fk-sweep", frames, 0)
    return make_clip(
        "fk-sweep",
        frames,
        clavicle=_channels(frames, CLAVICLE_DEGREES, (3, 1, 2)),
        upper_arm=_channels(frames, UPPER_ARM_DEGREES, (2, 5, 3)),
        forearm=_channels(frames, FOREARM_DEGREES, (4, 3, 1)),
        hand_channels=_channels(frames, HAND_DEGREES, (5, 2, 4)),
    )


def _channels(frames: int, ranges: Ranges, cycles: tuple[int, int, int]) -> Array:
    """Three channels, (frames, 3), radians: each a sine over its range that starts and ends at zero."""
    low, high = np.radians(np.array(ranges)).T
    middle, half = (high + low) / 2.0, (high - low) / 2.0
    # A channel without a range keeps still; one whose range starts at zero starts at the bottom of its sine.
    share = np.divide(-middle, half, out=np.zeros(3), where=half > 0.0)
    angles = _turns(frames, cycles) + np.arcsin(np.clip(share, -1.0, 1.0))
    channels: Array = np.clip(middle + half * np.sin(angles), low, high)
    return channels


def _curve(frames: int, rng: np.random.Generator) -> Array:
    """A closed curve in a box of 1, (frames, 3), from the middle and back to it; the generator picks axes and signs."""
    signs = rng.choice(np.array([-1.0, 1.0]), 3)
    curve: Array = np.sin(_turns(frames, _order(rng))) * signs
    return curve


def _order(rng: np.random.Generator) -> tuple[int, int, int]:
    """Cycles for three axes: 1, 2 and 3 in a drawn order, so that a curve fills its box and stays in no plane."""
    orders = list(itertools.permutations((1, 2, 3)))
    first, second, third = orders[int(rng.integers(len(orders)))]
    return first, second, third


def _turns(frames: int, cycles: tuple[int, int, int]) -> Array:
    """Phases of three sines, (frames, 3), radians, that make whole turns from the first frame to the last."""
    return 2.0 * math.pi * np.linspace(0.0, 1.0, frames)[:, None] * np.array(cycles, dtype=np.float64)


def _check(name: str, frames: int, seed: int) -> None:
    if frames < SHORTEST_SWEEP:
        raise MotionError(f"{name}: {frames} frames are too few to be smooth; give {SHORTEST_SWEEP} or more")
    if seed < 0:
        raise MotionError(f"{name}: seed {seed} is negative; give 0 or more")
