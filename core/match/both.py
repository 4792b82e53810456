"""Match to an elbow and a hand that are both held (ik 1, elbow 1): the aim that gives the upper arm its roll.

The upper arm is the IK upper arm swung to the held elbow, so its roll comes from where the aim stands around the line
from the shoulder to the hand. With u along that line, e along the upper arm, x its hinge, α the IK upper arm's angle
from u and ω the aim's angle about u: the IK frame is the wanted one swung back from e to y = cos α u + sin α p(ω),
and its X is at right angles to u (docs/arm.md, 6). That is linear in cos ω and sin ω:

    sin τ (1 + cos α cos β) cos ω - cos τ (cos α + cos β) sin ω + sin τ sin α sin β = 0

with β the angle between u and e, and τ the roll of x against the plane of u and e. The squares of the first two
coefficients exceed that of the last by (cos α + cos β)², so it has a solution for every pose.
"""

from __future__ import annotations

import numpy as np

from ..rotations import unit
from ..solve.settings import ArmGeometry, Array
from .nearest import Joints, across, bend_side
from .target import WantedDials


def roll_side(geometry: ArmGeometry, joints: Joints, wanted: WantedDials, upper: Array, fore: Array) -> Array:
    """Units (N, 3) from the line shoulder to wrist towards the aim; `upper`, `fore` (N,) are the dialled lengths."""
    span = joints.wrist - joints.shoulder
    along, e, x = unit(span), joints.upper_arm[..., :, 1], joints.upper_arm[..., :, 0]
    first = bend_side(joints, along)
    second = np.cross(along, first)
    cos_a = _ik_cosine(geometry, wanted, np.linalg.norm(span, axis=-1), upper, fore)
    sin_a = np.sqrt(np.maximum(0.0, 1.0 - cos_a * cos_a))
    cos_b, sin_b = np.sum(e * along, -1), np.sum(e * first, -1)
    cos_t = np.sum(x * second, -1)
    sin_t = np.sum(x * (along * sin_b[:, None] - first * cos_b[:, None]), -1)
    a, b = sin_t * (1.0 + cos_a * cos_b), -cos_t * (cos_a + cos_b)
    c = sin_t * sin_a * sin_b
    # A cos ω + B sin ω = -C has the two solutions middle ± open.
    middle = np.arctan2(b, a)
    root = np.sqrt(np.maximum(0.0, a * a + b * b - c * c))
    opening = np.arctan2(root, -c)
    best, best_word = first, np.full(len(c), -np.inf)
    for angle in (middle + opening, middle - opening):
        side = first * np.cos(angle)[:, None] + second * np.sin(angle)[:, None]
        y = along * cos_a[:, None] + side * sin_a[:, None]
        back = x - (e + y) * (np.sum(x * y, -1) / (1.0 + np.sum(e * y, -1)))[:, None]
        word = np.sum(back * np.cross(side, along), -1)
        best = np.where((word > best_word)[:, None], side, best)
        best_word = np.maximum(best_word, word)
    return unit(across(best, along))


def _ik_cosine(g: ArmGeometry, wanted: WantedDials, far: Array, a: Array, b: Array) -> Array:
    """Cosine (N,) of the angle between the IK upper arm and the line to a hand `far` away (docs/arm.md, 5 and 6)."""
    straight = a + b
    nearest = np.sqrt(a * a + b * b + 2.0 * a * b * np.cos(g.options.fold_limit))
    knee = wanted.soft * g.options.soft_share * straight
    past = far - (straight - knee)
    slack = np.where(
        past <= 0.0, straight - far, knee * np.exp(-np.maximum(past, 0.0) / np.where(knee > 0.0, knee, 1.0))
    )
    reach = straight - np.minimum(slack, straight - nearest)
    return np.asarray(np.clip((a * a - b * b + reach * reach) / (2.0 * reach * a), -1.0, 1.0))
