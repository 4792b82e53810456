"""The arm at the worst frame as an inline SVG, from the front and from its own side.

A slide is mostly far smaller than an arm, so each view has a lens that shows the held point magnified: a ring where it
should be, a dot where it was, and a bar for scale. A slide that shows by itself is drawn where it is.
"""

from __future__ import annotations

import html
import itertools

import numpy as np
from numpy.typing import NDArray

from ...arm_words import SIDE_WORDS, side_of
from ..results import Check, Trace
from . import lens
from .summary import quantity

Array = NDArray[np.float64]

WIDTH, HEIGHT = 480, 220
VIEW_WIDTH = WIDTH // 2
# Square that holds the arm, and the lens beside it, within a view; user units.
ARM_LEFT, ARM_TOP, ARM_SIZE = 10.0, 36.0, 128.0
LENS_X, LENS_Y, LENS_RADIUS = 184.0, 88.0, 40.0
# A slide below this is nothing but the rounding of coordinates, units of the arm's length.
LEAST_SLIDE = 1e-12
JOINTS = ("clavicle", "shoulder", "elbow", "wrist")


def figure(check: Check, trace: Trace, length: float) -> str:
    """The `<svg>` of the pose; "" if the pose holds no numbers. `length` is L in metres."""
    chain = np.asarray(trace.chain, float)
    if chain.shape != (4, 3) or not np.isfinite(chain).all() or not length > 0.0:
        return ""
    wanted, found = held(trace)
    slide = float(np.linalg.norm(found - wanted)) / length if wanted is not None and found is not None else 0.0
    label = f"Pose at frame {check.worst_frame}, from the front and from the {_side(check)} side"
    if slide > LEAST_SLIDE:
        label += f"; the held point is {quantity(slide, 'L')} from where it should be"
    # Towards the viewer's right: from the front the character's left, +X; from its left its back, +Y.
    across = np.array([0.0, 1.0 if side_of(check.arm) == "L" else -1.0, 0.0])
    views = (("from the front", np.array([1.0, 0.0, 0.0])), (f"from its {_side(check)} side", across))
    # One scale for both views: as wide and high as the larger of them.
    seen = chain if wanted is None or found is None else np.vstack([chain, wanted, found])
    centre = (seen.min(axis=0) + seen.max(axis=0)) / 2.0
    extent = max(float((seen.max(axis=0) - seen.min(axis=0)).max()), 0.35 * length)
    parts = [
        f'<g transform="translate({index * VIEW_WIDTH} 0)">'
        f'<text class="caption" x="{ARM_LEFT:g}" y="18">{html.escape(name)}</text>'
        + _view(chain - centre, right, ARM_SIZE / extent, length)
        + (
            _slide(wanted, found, centre, right, ARM_SIZE / extent, length)
            if wanted is not None and found is not None and slide > LEAST_SLIDE
            else ""
        )
        + "</g>"
        for index, (name, right) in enumerate(views)
    ]
    return (
        f'<svg class="pose" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{html.escape(label)}">'
        + "".join(parts)
        + "</svg>"
    )


def _side(check: Check) -> str:
    return SIDE_WORDS[side_of(check.arm)]


def held(trace: Trace) -> tuple[Array, Array] | tuple[None, None]:
    """The held point that is furthest off: where it should be, where it was."""
    wanted, found = np.asarray(trace.wanted, float), np.asarray(trace.found, float)
    if wanted.shape != found.shape or wanted.ndim != 2 or not len(wanted):
        return None, None
    off = np.linalg.norm(found - wanted, axis=1)
    if not np.isfinite(off).all():
        return None, None
    worst = int(np.argmax(off))
    return wanted[worst], found[worst]


def _project(points: Array, right: Array, scale: float) -> Array:
    """Points (N, 3), metres from the centre, on the page (N, 2): up is -y there."""
    flat = np.stack([points @ right, -points[:, 2]], axis=-1) * scale
    return np.asarray(flat + np.array([ARM_LEFT + ARM_SIZE / 2.0, ARM_TOP + ARM_SIZE / 2.0]))


def _view(chain: Array, right: Array, scale: float, length: float) -> str:
    """Bones as tapering blades, joints as discs, and a bar for scale."""
    joints = _project(chain, right, scale)
    parts = [_blade(head, tail, index == 0) for index, (head, tail) in enumerate(itertools.pairwise(joints))]
    parts += [f'<circle class="joint" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>' for x, y in joints]
    seen: list[Array] = []
    for name, (x, y) in list(zip(JOINTS, joints, strict=True))[1:]:
        # A label that would cover another one moves down.
        place = np.array([x, y - 9.0])
        while any(abs(place[0] - other[0]) < 52.0 and abs(place[1] - other[1]) < 12.0 for other in seen):
            place[1] += 12.0
        seen.append(place)
        end = place[0] > ARM_LEFT + ARM_SIZE * 0.6
        anchor, shift = ("end", -7.0) if end else ("start", 7.0)
        parts.append(
            f'<text class="part" x="{place[0] + shift:.1f}" y="{place[1]:.1f}" text-anchor="{anchor}">{name}</text>'
        )
    size, label = _arm_lengths(0.3 * ARM_SIZE / (scale * length))
    return "".join(parts) + lens.bar(ARM_LEFT, HEIGHT - 24.0, size * length * scale, label)


def _blade(head: Array, tail: Array, clavicle: bool) -> str:
    along = tail - head
    reach = float(np.hypot(*along))
    if reach < 1.0:
        return ""
    across = np.array([-along[1], along[0]]) / reach * (4.0 if clavicle else 6.5)
    waist = head + along * 0.16
    corners = (head, waist + across, tail, waist - across)
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in corners)
    return f'<path class="bone" d="M{path}Z"/>'


def _slide(wanted: Array, found: Array, centre: Array, right: Array, scale: float, length: float) -> str:
    """The held point, magnified where its slide is small. The lens's scale is the same in both views."""
    spot, there = _project(np.stack([wanted, found]) - centre, right, scale)
    # A slide along the view is no point: the lens is made for the whole slide.
    whole = float(np.linalg.norm(found - wanted)) * scale
    return lens.slide(spot, there, np.array([LENS_X, LENS_Y]), LENS_RADIUS, _arm_lengths, scale * length, whole) + (
        _legend()
    )


def _arm_lengths(most: float) -> tuple[float, str]:
    size = lens.nice(most)
    return size, quantity(size, "L")


def _legend() -> str:
    ring, dot = LENS_X - 26, LENS_X - 15
    return (
        f'<circle class="wanted" cx="{ring:g}" cy="{HEIGHT - 35}" r="4"/>'
        f'<text class="part" x="{dot:g}" y="{HEIGHT - 31}">wanted</text>'
        f'<circle class="found" cx="{ring:g}" cy="{HEIGHT - 15}" r="4"/>'
        f'<text class="part" x="{dot:g}" y="{HEIGHT - 11}">found</text>'
    )
