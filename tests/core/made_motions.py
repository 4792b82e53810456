"""Hand-made motions whose phases are known frame by frame, for tests of the study.

A person of the lighthouse keeper's size: shoulders 0.36 m apart, L = 0.6 m. World and torso: left +X, back +Y, up +Z.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from armwright.core.rotations import axis_matrix, euler_to_matrix, unit
from armwright.core.study.motion import ArmMotion, StudyMotion
from armwright.core.study.phases import Phase, planted_frames

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

UPPER, FORE, HAND = 0.336, 0.264, 0.19  # metres
LENGTH = UPPER + FORE
SHOULDER = np.array([0.18, 0.0, 0.25])  # of the left arm, in the torso
RATES = (24.0, 30.0, 60.0, 120.0)
NOISE = 0.002  # metres along each axis


@dataclass(frozen=True, eq=False)
class Made:
    """A motion, and the frames (N,) in which it does what a test is about."""

    motion: StudyMotion
    truth: Mask


def smooth(share: Array) -> Array:
    """0 to 1 by minimum jerk."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(share**3 * (10.0 - 15.0 * share + 6.0 * share**2))


def schedule(rng: np.random.Generator, rate: float, seconds: float, hold: tuple[float, float]) -> list[tuple[int, int]]:
    """Frames of holds and of the moves that follow them: [(frames held, frames of the move)]."""
    out, time = [], 0.0
    while time < seconds:
        held, move = rng.uniform(*hold), rng.uniform(0.35, 0.9)
        out.append((round(held * rate), max(3, round(move * rate))))
        time += held + move
    return out


def hops(
    rng: np.random.Generator, plan: list[tuple[int, int]], start: Array, reach: float, nearer: float = 0.0
) -> tuple[Array, Mask]:
    """A point (N, 3) that rests and moves on by arcs, 0.15 m or further, around `start`; and whether it rests.

    Its distance from the origin changes by `nearer` or more, metres, each time.
    """
    here, points, rests = start, [], []
    for held, move in plan:
        there = here
        while np.linalg.norm(there - here) < 0.15 or abs(np.linalg.norm(there) - np.linalg.norm(here)) < nearer:
            there = start + rng.uniform(-reach, reach, 3)
        share = smooth(np.arange(1, move + 1) / (move + 1))[:, None]
        arc = np.array([0.0, 0.0, 0.1]) * np.sin(np.pi * share)
        points += [np.tile(here, (held, 1)), here + share * (there - here) + arc]
        rests += [np.ones(held, bool), np.zeros(move, bool)]
        here = there
    return np.concatenate(points), np.concatenate(rests)


def torso_motion(rng: np.random.Generator, frames: int, rate: float, size: float = 1.0) -> Array:
    """A torso (N, 4, 4) that sways all the time: 12 degrees and 0.1 m each way at `size` 1."""
    time = np.arange(frames)[:, None] / rate
    wave = np.sin(2.0 * np.pi * rng.uniform(0.25, 0.55, 6) * time + rng.uniform(0.0, 6.28, 6)) * size
    out = np.tile(np.eye(4), (frames, 1, 1))
    out[:, :3, :3] = euler_to_matrix(np.radians(12.0) * wave[:, :3], "XYZ")
    out[:, :3, 3] = 0.1 * wave[:, 3:] + np.array([0.0, 0.0, 1.2])
    return out


def shoulder_of(torso: Array, side: float) -> Array:
    """(N, 3) of the left (1) or right (-1) shoulder."""
    return np.asarray(torso[:, :3, 3] + torso[:, :3, :3] @ (SHOULDER * [side, 1.0, 1.0]))


def arm_to(name: str, shoulder: Array, wrist: Array, hand: Array | None = None) -> ArmMotion:
    """An arm whose elbow hangs below the line to the wrist; the segments take the lengths that they need."""
    line = wrist - shoulder
    far = np.linalg.norm(line, axis=1, keepdims=True)
    along = (UPPER**2 - FORE**2 + far**2) / (2.0 * far)
    down = np.array([0.0, 0.0, -1.0]) - unit(line) * (unit(line) @ [0.0, 0.0, -1.0])[:, None]
    elbow = shoulder + unit(line) * along + unit(down) * np.sqrt(np.maximum(UPPER**2 - along**2, 1e-4))
    tip = wrist + (unit(wrist - elbow) if hand is None else hand[:, :, 1]) * HAND
    return ArmMotion(name, shoulder, elbow, wrist, tip, hand)


