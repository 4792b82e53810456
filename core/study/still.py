"""Where a point stands still: spans of frames, robust against the noise and the rate of a recording.

A point's speed is the slope of a straight line fitted over a short window of time. It must fall below a low threshold
to begin a span and rise above a high one to end it; both lie above what the clip's own noise does to the slope. The
span's ends are then moved to where the point itself leaves the place in which it stood, which is sharper than a speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .motion import ADULT

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Seconds over which a speed is fitted: shorter than a plant, longer than a sample at 24 Hz.
WINDOW = 0.17
# Speeds in metres a second, of an adult's arm; they scale with the arm. A reaching hand's peak is 0.5 to 1.5 (common
# practice); a planted hand creeps.
LOW, HIGH = 0.03, 0.08
# Deviations of the fitted speed by noise that the thresholds keep above.
NOISE_LOW, NOISE_HIGH = 3.5, 5.0
# A planted point's distance from its place: deviations of the noise of one sample, and metres of an adult's arm.
PLACE_NOISE, PLACE = 3.5, 0.004
# Metres of an adult's arm up to which the beginning of a move is looked at to find where it began.
SET_OFF = 0.05
# Parts of a frame in which that is looked for.
PARTS = 4
# Seconds from first to last frame: a shorter span is a turning point of a swing.
SHORTEST = 0.25
# Seconds on either side of a span in which its end is looked for.
AROUND = 1.0


@dataclass(frozen=True)
class Span:
    """Frames `first` to `last`, both included."""

    first: int
    last: int

    @property
    def frames(self) -> int:
        """How many."""
        return self.last - self.first + 1


@dataclass(frozen=True, eq=False)
class Stillness:
    """Attributes:
    speed: (N,), fitted, m/s.
    noise: deviation of one sample along one axis, metres.
    low, high: thresholds, m/s.
    spans: where the point stands still.
    """

    speed: Array
    noise: float
    low: float
    high: float
    spans: tuple[Span, ...]


def stillness(points: Array, rate: float, size: float) -> Stillness:
    """Where `points` (N, K), metres, stand still at `rate` Hz; `size` is the arm's length in metres."""
    noise = noise_of(points, rate)
    scale = size / ADULT
    half = half_window(rate)
    speed = np.asarray(np.linalg.norm(velocity_of(points, rate, half), axis=1))
    low, high = thresholds(noise, rate, size, points.shape[1])
    place = place_of(noise, size)
    spans = [
        sharpened(points, span, place, SET_OFF * scale, round(AROUND * rate))
        for span in _places(points, speed, hysteresis(speed, low, high), low, place)
        if span.frames >= SHORTEST * rate / 2.0
    ]
    return Stillness(speed, noise, low, high, _apart(spans, points, place, SHORTEST * rate))


def thresholds(noise: float, rate: float, size: float, axes: int = 3) -> tuple[float, float]:
    """Speeds, m/s, that begin and end a rest, for points of so many `axes` with `noise` metres along each."""
    scale = size / ADULT
    slope = noise * rate * np.sqrt(axes) * slope_deviation(half_window(rate))
    return LOW * scale + NOISE_LOW * float(slope), HIGH * scale + NOISE_HIGH * float(slope)


def place_of(noise: float, size: float) -> float:
    """Metres from its place up to which a point may still stand in it."""
    return PLACE * size / ADULT + PLACE_NOISE * noise


def half_window(rate: float) -> int:
    """Samples on either side of the one whose speed is fitted."""
    return max(1, round(WINDOW * rate / 2.0))


def slope_deviation(half: int) -> float:
    """Deviation of a fitted slope, per sample, over that of one sample: 1 / sqrt(sum of squared places)."""
    places = np.arange(-half, half + 1)
    return float(1.0 / np.sqrt(np.sum(places**2)))


def velocity_of(points: Array, rate: float, half: int) -> Array:
    """Slopes (N, K), m/s, of the lines fitted through 2 half + 1 points (N, K); fewer at the ends."""
    count = len(points)
    places = np.arange(-half, half + 1, dtype=float)
    slopes = np.empty(points.shape)
    whole = count > 2 * half
    if whole:
        weights = places / np.sum(places**2)
        for axis in range(points.shape[1]):
            slopes[half : count - half, axis] = np.convolve(points[:, axis], weights[::-1], mode="valid")
    for frame in (*range(half), *range(count - half, count)) if whole else range(count):
        first, last = max(0, frame - half), min(count - 1, frame + half)
        there = np.arange(first, last + 1, dtype=float)
        there -= there.mean()
        slopes[frame] = there @ points[first : last + 1] / max(float(np.sum(there**2)), 1e-12)
    return slopes * rate


def noise_of(points: Array, rate: float) -> float:
    """Deviation of a sample along an axis, metres, from fifth differences in the quietest quarter of the clip.

    White noise of deviation s has fifth differences of deviation s·sqrt(252); smooth motion has next to none, at 24 Hz
    too, where its third differences look like noise.
    """
    if len(points) < 8:
        return 0.0
    fifth = np.diff(points, n=5, axis=0)
    square = np.mean(fifth**2, axis=1)
    width = max(5, round(0.5 * rate))
    if len(square) > width:
        square = np.convolve(square, np.full(width, 1.0 / width), mode="valid")
    return float(np.sqrt(np.quantile(square, 0.25) / 252.0))


def hysteresis(speed: Array, low: float, high: float) -> list[Span]:
    """Runs of frames below `high` that fall below `low` somewhere."""
    return [span for span in runs(speed < high) if (_part(speed, span) < low).any()]


