"""Motion to study: joints of arms over time, in one frame and unit, whatever file it came from.

World axes of a study: up +Z, the character faces -Y in its first frame as far as the file says; metres, seconds.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError

Array = NDArray[np.float64]

SLOWEST, FASTEST = 1.0, 1000.0  # Hz
ADULT = 0.6  # metres from shoulder to wrist, from memory
# From shoulder to wrist, metres: a child's arm to a giant's.
SHORTEST_ARM, LONGEST_ARM = 0.05, 20.0
# A clip whose arm lengths vary by more than this part is of markers that slip, or in another unit per frame.
LENGTH_SPREAD = 0.25


@dataclass(frozen=True, eq=False)
class ArmMotion:
    """Joints of one arm, (N, 3) each, metres, world.

    Attributes:
        arm: its id, such as "L".
        shoulder, elbow, wrist: joint centres.
        tip: end of the hand; None where the file does not have it.
        hand: (N, 3, 3) orientation of the hand, world: Y along it, Z out of its palm; None where positions alone are
            known.
        upper: (N, 3, 3) orientation of the upper arm, world: Y along it, Z to the side that the elbow bends to; None
            where it is told by the plane of the elbow alone.
        clavicle: the inner end of the clavicle; None where the file does not have it.
    """

    arm: str
    shoulder: Array
    elbow: Array
    wrist: Array
    tip: Array | None = None
    hand: Array | None = None
    upper: Array | None = None
    clavicle: Array | None = None

    @property
    def length(self) -> float:
        """Median of upper arm and forearm over the frames, metres: L."""
        return float(
            np.median(np.linalg.norm(self.elbow - self.shoulder, axis=1))
            + np.median(np.linalg.norm(self.wrist - self.elbow, axis=1))
        )


@dataclass(frozen=True, eq=False)
class StudyMotion:
    """Attributes:
    name: of the clip.
    rate: frames a second.
    arms: those that were found.
    torso: (N, 4, 4), rigid frame of what carries the shoulders: axes left, back, up.
    things: (name, positions (N, 3)) of what hands may hold on to besides each other.
    notes: sentences about what was repaired or left out on reading.
    left_out: frames of the file before the study's first one.
    """

    name: str
    rate: float
    arms: tuple[ArmMotion, ...]
    torso: Array
    things: tuple[tuple[str, Array], ...] = field(default_factory=tuple)
    notes: tuple[str, ...] = ()
    left_out: int = 0

    @property
    def frames(self) -> int:
        """N."""
        return len(self.torso)


def checked(motion: StudyMotion, *, stretches: bool = False) -> StudyMotion:
    """`motion`, or MotionError with what is wrong: a rate, a length, a number of frames, a value that is no number.

    `stretches`: whether the arms are a rig's own, whose segments may have any length at any time.
    """
    if not (np.isfinite(motion.rate) and SLOWEST <= motion.rate <= FASTEST):
        raise MotionError(
            f"{motion.name}: {motion.rate:g} frames a second is no rate of a recording: give {SLOWEST:g} to {FASTEST:g}"
        )
    if not motion.arms:
        raise MotionError(f"{motion.name}: no arms were found: name the joints of shoulder, elbow and wrist")
    if motion.frames < 2:
        raise MotionError(f"{motion.name}: {motion.frames} frame holds no motion: a study needs 2 or more")
    for arm in motion.arms:
        for name in ("shoulder", "elbow", "wrist", "tip"):
            points = getattr(arm, name)
            if points is None:
                continue
            if points.shape != (motion.frames, 3):
                raise MotionError(
                    f"{motion.name}, arm {arm.arm}: {name} has shape {points.shape}; expected ({motion.frames}, 3)"
                )
            if not np.isfinite(points).all():
                frame = int(np.argmin(np.isfinite(points).all(axis=1)))
                raise MotionError(
                    f"{motion.name}, arm {arm.arm}: the {name} has no number at frame {frame}: fill the gap or cut the "
                    "clip there"
                )
        if not SHORTEST_ARM <= arm.length <= LONGEST_ARM:
            raise MotionError(
                f"{motion.name}, arm {arm.arm}: its length is {arm.length:.4g} m, which is no arm's: give the unit "
                f"({_likely_unit(arm.length)})"
            )
        for first, second, name in (("shoulder", "elbow", "upper arm"), ("elbow", "wrist", "forearm")):
            sizes = np.linalg.norm(getattr(arm, second) - getattr(arm, first), axis=1)
            middle = float(np.median(sizes))
            if not middle > 0.0:
                raise MotionError(
                    f"{motion.name}, arm {arm.arm}: {first} and {second} are at one place, so the {name} has no "
                    "length: name the right joints"
                )
            spread = float(np.quantile(np.abs(sizes / middle - 1.0), 0.95))
            if spread > LENGTH_SPREAD and not stretches:
                raise MotionError(
                    f"{motion.name}, arm {arm.arm}: the {name} changes its length by more than "
                    f"{100 * LENGTH_SPREAD:.0f} % in some of the frames: the joints named are not those of one arm"
                )
    return motion


def _likely_unit(length: float) -> str:
    """The unit in which an arm of this many units would be an adult's, 0.6 m."""
    units = {"millimetres": 0.001, "centimetres": 0.01, "inches": 0.0254, "feet": 0.3048, "metres": 1.0}
    if not length > 0.0:
        return "the arm has no length at all"
    likely = min(units, key=lambda name: abs(np.log(length * units[name] / 0.6)))
    return f"{likely} would make it {length * units[likely]:.2g} m"