def noisy(motion: StudyMotion, rng: np.random.Generator, noise: float) -> StudyMotion:
    """Every position with white noise of deviation `noise`, metres, along each axis."""

    def shaken(points: Array | None) -> Array | None:
        return None if points is None else points + rng.normal(size=points.shape) * noise

    arms = tuple(
        replace(arm, **{name: shaken(getattr(arm, name)) for name in ("shoulder", "elbow", "wrist", "tip")})
        for arm in motion.arms
    )
    return replace(
        motion,
        arms=arms,
        things=tuple((name, points + rng.normal(size=points.shape) * noise) for name, points in motion.things),
    )


def planted_hand(rate: float, seed: int, noise: float = NOISE) -> Made:
    """Hand over hand on a ladder: the hand rests and reaches on, the torso sways."""
    rng = np.random.default_rng(seed)
    wrist, rests = hops(rng, schedule(rng, rate, 20.0, (0.5, 2.0)), np.array([0.2, -0.35, 1.3]), 0.15)
    torso = torso_motion(rng, len(wrist), rate)
    motion = StudyMotion("ladder", rate, (arm_to("L", shoulder_of(torso, 1.0), wrist),), torso)
    return Made(noisy(motion, rng, noise), rests)


def planted_elbow(rate: float, seed: int, noise: float = NOISE) -> Made:
    """An elbow on the rail, now and then; the lantern hand swings all the time."""
    rng = np.random.default_rng(seed)
    elbow, rests = hops(rng, schedule(rng, rate, 20.0, (0.5, 2.0)), np.array([0.2, -0.2, 1.25]), 0.12)
    torso = torso_motion(rng, len(elbow), rate)
    time = np.arange(len(elbow)) / rate
    swing = np.stack([0.8 * np.sin(5.0 * time), -np.ones_like(time), 0.8 * np.cos(4.1 * time)], axis=1)
    wrist = elbow + unit(swing) * FORE
    arm = ArmMotion("L", shoulder_of(torso, 1.0), elbow, wrist, wrist + unit(swing) * HAND)
    return Made(noisy(StudyMotion("rail", rate, (arm,), torso), rng, noise), rests)


def held_hand(rate: float, seed: int, thing: bool, noise: float = NOISE) -> Made:
    """The left hand on the right hand, or on a wheel's spoke, now and then; what is held never stands still."""
    rng = np.random.default_rng(seed)
    plan = schedule(rng, rate, 20.0, (0.8, 2.0))
    apart, rests = hops(rng, plan, np.array([0.28, 0.0, 0.0]), 0.17, 0.15)
    time = np.arange(len(apart)) / rate
    around = np.stack(
        [0.2 * np.cos(2.2 * time), -0.4 + 0.05 * np.sin(3.0 * time), 1.3 + 0.2 * np.sin(2.2 * time)], axis=1
    )
    # What is held turns, and the hand with it.
    turn = axis_matrix("Y", 0.9 * np.sin(1.3 * time))
    wrist = around + np.einsum("fij,fj->fi", turn, apart)
    torso = torso_motion(rng, len(apart), rate)
    arms = [arm_to("L", shoulder_of(torso, 1.0), wrist)]
    things: tuple[tuple[str, Array], ...] = (("wheel", around),) if thing else ()
    if not thing:
        arms.append(arm_to("R", shoulder_of(torso, -1.0), around))
    return Made(noisy(StudyMotion("wheel" if thing else "rope", rate, tuple(arms), torso, things), rng, noise), rests)


