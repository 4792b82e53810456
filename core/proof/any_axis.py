"""`any-axis`: the elbow does not flip, whichever way hand and aim go round the shoulder.

The target is a point of six coordinates, metres: the hand hold, and the elbow aim brought to the arm's own length L
from the torso's own shoulder point, S0 + L · unit(P - S0), for only the aim's direction bends an arm. From one frame to
the next the target moves by |Δtarget| (length of both displacements together) and the elbow, as the host shows it, by
|Δelbow|. `elbow-speed` is |Δelbow| / |Δtarget|, without a unit: a step of the target moves the elbow by at most so many
times as much. The torso and the clavicle keep still.

An elbow that does not follow its aim at all may be slow: `elbow-place` compares it with where docs/arm.md puts it, on
the side of its aim, all over the sphere.

Steps with an end in or at the singular set of docs/arm.md are left out. What is in it is decided from what was set,
never from what was measured: see `singular`. The share that is left out is a check of its own: a run that looks at too
little proves nothing.

Modes: only the hand's IK leaves the elbow to an aim. Where the elbow is held it is where its hold is, and `hold-elbow`
and `hold-both` measure that; in FK it is where the upper arm's channels say, and `swing` measures that.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..solve.arm import solve
from ..solve.settings import ArmGeometry, ArmSettings
from .expected import expected, triangle
from .hold_hand import ELBOW_LIMIT, elbow_place
from .measures import FACTOR, SLIDE_LIMIT, Measured, arm_length, at, distance, shoulder_point, unit
from .plant import laid_flat
from .run_plan import RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "any-axis"
MODES: tuple[str, ...] = ("hand",)
LIMITS = {"elbow-speed": 20.0, "elbow-place": ELBOW_LIMIT, "left-out": 0.2}

# What is nearer than this to the singular set is left out, and what `speed_bound` puts above the limit: docs/arm.md,
# "How fast the elbow is next to it".
MARGIN = math.radians(10.0)  # angle between hand and aim, or the aim's opposite, seen from the shoulder
NEAREST = 0.2  # of L, hand to shoulder
STRAIGHT = 0.01  # of the arm's dialled length: hand to where the arm is straight, with a soft reach of less than that
# Of docs/arm.md, 3: the least reach, in L, and the largest cosine of the elbow's angle.
NEAREST_REACH, STRAIGHTEST = 0.01, 0.9999
# Most that the scapula turns as the arm is raised, and the least sine of an elbow that is bent by STRAIGHT or more.
STEEPEST_RHYTHM = 1.0 / 3.0
LEAST_BEND = math.sqrt(1.0 - (1.0 - 2.0 * STRAIGHT * (2.0 - STRAIGHT)) ** 2)


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run: hand and aim go round the shoulder."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """The elbow's step over the target's (1), at the frame where it ends; its place (L); the share left out (1)."""
    geometry, settings = run.geometry, run.settings
    size = arm_length(geometry)
    point = shoulder_point(geometry, settings.torso)
    aim = point + size * unit(settings.aim - point)
    target = np.concatenate([at(settings.hand_hold), aim], axis=1)
    near = singular(geometry, settings)
    place = elbow_place(run, expected(run))
    speed, share = speeds(at(run.samples.elbow), target, near, size)
    return (speed, replace(place, values=np.where(near, 0.0, place.values)), share)


def speeds(elbow: Array, target: Array, near: NDArray[np.bool_], size: float) -> tuple[Measured, Measured]:
    """`elbow-speed` and `left-out` of an elbow (N, 3) and its target (N, 6); `near` (N,) is in or at the singular set.

    `size` is L in the unit of both.
    """
    moved = np.linalg.norm(np.diff(target, axis=0), axis=1)
    followed = distance(elbow[1:], elbow[:-1])
    # A target that rests may not move the elbow at all, but for rounding.
    at_rest = np.where(followed <= SLIDE_LIMIT * size, 0.0, np.where(np.isnan(followed), np.nan, np.inf))
    speed = np.divide(followed, moved, out=at_rest, where=moved > 0.0)
    left_out = near[1:] | near[:-1]
    frames, steps = len(elbow), len(left_out)
    values = np.zeros(frames)
    values[1:] = np.where(left_out, 0.0, speed)
    share = float(left_out.mean()) if steps else 1.0
    before = np.concatenate([elbow[:1], elbow[:-1]])
    note = f"{int(left_out.sum())} of {steps} steps are in the singular set and left out" if left_out.any() else ""
    return (
        Measured("elbow-speed", FACTOR, values, LIMITS["elbow-speed"], before, elbow, note=note),
        Measured("left-out", FACTOR, np.full(frames, share), LIMITS["left-out"]),
    )


def singular(geometry: ArmGeometry, settings: ArmSettings, margin: float = MARGIN) -> NDArray[np.bool_]:
    """(N,), whether a frame is in or at the singular set, from the settings alone (docs/arm.md, "singular").

    `margin` is the least angle, radians; the room that the bound on the speed asks for is in proportion to its sine.
    Angles and the hand's distance count from the torso's own shoulder point, which the elevation is read from, and from
    the shoulder that docs/arm.md makes of the settings, to the hand's goal. What has no number is in the set.
    """
    settings = laid_flat(geometry, settings)
    size, hand = arm_length(geometry), at(settings.hand_hold)
    point, shoulder = shoulder_point(geometry, settings.torso), solve(geometry, settings).shoulder
    clear = off_line(point, hand, settings.aim, size, margin) & off_line(shoulder, hand, settings.aim, size, margin)
    a, b = dialled_lengths(geometry, settings)
    knee = settings.soft * geometry.options.soft_share
    clear &= (knee >= STRAIGHT) | (np.abs(distance(hand, shoulder) / (a + b) - 1.0) >= STRAIGHT)
    wider = math.sin(MARGIN) / math.sin(margin)
    clear &= speed_bound(geometry, settings, shoulder, wider) <= LIMITS["elbow-speed"]
    return np.asarray(~clear)


def speed_bound(
    geometry: ArmGeometry, settings: ArmSettings, shoulder: Array, wider: float = 1.0
) -> NDArray[np.float64]:
    """An upper bound of the elbow's speed over the target's, (N,), where the arm is not straight.

    It is derived in docs/arm.md, "How fast the elbow is next to it", whose letters it has, from lengths, distances and
    angles alone. `shoulder` (N, 3); the sines of the angles between hand and aim are taken `wider` times.
    """
    s, size, options = laid_flat(geometry, settings), arm_length(geometry), geometry.options
    point, hand = shoulder_point(geometry, s.torso), at(s.hand_hold)
    a, b = dialled_lengths(geometry, s)
    lifted = s.lift * options.lift_share * STEEPEST_RHYTHM * geometry.clavicle_length
    with np.errstate(divide="ignore", invalid="ignore"):
        d, p, p0 = distance(hand, shoulder), distance(s.aim, shoulder), distance(s.aim, point)
        grown, r, x, h = triangle(geometry, s, a, b, d)
        sine, cotangent = _wider(shoulder, hand, s.aim, wider)
        by_hand, by_aim = grown * (x - h * cotangent) / d, grown * h / (p * sine)
        # A softer reach opens more slowly than a hard one at STRAIGHT.
        most = 1.0 / min(math.sin(options.fold_limit), LEAST_BEND)
        opening = np.minimum(a * np.abs(r * r + b * b - a * a) / (2.0 * r * r * h), most)
        in_plane = grown * np.hypot(a / d, opening) + np.where(d > r, s.stretch * a / r, 0.0)
        still = np.maximum(np.hypot(by_hand, by_aim * p0 / size), in_plane)
        by_shoulder = np.maximum(np.abs(1.0 - by_hand - by_aim), 1.0 + in_plane)
        turning = _elevation_bound(geometry, s, distance(hand, point), *_wider(point, hand, s.aim, wider))
        return np.asarray(still + np.where(lifted > 0.0, by_shoulder * lifted * turning, 0.0))


def _elevation_bound(geometry: ArmGeometry, s: ArmSettings, d0: Array, sine: Array, cotangent: Array) -> Array:
    """How fast the elbow's direction turns, seen from the torso's own shoulder point, (N,), radians a metre."""
    a, b = dialled_lengths(geometry, s)
    size = arm_length(geometry)
    r0 = np.maximum(d0, NEAREST_REACH * size)
    whole_cosine = (a * a + r0 * r0 - b * b) / (2.0 * a * r0)
    cosine = np.clip(whole_cosine, math.cos(geometry.options.fold_limit), STRAIGHTEST)
    aside = np.sqrt(1.0 - cosine * cosine)
    # Capped, the elbow's angle to the line keeps still; otherwise it turns by the law of cosines.
    opening = np.where(cosine == whole_cosine, (r0 * r0 + b * b - a * a) / (2.0 * a * r0 * r0 * aside), 0.0)
    out_of_plane = np.hypot((cosine - aside * cotangent) / d0, aside / (size * sine))
    return np.asarray(np.maximum(out_of_plane, np.hypot(1.0 / d0, opening)))


def _wider(shoulder: Array, hand: Array, aim: Array, wider: float) -> tuple[Array, Array]:
    """Sine and cotangent (N,) of the angle between hand and aim, whose sine is taken `wider` times, at most 1."""
    sine = np.minimum(wider * off_angle(shoulder, hand, aim), 1.0)
    side = np.sign(np.sum((hand - shoulder) * (aim - shoulder), axis=1))
    return sine, side * np.sqrt(1.0 - sine * sine) / sine


def dialled_lengths(geometry: ArmGeometry, settings: ArmSettings) -> tuple[Array, Array]:
    """Lengths of upper arm and forearm as their dials have them, (N,), metres."""
    return geometry.upper_length * settings.upper_length, geometry.forearm_length * settings.forearm_length


def off_line(shoulder: Array, hand: Array, aim: Array, size: float, margin: float = MARGIN) -> NDArray[np.bool_]:
    """(N,), whether hand and aim (N, 3) are apart by the margin, seen from the shoulder, and the hand is not at it."""
    sine = off_angle(shoulder, hand, aim)
    return np.asarray((sine >= np.sin(margin)) & (distance(hand, shoulder) >= NEAREST * size))


def off_angle(shoulder: Array, hand: Array, aim: Array) -> Array:
    """Sine (N,) of the angle between hand and aim (N, 3), seen from the shoulder."""
    # The cross product keeps its digits at both ends, where the arc cosine loses them.
    return np.asarray(np.linalg.norm(np.cross(unit(hand - shoulder), unit(aim - shoulder)), axis=1))
