"""Which way a palm faces: the hand's thin direction, with the thumb or convention for its sign."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .surface import Array

# Thickness over breadth above which a hand has no flat side.
FLAT = 0.75
# The thumb: how much farther than the other side the hand reaches near the wrist, over its breadth.
THUMB = 0.2


@dataclass(frozen=True)
class Palm:
    """Direction out of the palm, unit; how sure; whether it was guessed; whether the thumb gave its sign."""

    direction: Array
    confidence: float
    guessed: bool
    by_thumb: bool


def palm_of(points: Array, areas: Array, wrist: Array, end: Array, left: bool, usual: Array) -> Palm:
    """The palm of the hand with the patches `points`, (N, 3), between `wrist` and `end`, (3,).

    `usual` is where palms face by convention, down and inwards; it gives the sign where no thumb does, and the
    direction where the hand is not flat.
    """
    along = (end - wrist) / np.linalg.norm(end - wrist)
    guess = usual - along * float(usual @ along)
    guess /= max(float(np.linalg.norm(guess)), 1e-30)
    length = float(np.linalg.norm(end - wrist))
    offset = points - wrist
    height = offset @ along
    inside = (height > 0.1 * length) & (height < 1.05 * length) & (np.linalg.norm(offset, axis=1) < 1.3 * length)
    if np.count_nonzero(inside) < 12:
        return Palm(guess, 0.2, True, False)
    flat = (offset - height[:, None] * along)[inside]
    height, weight = height[inside], areas[inside]
    mean = weight @ flat / weight.sum()
    values, axes = np.linalg.eigh(((flat - mean) * weight[:, None]).T @ (flat - mean) / weight.sum())
    thin = axes[:, 1] - along * float(axes[:, 1] @ along)
    thin /= np.linalg.norm(thin)
    flatness = float(np.sqrt(max(values[1], 0.0) / max(values[2], 1e-30)))
    if flatness > FLAT:
        return Palm(guess, 0.2, True, False)
    # Fingers x thumb points out of a left palm, and into a right one.
    broad = np.cross(thin, along)
    side = flat @ broad
    breadth = float(np.quantile(side, 0.98) - np.quantile(side, 0.02))
    if not breadth > 0.0:
        return Palm(guess, 0.2, True, False)
    near = height < 0.65 * length
    beyond = height > 0.65 * length
    thumb = 0.0
    if near.sum() > 6 and beyond.sum() > 6:
        centre = 0.5 * (side[beyond].max() + side[beyond].min())
        thumb = float((side[near].max() - centre) + (side[near].min() - centre)) / breadth
    if abs(thumb) > THUMB:
        out = np.cross(along, broad if thumb > 0.0 else -broad)
        direction = out if left else -out
        return Palm(direction, 0.9 - 0.5 * flatness + 0.2, False, True)
    direction = thin if float(thin @ usual) >= 0.0 else -thin
    return Palm(direction, 0.9 - 0.5 * flatness, False, False)
