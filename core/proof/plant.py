"""`plant`: a planted hand rolls over heel, knuckles, fingertips and both edges and spins on its palm; the point that it
rolls over stays where it is.

Everything is seen in the hand hold as it was set, the surface that the hand is planted on. Where the hand should be is
docs/arm.md's product of turns, written out factor by factor (the reference solver sums it up): the outer factors, spin
and sides, are what the hand rolls in. A hand that rolls turns about a point of the last factor that is not at rest:
- below 0 about the heel, of the hand;
- up to the finger bend about the knuckles, of the hand and of the fingers, whose tips stay put as well;
- from there on about the fingertips, of the fingers, which the hand keeps at their bend;
- flat, about an edge, or about the palm.

`plant-jump` is a step of a point of the hand over what the dials' steps allow it: each turn moves a point of the hand
by no more than its angle times the largest distance of two of its points, so that a step above 1 is a jump, as where
the hand is handed over from one point to the next at the wrong place.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from ..hand_frames import PivotPoints
from ..posing import rigid_inverse
from ..rotations import axis_matrix
from ..solve.settings import ArmGeometry, ArmSettings
from .expected import expected
from .measures import (
    DEGREES,
    FACTOR,
    SLIDE_LIMIT,
    TURN_LIMIT,
    Measured,
    arm_length,
    at,
    distance,
    slide,
    turn,
    turn_error,
)
from .plant_settings import planted
from .run_plan import PLANTED, RunSpec
from .samples import ArmRun

Array = NDArray[np.float64]

ID = "plant"
MODES: tuple[str, ...] = PLANTED
# A step of what the geometry allows may be rounded up by a hundredth: 3e-5 of the arm's length at 3 degrees a frame.
LIMITS = {"pivot-slide": SLIDE_LIMIT, "plant-turn": TURN_LIMIT, "plant-jump": 1.01}
# Dials that move by less between two frames, radians, move no point of the hand.
AT_REST = 1e-9


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """The points that are rolled over against where they are in the hold (L), turns (degrees), steps (1)."""
    hold = run.settings.hand_hold
    _, base, goal = _factors(run.geometry, run.settings)
    rolled = pivots(run)
    worst = np.argmax(distance(rolled.found, rolled.wanted), axis=1)
    rows = np.arange(len(worst))
    wanted, found = rolled.wanted[rows, worst], rolled.found[rows, worst]
    samples = run.samples
    turns = np.maximum(
        turn_error(turn(samples.hand), turn(hold @ goal)), turn_error(turn(samples.fingers), turn(hold @ base))
    )
    return (
        slide(run, "pivot-slide", found, wanted, rolled.missing, wanted + rolled.moved),
        Measured("plant-turn", DEGREES, turns, TURN_LIMIT),
        Measured("plant-jump", FACTOR, _steps(run), LIMITS["plant-jump"]),
    )


@dataclass(frozen=True, eq=False)
class Pivots:
    """The two points that a hand rolls over, the same twice where it is one.

    Attributes:
        wanted, found: (N, 2, 3), where they should stay, and where they are on the bones, metres.
        moved: (N, 3), how far a hand that is out of reach takes them along.
        missing: (N,), how far it is out of reach, metres.
    """

    wanted: Array
    found: Array
    moved: Array
    missing: Array


def pivots(run: ArmRun) -> Pivots:
    """The points that the hand of a run rolls over, seen in its hold."""
    geometry, settings, samples = run.geometry, run.settings, run.samples
    outside, base, _ = _factors(geometry, settings)
    hold, flat = settings.hand_hold, laid_flat(geometry, settings)
    wanted, found = _pivots(geometry, settings, hold @ outside, hold @ base, samples.hand, samples.fingers)
    # A hand out of reach is moved, not turned: so is the point that it rolls over.
    reach = expected(replace(run, settings=flat))
    return Pivots(wanted, found, reach.ik_wrist - at(flat.hand_hold), reach.hand_missing)


def laid_flat(geometry: ArmGeometry, settings: ArmSettings) -> ArmSettings:
    """Settings of the same arm whose hand lies flat on its hold: the hold is where rolls and spin have the hand's goal.

    What carries the fingers is at rest in them.
    """
    if not planted(settings):
        return settings
    still = np.zeros(len(settings.ik))
    goal = settings.hand_hold @ _factors(geometry, settings)[2]
    return replace(settings, hand_hold=goal, hand_roll=still, hand_side=still, hand_spin=still)


def _factors(geometry: ArmGeometry, s: ArmSettings) -> tuple[Array, Array, Array]:
    """What the hand rolls in (spin and sides), where its fingers' carrier is at rest, and the hand's goal.

    (N, 4, 4) each, in the hold's frame; the carrier is given as the frame that the hand has before its knuckles bend.
    """
    p = geometry.pivots
    mirror = 1.0 if p.thumb_edge[0] > p.outer_edge[0] else -1.0
    bent = np.clip(s.hand_roll, 0.0, s.finger_bend)
    outside = (
        _about(p.palm, "Z", -mirror * s.hand_spin)
        @ _about(p.outer_edge, "Y", mirror * np.maximum(s.hand_side, 0.0))
        @ _about(p.thumb_edge, "Y", mirror * np.minimum(s.hand_side, 0.0))
    )
    base = (
        outside
        @ _about(p.heel, "X", np.minimum(s.hand_roll, 0.0))
        @ _about(p.fingertips, "X", np.maximum(s.hand_roll - s.finger_bend, 0.0))
    )
    return outside, base, base @ _about(p.knuckles, "X", bent)


def _about(point: Array, axis: str, angles: Array) -> Array:
    """Turns (N, 4, 4) about an axis through a point (3,)."""
    out = np.broadcast_to(np.eye(4), (len(angles), 4, 4)).copy()
    out[:, :3, :3] = axis_matrix(axis, angles)
    out[:, :3, 3] = point - out[:, :3, :3] @ point
    return out


def _pivots(
    geometry: ArmGeometry, s: ArmSettings, outside: Array, base: Array, hand: Array, fingers: Array
) -> tuple[Array, Array]:
    """Points that stay put, (N, 2, 3): where they should be, and where they are on the host's bones."""
    p = geometry.pivots

    def on(frames: Array, point: Array) -> Array:
        return np.asarray((frames @ np.append(point, 1.0))[:, :3])

    def on_fingers(point: Array) -> Array:
        # The carrier's head is at the knuckles, and its axes are the hand's.
        return on(fingers, point - p.knuckles)

    edge = np.where((s.hand_side > 0.0)[:, None], on(hand, p.outer_edge), on(hand, p.thumb_edge))
    edge_wanted = np.where((s.hand_side > 0.0)[:, None], on(outside, p.outer_edge), on(outside, p.thumb_edge))
    tips, knuckles = on(base, p.fingertips), on(base, p.knuckles)
    stages = [
        (s.hand_roll < 0.0, (on(outside, p.heel),) * 2, (on(hand, p.heel),) * 2),
        (s.hand_roll > s.finger_bend, (tips, tips), (on_fingers(p.fingertips),) * 2),
        (s.hand_roll > 0.0, (knuckles, tips), (on(hand, p.knuckles), on_fingers(p.fingertips))),
        (s.hand_side != 0.0, (edge_wanted,) * 2, (edge,) * 2),
    ]
    palm = (on(outside, p.palm),) * 2, (on(hand, p.palm),) * 2
    conditions = [stage[0][:, None] for stage in stages]
    wanted, found = (
        np.stack(
            [
                np.select(conditions, [stage[which][place] for stage in stages], palm[which - 1][place])
                for place in (0, 1)
            ],
            axis=1,
        )
        for which in (1, 2)
    )
    return wanted, found


