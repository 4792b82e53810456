"""The arm at the worst frame as an inline SVG, from the front and from its own side.

A slide is mostly far smaller than an arm, so each view has a lens that shows the held point magnified: a ring where it
should be, a dot where it was, and a bar for scale. A slide that shows by itself is drawn where it is.
"""

from __future__ import annotations

import html
import itertools
import math

import numpy as np
from numpy.typing import NDArray

from ...arm_words import SIDE_WORDS, side_of
from ..results import Check, Trace
from .summary import quantity

Array = NDArray[np.float64]

WIDTH, HEIGHT = 480, 220
VIEW_WIDTH = WIDTH // 2
# Square that holds the arm, and the lens beside it, within a view; user units.
ARM_LEFT, ARM_TOP, ARM_SIZE = 10.0, 36.0, 128.0
LENS_X, LENS_Y, LENS_RADIUS = 192.0, 88.0, 40.0
# Part of the lens's radius that the slide takes up.
LENS_SHARE = 0.72
# A slide below this is nothing but the rounding of coordinates, units of the arm's length.
LEAST_SLIDE = 1e-12
# A lens that enlarges less than this explains nothing.
LEAST_FACTOR = 1.5
JOINTS = ("clavicle", "shoulder", "elbow", "wrist")


def figure(check: Check, trace: Trace, length: float) -> str:
    """The `<svg>` of the pose; "" if the pose holds no numbers. `length` is L in metres."""
    chain = np.asarray(trace.chain, float)
    if chain.shape != (4, 3) or not np.isfinite(chain).all() or not length > 0.0:
        return ""
    wanted, found = _held(trace)
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
        + (_lens(wanted, found, centre, right, ARM_SIZE / extent, length, slide) if slide > LEAST_SLIDE else "")
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


def _held(trace: Trace) -> tuple[Array, Array] | tuple[None, None]:
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
    size = _nice(0.3 * ARM_SIZE / (scale * length))
    return "".join(parts) + _bar(ARM_LEFT, HEIGHT - 24.0, size * length * scale, size)


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


def _lens(
    wanted: Array | None, found: Array | None, centre: Array, right: Array, scale: float, length: float, slide: float
) -> str:
    """The held point magnified. The lens is round the wanted point, its scale is the same in both views."""
    assert wanted is not None and found is not None
    (spot, there) = _project(np.stack([wanted, found]) - centre, right, scale)
    magnified = LENS_RADIUS * LENS_SHARE / (slide * length)
    if magnified / scale < LEAST_FACTOR:
        return _pair(spot, there) + _legend()
    middle = np.array([LENS_X, LENS_Y])
    size = _nice(0.9 * LENS_RADIUS / (magnified * length))
    bar = size * length * magnified
    # From the small ring to the lens's rim, on the side that looks at it.
    towards = spot - middle
    rim = middle + towards / max(float(np.hypot(*towards)), 1e-9) * LENS_RADIUS
    return (
        f'<path class="leader" d="M{spot[0]:.1f} {spot[1]:.1f}L{rim[0]:.1f} {rim[1]:.1f}"/>'
        f'<circle class="spot" cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="8"/>'
        f'<circle class="lens" cx="{LENS_X:g}" cy="{LENS_Y:g}" r="{LENS_RADIUS:g}"/>'
        + _pair(middle, middle + (there - spot) / scale * magnified)
        + f'<text class="part" x="{LENS_X:g}" y="{LENS_Y - LENS_RADIUS - 8:g}" text-anchor="middle">'
        f"enlarged {_times(magnified / scale)}</text>"
        + _bar(LENS_X - bar / 2.0, LENS_Y + LENS_RADIUS + 18.0, bar, size)
        + _legend()
    )


def _pair(wanted: Array, found: Array) -> str:
    """Ring, dot and the way from one to the other, on the page."""
    return (
        f'<path class="slide" d="M{wanted[0]:.1f} {wanted[1]:.1f}L{found[0]:.1f} {found[1]:.1f}"/>'
        f'<circle class="wanted" cx="{wanted[0]:.1f}" cy="{wanted[1]:.1f}" r="6"/>'
        f'<circle class="found" cx="{found[0]:.1f}" cy="{found[1]:.1f}" r="4"/>'
    )


def _legend() -> str:
    ring, dot = LENS_X - 26, LENS_X - 15
    return (
        f'<circle class="wanted" cx="{ring:g}" cy="{HEIGHT - 35}" r="4"/>'
        f'<text class="part" x="{dot:g}" y="{HEIGHT - 31}">wanted</text>'
        f'<circle class="found" cx="{ring:g}" cy="{HEIGHT - 15}" r="4"/>'
        f'<text class="part" x="{dot:g}" y="{HEIGHT - 11}">found</text>'
    )


def _times(factor: float) -> str:
    """How much the lens enlarges, one digit: the bar is exact, this is for the eye."""
    if factor >= 1e6:
        return f"{quantity(float(f'{factor:.0e}'), '1')}×"
    return f"{float(f'{factor:.1g}' if factor >= 1 else f'{factor:.2g}'):,g}×"


def _bar(x: float, y: float, width: float, size: float) -> str:
    """A scale bar of `size` arm lengths with its label underneath."""
    return (
        f'<path class="bar" d="M{x:.1f} {y - 4:.1f}v8m0 -4h{width:.1f}m0 -4v8"/>'
        f'<text class="part" x="{x + width / 2:.1f}" y="{y + 15:.1f}" text-anchor="middle">'
        f"{html.escape(quantity(size, 'L'))}</text>"
    )


def _nice(value: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten that is not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(factor * power for factor in (1.0, 2.0, 5.0) if factor * power <= value * (1.0 + 1e-9))
