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
from .expected import expected
from .hold_hand import ELBOW_LIMIT, elbow_place
from .measures import FACTOR, SLIDE_LIMIT, Measured, arm_length, at, distance, shoulder_point, unit
from .run_plan import RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "any-axis"
MODES: tuple[str, ...] = ("hand",)
LIMITS = {"elbow-speed": 20.0, "elbow-place": ELBOW_LIMIT, "left-out": 0.2}

# What is nearer than this to the singular set is left out; docs/arm.md says why the limit holds at this distance.
MARGIN = math.radians(10.0)  # angle between hand and aim, or the aim's opposite, seen from the shoulder
NEAREST = 0.2  # of L, hand to shoulder
STRAIGHT = 0.01  # of the arm's dialled length: hand to where the arm is straight, with a soft reach of less than that


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

    `margin` is the least angle, radians. It and the hand's distance count from the torso's own shoulder point, which
    the elevation is read from, and from the shoulder that docs/arm.md makes of the settings. What has no number is in
    the set.
    """
    size, hand = arm_length(geometry), at(settings.hand_hold)
    shoulder = solve(geometry, settings).shoulder
    clear = np.ones(len(hand), dtype=bool)
    for point in (shoulder_point(geometry, settings.torso), shoulder):
        clear &= off_line(point, hand, settings.aim, size, margin)
    whole = geometry.upper_length * settings.upper_length + geometry.forearm_length * settings.forearm_length
    knee = settings.soft * geometry.options.soft_share
    clear &= (knee >= STRAIGHT) | (np.abs(distance(hand, shoulder) / whole - 1.0) >= STRAIGHT)
    return np.asarray(~clear)


def off_line(shoulder: Array, hand: Array, aim: Array, size: float, margin: float = MARGIN) -> NDArray[np.bool_]:
    """(N,), whether hand and aim (N, 3) are apart by the margin, seen from the shoulder, and the hand is not at it."""
    # The cross product keeps its digits at both ends, where the arc cosine loses them.
    sine = np.linalg.norm(np.cross(unit(hand - shoulder), unit(aim - shoulder)), axis=1)
    return np.asarray((sine >= np.sin(margin)) & (distance(hand, shoulder) >= NEAREST * size))