def cosine(share: Array) -> Array:
    """0 to 1 by half a wave: sets off and stops with a jolt, the acceleration steps."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(share, 0.0, 1.0)))


def late(share: Array) -> Array:
    """0 to 1, fastest at three fifths of the time: gone softly, stopped fast (t^3·(1 - t)^2, integrated)."""
    share = np.clip(share, 0.0, 1.0)
    return np.asarray(60.0 * (share**4 / 4.0 - 2.0 * share**5 / 5.0 + share**6 / 6.0))


def steady(share: Array) -> Array:
    """0 to 1 with a quarter of the time to gather speed, then steadily on, then a quarter to stop."""
    share = np.clip(share, 0.0, 1.0)
    start, stop = np.minimum(share, 0.25), np.maximum(share - 0.75, 0.0)
    middle = np.clip(share, 0.25, 0.75) - 0.25
    return np.asarray((2.0 * start**2 + middle + stop - 2.0 * stop**2) / 0.75)


def rolling_hand(
    rate: float,
    seed: int,
    share: float,
    noise: float = NOISE,
    turns: bool = True,
    ease: Callable[[Array], Array] = smooth,
) -> tuple[Made, Mask]:
    """A hand that is put on a sill, rolls by `ease` over a point at `share` of its length, rests, and leaves.

    Returns the motion with the frames in which hand or point stand, and the frames in which the hand rolls.
    """
    rng = np.random.default_rng(seed)
    here = np.array([0.2, -0.4, 1.1])
    wrists, axes, stands, rolls = [], [], [], []
    flat = unit(np.array([0.1, -1.0, 0.0]))
    tilt = 0.0
    for _ in range(6):
        there = here + rng.uniform(-0.12, 0.12, 3) * [1.0, 1.0, 0.3] + np.array([0.0, 0.0, 0.0])
        move, held, after = (max(3, round(rng.uniform(*span) * rate)) for span in ((0.5, 0.9), (0.4, 1.0), (0.4, 0.8)))
        roll = max(3, round(rng.uniform(0.7, 1.2) * rate))
        angle = rng.uniform(0.7, 1.2)  # radians
        go = smooth(np.arange(1, move + 1) / (move + 1))
        wrists.append(here + go[:, None] * (there - here) + np.array([0, 0, 0.12]) * np.sin(np.pi * go)[:, None])
        axes.append(tilt * (1.0 - go))
        wrists.append(np.tile(there, (held, 1)))
        axes.append(np.zeros(held))
        turned = angle * ease(np.arange(1, roll + 1) / (roll + 1))
        pivot = there + flat * HAND * share
        wrists.append(pivot - _leaning(flat, turned) * HAND * share)
        axes.append(turned)
        here = pivot - _leaning(flat, np.array([angle]))[0] * HAND * share
        wrists.append(np.tile(here, (after, 1)))
        axes.append(np.full(after, angle))
        tilt = angle
        stands += [np.zeros(move, bool), np.ones(held + roll + after, bool)]
        rolls += [np.zeros(move + held, bool), np.ones(roll, bool), np.zeros(after, bool)]
    wrist, lean = np.concatenate(wrists), np.concatenate(axes)
    along = _leaning(flat, lean)
    side = np.cross(flat, [0.0, 0.0, 1.0])
    hand = np.stack([np.tile(side, (len(along), 1)), along, np.cross(side, along)], axis=2)
    torso = torso_motion(rng, len(wrist), rate, 0.5)
    arm = arm_to("L", shoulder_of(torso, 1.0), wrist, hand)
    if not turns:
        arm = replace(arm, hand=None)
    made = Made(noisy(StudyMotion("sill", rate, (arm,), torso), rng, noise), np.concatenate(stands))
    return made, np.concatenate(rolls)


def turning_round(rate: float, seed: int, pause: float, noise: float = NOISE / 4.0) -> StudyMotion:
    """A hand that swings up to a place and back, rests there for `pause` seconds, and turns steadily all the while."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(4.0 * rate)) / rate - 2.0
    share = smooth((1.0 - np.abs(time)) / (1.0 - pause / 2.0))[:, None]
    wrist = np.array([0.2, -0.3, 1.0]) + share * np.array([0.1, -0.25, 0.3])
    flat = unit(np.array([0.1, -1.0, 0.0]))
    along, side = _leaning(flat, 3.0 * time), np.cross(flat, [0.0, 0.0, 1.0])
    hand = np.stack([np.tile(side, (len(along), 1)), along, np.cross(side, along)], axis=2)
    torso = torso_motion(rng, len(wrist), rate, 0.5)
    motion = StudyMotion("bell", rate, (arm_to("L", shoulder_of(torso, 1.0), wrist, hand),), torso)
    return noisy(motion, rng, noise)


def _leaning(flat: Array, angle: Array) -> Array:
    """The hand's direction (N, 3): `flat` with its fingers turned down by `angle`, so that the wrist rises."""
    return np.asarray(np.cos(angle)[:, None] * flat - np.sin(angle)[:, None] * np.array([0.0, 0.0, 1.0]))


def scores(phases: tuple[Phase, ...], truth: Mask, kinds: tuple[str, ...], arm: str = "L") -> tuple[float, float]:
    """Precision and recall of frames."""
    found = planted_frames(phases, arm, len(truth), kinds)
    both = float((found & truth).sum())
    return both / max(float(found.sum()), 1.0), both / float(truth.sum())
