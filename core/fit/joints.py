"""Joints of one arm from its centre line, its cross-sections, and the surface around its root."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..anatomy import FOREARM, HAND, UPPER_ARM
from .line import Line, along_line, straight
from .surface import Array, Net

# Parts of the arm from shoulder to fingertips.
WHOLE = UPPER_ARM + FOREARM + HAND
# The wrist is sought where a hand is between these parts of the arm long (Winter's: 0.245).
SHORTEST_HAND, LONGEST_HAND = 0.12, 0.34
# A hand is this much broader than the wrist, or it is a stub.
HAND_OVER_WRIST = 1.2
# A bend below the first is noise; above the second the corner gives the elbow's place to about 1 % of the arm.
LEAST_BEND, PLAIN_BEND = math.radians(8.0), math.radians(20.0)
# Elbow, over the way from shoulder to wrist, is sought between these.
ELBOW_SEARCH = (0.35, 0.75)
# A torso's side is nearer to the arm's axis than this many radii where they have met.
OPEN_ARMPIT = 1.6
# Where the axis is nearer than this many radii to the shoulder's outside, it has left the joint behind.
UNDER_SKIN = 0.85
# The joint lies this many radii inside the armpit's fold, across the torso's side.
INSIDE_FOLD = 0.5
GUESSED = 0.5


@dataclass(frozen=True)
class Read:
    """A joint: its place, confidence from 0 to 1, and whether it was read from the mesh or guessed by proportion."""

    point: Array
    confidence: float
    guessed: bool


@dataclass(frozen=True)
class ArmJoints:
    """The joints of one arm; `bend` is the unit direction of the elbow, None for a straight arm."""

    shoulder: Read
    elbow: Read
    wrist: Read
    hand_end: Read
    bend: Array | None


def joints_of(net: Net, line: Line, tip: Array, inward: Array) -> ArmJoints:
    """The joints of the arm with the centre line `line` and the fingertip `tip`, (3,).

    `inward` is a point in the lower torso, which tells the armpit's side from the outside.
    """
    # The limb ends where it parts from the torso, aslant; the sections there are not whole.
    radius = float(np.median(0.5 * (line.broad + line.thin)[len(line.along) // 2 :]))
    trusted = line.along < line.along[-1] - 0.7 * radius
    free = Line(line.points[trusted], line.along[trusted], line.broad[trusted], line.thin[trusted])
    about = 1.2 * float(free.along[-1])
    wrist_at, flare = _narrowest(free, about)
    corner, bend, upper = _corner(free, wrist_at, about)
    shoulder, sure = _shoulder(net, upper, free, radius, inward)
    whole = float(free.along[-1] + np.linalg.norm(shoulder - free.points[-1]))
    has_hand = flare > HAND_OVER_WRIST
    bent = bend >= LEAST_BEND
    if has_hand:
        wrist = Read(along_line(free, wrist_at), min(0.9, 0.5 + (flare - HAND_OVER_WRIST)), False)
    elif bent:
        upper_length = float(np.linalg.norm(corner - shoulder))
        elbow_at = whole - upper_length
        wrist = Read(along_line(free, max(0.0, elbow_at - upper_length * FOREARM / UPPER_ARM)), 0.4, True)
    else:
        wrist = Read(along_line(free, whole * HAND / WHOLE), 0.3, True)
    across = wrist.point - shoulder
    if bent:
        share = min(1.0, (bend - LEAST_BEND) / (PLAIN_BEND - LEAST_BEND))
        elbow = Read(corner, 0.6 + 0.3 * share, False)
        side = corner - shoulder - across * float((corner - shoulder) @ across / (across @ across))
        direction = side / np.linalg.norm(side)
    else:
        elbow = Read(shoulder + across * UPPER_ARM / (UPPER_ARM + FOREARM), GUESSED, True)
        direction = None
    return ArmJoints(Read(shoulder, sure, False), elbow, wrist, Read(tip, 0.9 if has_hand else 0.5, False), direction)


def _narrowest(line: Line, about: float) -> tuple[float, float]:
    """Where the line is narrowest near the hand, from the tip, and how much broader the hand is than that."""
    where = (line.along > SHORTEST_HAND * about) & (line.along < LONGEST_HAND * about)
    if np.count_nonzero(where) < 3:
        return HAND / WHOLE * about, 0.0
    smooth = np.convolve(np.pad(line.broad, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    index = np.flatnonzero(where)
    least = int(index[smooth[index].argmin()])
    flare = float(smooth[: least + 1].max() / max(smooth[least], 1e-30))
    return float(line.along[least]), flare


def _corner(line: Line, wrist_at: float, about: float) -> tuple[Array, float, tuple[Array, Array]]:
    """The elbow as the corner of two straight lines, their angle, and the upper arm's (point, direction inwards).

    The two lines that fit best, over all places of the corner; sections nearer to the corner than a radius are left
    out, because they cut both segments.
    """
    inside = (line.along > wrist_at) & (line.broad > 0.0)
    points, along = line.points[inside], line.along[inside]
    reach = about - wrist_at
    best: tuple[float, Array, float, tuple[Array, Array]] | None = None
    for where in np.linspace(along[0], along[-1], 60):
        # Measured from the shoulder: the upper arm's part of the way.
        if not ELBOW_SEARCH[0] < (about - where) / reach < ELBOW_SEARCH[1]:
            continue
        gap = 0.06 * reach
        fore, upper = points[along < where - gap], points[along > where + gap]
        if len(fore) < 4 or len(upper) < 4:
            continue
        (a, u), (b, v) = straight(fore), straight(upper)
        rest = _off(fore, a, u) + _off(upper, b, v)
        rest /= len(fore) + len(upper)
        if best is None or rest < best[0]:
            best = rest, _meeting(a, u, b, v), math.acos(max(-1.0, min(1.0, float(u @ v)))), (b, v)
    if best is None:
        middle, axis = straight(points)
        return middle, 0.0, (middle, axis)
    _, corner, bend, upper_line = best
    if bend < LEAST_BEND:
        return corner, bend, straight(points)
    return corner, bend, upper_line


def _off(points: Array, at: Array, direction: Array) -> float:
    offset = points - at
    return float((offset**2).sum() - ((offset @ direction) ** 2).sum())


def _meeting(a: Array, u: Array, b: Array, v: Array) -> Array:
    """The middle of the nearest points of two lines; for parallel ones, the middle of `a` and `b`."""
    cosine = float(u @ v)
    room = 1.0 - cosine * cosine
    if room < 1e-9:
        return 0.5 * (a + b)
    gap = b - a
    first = (float(gap @ u) - cosine * float(gap @ v)) / room
    second = (cosine * float(gap @ u) - float(gap @ v)) / room
    return 0.5 * (a + first * u + b + second * v)


def _shoulder(
    net: Net, upper: tuple[Array, Array], line: Line, radius: float, inward: Array
) -> tuple[Array, float]:
    """The shoulder joint on the upper arm's axis, inside the armpit's fold, and how sure it is.

    From the last whole section inwards: the armpit is where the surface on the torso's side leaves the axis. The joint
    is deeper by the slant of the arm, but not past where the axis comes near to the shoulder's outside.
    """
    at, axis = upper
    start = at + axis * float((line.points[-1] - at) @ axis)
    towards = inward - start
    towards = towards - axis * float(towards @ axis)
    towards /= max(float(np.linalg.norm(towards)), 1e-30)
    offset = net.points - start
    depth = offset @ axis
    flat = offset - depth[:, None] * axis
    away = np.linalg.norm(flat, axis=1)
    cosine = (flat @ towards) / np.maximum(away, 1e-30)
    near = (away < 4.0 * radius) & (depth > -2.0 * radius) & (depth < 9.0 * radius)
    step = 0.25 * net.width
    fold, found = 0.0, False
    half = 0.75 * net.width
    inner = near & (cosine > 0.7)
    for depth_now in np.arange(0.0, 7.0 * radius, step):
        here = inner & (np.abs(depth - depth_now) < half)
        if not here.any() or away[here].min() > OPEN_ARMPIT * radius:
            fold, found = float(depth_now), True
            break
    # Unit axis across the torso's side: how much of the arm's axis goes sideways.
    sideways = max(abs(float(axis[0])), 0.05)
    drop = math.sqrt(max(0.0, 1.0 - sideways * sideways))
    deepest = fold + radius * (INSIDE_FOLD + drop) / sideways
    outer = net.points[near & (cosine < -0.2)]
    best = fold
    for depth_now in np.arange(fold, min(deepest, fold + 6.0 * radius) + step, step):
        point = start + depth_now * axis
        if len(outer) and np.linalg.norm(outer - point, axis=1).min() < UNDER_SKIN * radius:
            break
        best = float(min(depth_now, deepest))
    return start + best * axis, 0.7 if found else 0.3