def _places(points: Array, speed: Array, spans: list[Span], low: float, place: float) -> list[Span]:
    """`spans` cut, where a point creeps from one place to another without ever being fast, at its fastest frame."""
    out = []
    for span in spans:
        rests = [Span(rest.first + span.first, rest.last + span.first) for rest in runs(_part(speed, span) < low)]
        first, here = span.first, _middle(points, rests[0])
        for before, after in pairwise(rests):
            there = _middle(points, after)
            if np.linalg.norm(there - here) > place:
                cut = before.last + int(np.argmax(speed[before.last : after.first + 1]))
                out.append(Span(first, cut))
                first = cut + 1
            here = there
        out.append(Span(first, span.last))
    return out


def _part(values: Array, span: Span) -> Array:
    return values[span.first : span.last + 1]


def runs(mask: Mask) -> list[Span]:
    """Runs of true values."""
    padded = np.concatenate([[False], mask, [False]])
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return [Span(int(first), int(end) - 1) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def sharpened(points: Array, span: Span, place: float, reach: float, around: int) -> Span:
    """`span` with its ends where the point sets off from, and arrives at, the place in which it stood.

    Beyond `place` metres the point has left for certain; where it set off lies before, see `_set_off`; both are looked
    for up to `around` frames beyond the span, so that a long clip costs no more than its spans.
    """
    start = max(0, span.first - around)
    found = _sharpened(
        points[start : span.last + around + 1], Span(span.first - start, span.last - start), place, reach
    )
    return Span(found.first + start, found.last + start)


def _sharpened(points: Array, span: Span, place: float, reach: float) -> Span:
    away = points - _middle(points, span)
    off = np.linalg.norm(away, axis=1) > place
    core = (span.first + span.last) // 2
    if off[core]:
        inside = np.flatnonzero(~off[span.first : span.last + 1])
        if len(inside) == 0:
            return span
        core = span.first + int(inside[np.argmin(np.abs(inside + span.first - core))])
    last = core + _set_off(away[core:], _leave(off[core:]), reach)
    first = core - _set_off(away[: core + 1][::-1], _leave(off[: core + 1][::-1]), reach)
    return Span(first, last)


def _leave(off: Mask) -> int:
    """The last frame before two frames on end are off: one alone is noise."""
    pairs = np.flatnonzero(off & np.append(off[1:], True))
    return int(pairs[0]) - 1 if len(pairs) and pairs[0] > 0 else len(off) - 1 if not len(pairs) else 0


def _set_off(away: Array, leave: int, reach: float) -> int:
    """The last frame at rest, for a point that is surely gone after frame `leave`; `away` (M, 3) from its place.

    A limb that starts from rest has gone a·(t - t0)^2 under a constant push and a·(t - t0)^3 under a push that grows
    evenly, as in reaching (minimum jerk: Flash & Hogan 1985). Of both, the t0 is taken whose curve, flat before it,
    comes nearest to the frames until the point is `reach` metres away.
    """
    if leave + 1 >= len(away):
        return leave
    gone = np.flatnonzero(np.linalg.norm(away[leave:], axis=1) > reach)
    end = leave + (int(gone[0]) if len(gone) else len(away) - 1 - leave)
    way = away[end] / max(float(np.linalg.norm(away[end])), 1e-12)
    earliest = max(0, leave - 2 * (end - leave) - 2)
    along = away[earliest : end + 1] @ way
    # A start lies PARTS-ths of a frame after one of the first `count` frames. The squared error of the best fit is
    # |along|^2 - (along·shape)^2 / |shape|^2, and a shape is zero before its start: all starts with the same part of a
    # frame are one correlation.
    count = leave + 1 - earliest
    padded = np.concatenate([along, np.zeros(count - 1)])
    explained = np.empty((2, count, PARTS))
    shapes, sizes = _shapes(1 << (len(along) - 1).bit_length())
    for index in range(2):
        for part in range(PARTS):
            found = np.correlate(padded, shapes[index, part, : len(along)], mode="valid")
            size = sizes[index, part, len(along) - count : len(along)][::-1]
            explained[index, :, part] = found * np.abs(found) / np.maximum(size, 1e-300)
    return earliest + int(np.argmax(np.max(explained, axis=0))) // PARTS


@lru_cache(maxsize=32)
def _shapes(frames: int) -> tuple[Array, Array]:
    """(2, PARTS, frames): t^2 and t^3 from each part of a frame on; and the sums of their squares so far."""
    since = np.maximum(np.arange(frames) - np.arange(PARTS)[:, None] / PARTS, 0.0)
    shapes = np.stack([since**2, since**2 * since])
    return shapes, np.cumsum(shapes**2, axis=2)


def _middle(points: Array, span: Span) -> Array:
    """Median of the inner half of a span, (3,)."""
    inner = max(1, span.frames // 4)
    cut = points[span.first + inner : span.last + 1 - inner]
    return np.asarray(np.median(cut if len(cut) else points[span.first : span.last + 1], axis=0))


def _apart(spans: list[Span], points: Array, place: float, shortest: float) -> tuple[Span, ...]:
    """Spans in order; those at one place that touch or overlap become one, those too short are dropped."""
    merged: list[Span] = []
    for span in sorted(spans, key=lambda span: (span.first, span.last)):
        if merged and span.first <= merged[-1].last + 1:
            near = float(np.linalg.norm(_middle(points, span) - _middle(points, merged[-1]))) <= place
            if near:
                merged[-1] = Span(merged[-1].first, max(span.last, merged[-1].last))
                continue
            span = Span(max(span.first, merged[-1].last + 1), span.last)
        if span.frames > 0:
            merged.append(span)
    return tuple(span for span in merged if span.last - span.first >= shortest)
