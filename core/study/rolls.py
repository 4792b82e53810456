"""Where a hand rolls over a point of its own that stands: heel, palm, knuckles, fingers or fingertips.

While a hand rolls its wrist is a lever away from what it rolls over, so the wrist moves. What stands is some point of
the hand. Between wrist and fingertip the speeds of the hand's points lie on the straight line between those of its
ends: the hand may roll where that line comes near to zero. Over such frames the point of the hand that stands is the
least squares solution of w(t) + H(t)·r = c for a fixed r in the hand and a fixed c in the world.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .motion import ADULT
from .still import (
    AROUND,
    SET_OFF,
    SHORTEST,
    Span,
    half_window,
    hysteresis,
    noise_of,
    place_of,
    sharpened,
    thresholds,
    velocity_of,
)

Array = NDArray[np.float64]

# What a hand rolls over, by the share of the way from wrist to fingertip up to which it is called so: knuckles lie
# about half-way along a hand (common practice).
OVER = ((0.12, "heel"), (0.37, "palm"), (0.62, "knuckles"), (0.87, "fingers"), (np.inf, "fingertips"))
# How far from the line between wrist and tip the point may lie, hand lengths, to either side of the hand and through
# it; and beyond its ends.
ASIDE, BEYOND = 0.35, 0.15
# Share of the turning speed at the tip that a point off the line may add to the speed of the line's nearest point.
OFF_LINE = 0.2
# Weight of the wish that the point lies on the line, against its being seen to stand; dimensionless.
ON_LINE = 1e-3
# Part of the frames that have to keep within the place.
KEPT = 0.95


@dataclass(frozen=True, eq=False)
class Roll:
    """A hand over a standing point: its frames, the point's name in OVER, and how far it strayed at most, metres."""

    span: Span
    over: str
    strayed: float


def rolls_of(wrist: Array, tip: Array, turns: Array | None, rate: float, size: float) -> list[Roll]:
    """Where a point of the hand between `wrist` and `tip` (N, 3) stands, in order of time.

    Args:
        turns: (N, 3, 3) orientations of the hand, Y along it; None where only its line is known.
        size: the arm's length, metres.
    """
    half = half_window(rate)
    noise = max(noise_of(wrist, rate), noise_of(tip, rate))
    low, high = thresholds(noise, rate, size)
    start, end = velocity_of(wrist, rate, half), velocity_of(tip, rate, half)
    turning = end - start
    share = -np.sum(start * turning, axis=1) / np.maximum(np.sum(turning**2, axis=1), 1e-300)
    nearest = start + np.clip(share, 0.0, 1.0)[:, None] * turning
    speed = np.linalg.norm(nearest, axis=1) - OFF_LINE * np.linalg.norm(turning, axis=1)
    shortest = max(3, round(SHORTEST * rate))
    place = place_of(noise, size)
    found = []
    for span in hysteresis(np.asarray(speed), low, high):
        first = span.first
        while span.last + 1 - first >= shortest:
            part = _longest(wrist, tip, turns, Span(first, span.last), shortest, place)
            if part is None:
                first += max(1, shortest // 4)
                continue
            found.append(_roll(wrist, tip, turns, part, place, SET_OFF * size / ADULT, round(AROUND * rate)))
            first = part.last + 1
    return found


def _roll(wrist: Array, tip: Array, turns: Array | None, part: Span, place: float, reach: float, around: int) -> Roll:
    """The roll over `part`, its ends moved to where its point sets off; looked at `around` frames beyond."""
    start = max(0, part.first - around)
    near = slice(start, part.last + around + 1)
    inner = Span(part.first - start, part.last - start)
    share, point = _pivot(wrist[near], tip[near], None if turns is None else turns[near], inner)
    exact = sharpened(point, inner, place, reach, around)
    held = point[exact.first : exact.last + 1]
    strayed = float(np.linalg.norm(held - np.median(held, axis=0), axis=1).max())
    over = next(name for most, name in OVER if share <= most)
    return Roll(Span(exact.first + start, exact.last + start), over, strayed)


def _longest(wrist: Array, tip: Array, turns: Array | None, span: Span, shortest: int, place: float) -> Span | None:
    """The longest beginning of `span`, `shortest` frames or more, over which one point of the hand keeps its place."""

    def stands(frames: int) -> bool:
        part = slice(span.first, span.first + frames)
        _, point = _pivot(wrist[part], tip[part], None if turns is None else turns[part], Span(0, frames - 1))
        away = np.linalg.norm(point - np.median(point, axis=0), axis=1)
        return float(np.quantile(away, KEPT)) <= place

    if not stands(shortest):
        return None
    good, bad = shortest, span.frames + 1
    step = shortest
    while good + step < bad and stands(good + step):
        good += step
        step *= 2
    bad = min(bad, good + step)
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if stands(middle) else (good, middle)
    return Span(span.first, span.first + good - 1)


def _pivot(wrist: Array, tip: Array, turns: Array | None, span: Span) -> tuple[float, Array]:
    """Share of the way from wrist to tip of the hand's point that stands during `span`, and its way (N, 3)."""
    inside = slice(span.first, span.last + 1)
    line = tip - wrist
    if turns is None:
        here, along = wrist[inside] - wrist[inside].mean(axis=0), line[inside] - line[inside].mean(axis=0)
        share = -float(np.sum(here * along)) / max(float(np.sum(along * along)), 1e-12)
        share = float(np.clip(share, -BEYOND, 1.0 + BEYOND))
        return share, wrist + share * line
    length = max(float(np.median(np.linalg.norm(line[inside], axis=1))), 1e-9)
    here, axes = wrist[inside] - wrist[inside].mean(axis=0), turns[inside] - turns[inside].mean(axis=0)
    normal = np.einsum("fji,fjk->ik", axes, axes) + len(here) * ON_LINE * np.diag([1.0, 1e-6, 1.0])
    inner = -np.linalg.solve(normal, np.einsum("fji,fj->i", axes, here)) / length
    inner = np.clip(inner, [-ASIDE, -BEYOND, -ASIDE], [ASIDE, 1.0 + BEYOND, ASIDE])
    return float(inner[1]), wrist + turns @ (inner * length)