def _steps(run: ArmRun) -> Array:
    """Steps of the hand's points in the hold's frame over the dials' steps, (N,), at the frame where each ends."""
    p, s = run.geometry.pivots, run.settings
    points = np.array([np.zeros(3), *(getattr(p, item.name) for item in fields(PivotPoints))])
    # The fingertips get further from the hand as the knuckles bend, up to the way by the knuckles.
    by_knuckles = np.linalg.norm(points - p.knuckles, axis=1).max() + np.linalg.norm(p.fingertips - p.knuckles)
    size = max(float(np.linalg.norm(points[:, None] - points[None], axis=-1).max()), float(by_knuckles))
    frames = rigid_inverse(s.hand_hold) @ run.samples.hand
    places = np.einsum("nij,kj->nki", turn(frames), points) + at(frames)[:, None]
    fingers = rigid_inverse(s.hand_hold) @ run.samples.fingers
    tips = (fingers @ np.append(p.fingertips - p.knuckles, 1.0))[:, None, :3]
    step = np.linalg.norm(np.diff(np.concatenate([places, tips], axis=1), axis=0), axis=-1).max(axis=1)
    dialled = sum(np.abs(np.diff(dial)) for dial in (s.hand_roll, s.hand_side, s.hand_spin, s.finger_bend))
    rest = np.where(step <= 2.0 * SLIDE_LIMIT * arm_length(run.geometry), 0.0, np.where(np.isnan(step), np.nan, np.inf))
    values = np.zeros(len(s.ik))
    values[1:] = np.divide(step, dialled * size, out=rest, where=dialled > AT_REST)
    return values
