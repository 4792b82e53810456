"""The hold and the dialled lengths under a soft reach, which stays short of its target (docs/arm.md, 5 to 10).

With D = the segments' length together, d = the wrist's distance and R = the dialled length together, the arm's shape
asks for a slack of σ R, σ = 1 - d / D.

- Stretch 0, or the soft zone not reached (σ ≥ κ, the soft share): the segments' own lengths, the hold at the wrist.
- Stretch 1: the triangle is stretched by s = D / R, so σ = κ exp(-(d / R - (1 - κ)) / κ) gives R.
- Otherwise the hold is moved along the forearm past the wrist, and three unknowns (its distance and the two dialled
  lengths) meet three equations (both lengths, the elbow's angle), whose exponential has no closed solution: Newton's
  steps, of which the equations are made nearly linear by taking logarithms.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..solve.settings import ArmGeometry, Array
from .nearest import Joints
from .target import WantedDials

# The furthest that a hold may be moved past the wrist, arm lengths; an arm that is straighter than a soft reach gets
# with it is matched as nearly as it can be.
PAST_WRIST = 1.0
NEWTON_STEPS = 60
LENGTH_STEPS = 60
DIFFERENCE = 1e-6
# The largest step of an unknown's logarithm, or of the hold's distance over the arm's length.
LARGEST_STEP = 0.25
LEAST_ANGLE = 1e-7
SOLVED = 1e-12


def soft_hold(
    geometry: ArmGeometry, joints: Joints, wanted: WantedDials, upper: Array, fore: Array
) -> tuple[Array, Array, Array]:
    """The hold's position (N, 3), and the dialled lengths (N,), for segments of the lengths `upper`, `fore` (N,)."""
    hold = joints.wrist.copy()
    upper, fore = upper.copy(), fore.copy()
    share = wanted.soft * geometry.options.soft_share
    whole = upper + fore
    far = np.linalg.norm(joints.wrist - joints.shoulder, axis=-1)
    lack = np.maximum(0.0, whole - far) / whole
    soft = (share > 0.0) & (lack < share)
    if not soft.any():
        return hold, upper, fore
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (1.0 - share) - share * np.log(lack / share)
        factor = ratio * whole / far
    stretched = soft & (wanted.stretch == 1.0) & (factor <= geometry.options.stretch_limit)
    upper[stretched] /= factor[stretched]
    fore[stretched] /= factor[stretched]
    pulled = np.flatnonzero(soft & ~stretched)
    if len(pulled):
        moved = _Pulled(geometry, joints, wanted, upper, fore, pulled)
        hold[pulled], upper[pulled], fore[pulled] = moved.solved()
    return hold, upper, fore


class _Pulled:
    """The equations of a pulled hold for some frames; unknowns (M, 3): log a, log b, t / (A + B) with t = |H - E|."""

    def __init__(
        self, g: ArmGeometry, joints: Joints, wanted: WantedDials, upper: Array, fore: Array, at: NDArray[np.intp]
    ) -> None:
        self.options = g.options
        self.size = g.upper_length + g.forearm_length
        self.stretch = wanted.stretch[at]
        self.share = wanted.soft[at] * g.options.soft_share
        self.upper, self.fore = upper[at], fore[at]
        self.elbow = (joints.elbow - joints.shoulder)[at]
        self.shoulder = joints.shoulder[at]
        self.direction = joints.forearm[at][..., :, 1]

    def solved(self) -> tuple[Array, Array, Array]:
        """Hold (M, 3) and dialled lengths (M,)."""
        least = self.fore / self.size
        most = least + PAST_WRIST
        unknowns = np.stack([np.log(self.upper), np.log(self.fore), least], -1)
        for _ in range(NEWTON_STEPS):
            residual = self._residual(unknowns)
            if float(np.abs(residual).max()) < SOLVED:
                break
            slopes = np.stack([self._slope(unknowns, index) for index in range(3)], -1)
            step = -np.einsum("nij,nj->ni", np.linalg.pinv(slopes), residual)
            step *= np.minimum(1.0, LARGEST_STEP / np.maximum(np.abs(step).max(-1), 1e-300))[:, None]
            unknowns = unknowns + step
            unknowns[:, 2] = np.clip(unknowns[:, 2], least, most)
        return self._finished(unknowns)

    def _finished(self, unknowns: Array) -> tuple[Array, Array, Array]:
        """Lengths that fit the hold as it is, where the hold could not go as far as it should."""
        solved = np.abs(self._residual(unknowns)).max(-1) < 1e-9
        fitted = unknowns.copy()
        for _ in range(LENGTH_STEPS):
            fitted[:, :2] -= self._residual(fitted)[:, :2]
        unknowns[~solved] = fitted[~solved]
        hold: Array = self.direction * (unknowns[:, 2:] * self.size)
        hold = hold + self.shoulder + self.elbow
        return hold, np.exp(unknowns[:, 0]), np.exp(unknowns[:, 1])

    def _slope(self, unknowns: Array, index: int) -> Array:
        ahead, behind = unknowns.copy(), unknowns.copy()
        ahead[:, index] += DIFFERENCE
        behind[:, index] -= DIFFERENCE
        return np.asarray((self._residual(ahead) - self._residual(behind)) / (2.0 * DIFFERENCE))

    def _residual(self, unknowns: Array) -> Array:
        """Logarithms (M, 3) of what each length and 1 - cos of the elbow's angle are over what they should be."""
        o = self.options
        a, b, gap = np.exp(unknowns[:, 0]), np.exp(unknowns[:, 1]), unknowns[:, 2] * self.size
        target = self.elbow + self.direction * gap[:, None]
        far = np.linalg.norm(target, axis=-1)
        straight = a + b
        knee = self.share * straight
        past = far - (straight - knee)
        slack = np.where(past <= 0.0, straight - far, knee * np.exp(-np.maximum(past, 0.0) / knee))
        reach = straight - slack
        grow = 1.0 + self.stretch * (np.clip(far / reach, 1.0, o.stretch_limit) - 1.0)
        need = 1.0 + self.stretch * (np.clip(gap / b, o.shortest, o.stretch_limit) - 1.0)
        # 1 - cos of the angle between upper arm and reach, as products: exact next to the straight arm.
        made = slack * (b + reach - a) / (2.0 * a * reach)
        sine = np.linalg.norm(np.cross(self.elbow, target), axis=-1)
        angle = np.arctan2(sine, np.sum(self.elbow * target, -1))
        asked = 2.0 * np.sin(np.maximum(angle, LEAST_ANGLE) / 2.0) ** 2
        with np.errstate(invalid="ignore", divide="ignore"):
            bent = np.log(np.maximum(made, 1e-300) / asked)
        return np.stack([np.log(a * grow / self.upper), np.log(b * need / self.fore), bent], -1)
