"""Points that a planted hand rolls over, from the skin on the palm's side of its surface."""

from __future__ import annotations

import numpy as np

from ..guide import PivotGuide, Vec3
from ..hand_frames import KNUCKLES_AT, PALM_AT
from .fingers import HandRead
from .hand_surface import HandSurface
from .surface import Array

# Strips along the hand, over its length: the heel's; half a strip's breadth at palm and knuckles; the fingertips'.
HEEL = (0.02, 0.22)
HALF_STRIP = 0.06
TIPS = 0.9
# The palm proper, without its borders and the thumb's ball, over its half breadth.
INNER_HALF = 0.7
# The skin within this of the lowest point, over the hand's length, touches with it.
TOUCHES = 0.01
# Skin within this of a fingertip is the tip's own, over the hand's length.
NEAR_TIP = 0.1


def pivots_of(hand: HandSurface, read: HandRead, palm: Array, aside: Array) -> PivotGuide | None:
    """The pivots of `hand`; `palm` points out of it, `aside` to the thumb's side; both units, upright to its axis.

    A flat hand on a table touches it with its heel and with the pads under its knuckles: the palm's pivot and its
    edges lie on the plane of the two, or on the skin where it reaches further. None where a strip holds no surface.
    """
    axes = np.stack([aside, hand.axis, palm])
    skin = (hand.net.vertices - hand.wrist) @ axes.T / hand.length
    thumb = np.zeros(len(hand.net.points), bool)
    for finger in read.fingers:
        if finger.thumb:
            thumb[finger.part.patches] = True
    flat = skin[~thumb[hand.net.patch]]
    fingers = [finger for finger in read.fingers if not finger.thumb]
    roots = np.array([finger.chain.joints[0] for finger in fingers]).reshape(-1, 3)
    tips = np.array([finger.chain.joints[-1] for finger in fingers]).reshape(-1, 3)
    roots, tips = ((points - hand.wrist) @ axes.T / hand.length for points in (roots, tips))
    along = float(roots[:, 1].mean()) if len(roots) else KNUCKLES_AT
    at = PALM_AT * along / KNUCKLES_AT
    heel_strip = _strip(flat, *HEEL)
    pad_strip = _strip(flat, along - HALF_STRIP, along + HALF_STRIP)
    palm_strip = _strip(flat, at - HALF_STRIP, at + HALF_STRIP)
    end_strip = _strip(flat, TIPS, np.inf)
    if min(map(len, (heel_strip, pad_strip, palm_strip, end_strip))) < 4:
        return None
    heel, pad = _lowest(heel_strip), _lowest(pad_strip)
    share = (at - heel[1]) / max(pad[1] - heel[1], 0.1)
    outer, inner = float(palm_strip[:, 0].min()), float(palm_strip[:, 0].max())
    # The thumb's own ball stands out to its side: the palm ends under the outermost knuckle's skin.
    if len(roots):
        inner = min(inner, float(pad_strip[:, 0].max()))
    middle = 0.5 * (outer + inner)
    under = palm_strip[np.abs(palm_strip[:, 0] - middle) < INNER_HALF * (inner - middle)]
    depth = float(heel[2] + share * (pad[2] - heel[2]))
    depth = max(depth, float(under[:, 2].max())) if len(under) else depth
    knuckles = roots.mean(axis=0) if len(roots) else _middle(pad_strip)
    fingertips = _under_tips(skin, tips) if len(tips) else np.array([_middle(end_strip)[0], 1.0, _lowest(end_strip)[2]])
    heel[0] = float(np.clip(0.0, heel_strip[:, 0].min(), heel_strip[:, 0].max()))

    def out(point: Array) -> Vec3:
        x, y, z = hand.wrist + hand.length * point @ axes
        return float(x), float(y), float(z)

    return PivotGuide(
        heel=out(heel),
        palm=out(np.array([middle, at, depth])),
        knuckles=out(knuckles),
        fingertips=out(fingertips),
        thumb_edge=out(np.array([inner, at, depth])),
        outer_edge=out(np.array([outer, at, depth])),
    )


def _strip(skin: Array, low: float, high: float) -> Array:
    return np.asarray(skin[(skin[:, 1] >= low) & (skin[:, 1] <= high)])


def _lowest(strip: Array) -> Array:
    """Where the strip touches a table: the middle of what is nearest to it, at the height of the nearest."""
    depth = float(strip[:, 2].max())
    point = strip[strip[:, 2] > depth - TOUCHES].mean(axis=0)
    point[2] = depth
    return np.asarray(point)


def _middle(strip: Array) -> Array:
    return np.asarray(0.5 * (strip.min(axis=0) + strip.max(axis=0)))


def _under_tips(skin: Array, tips: Array) -> Array:
    """The mean of the tips, at the mean depth of the skin under each."""
    depths = []
    for tip in tips:
        near = skin[np.linalg.norm(skin - tip, axis=1) < NEAR_TIP]
        depths.append(float(near[:, 2].max()) if len(near) else float(tip[2]))
    point = tips.mean(axis=0)
    point[2] = float(np.mean(depths))
    return np.asarray(point)
