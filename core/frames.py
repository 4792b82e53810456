"""Rest frames: from joints to the axes of an arm's bones, one convention for both sides (docs/arm.md, "Rest frames").

Rotation orders are chosen so that the middle axis, at whose 90 degrees an Euler triple is singular, is the one that
uses least of its way there (ranges: AAOS, in Norkin & White, Measurement of Joint Motion, table A.1):

- clavicle `XYZ`: the middle axis is the clavicle's own roll, which hardly moves (common practice).
- upper arm `XYZ`: the middle axis is the roll, 70 to 90 degrees; raising and swinging both pass 90.
- forearm `YZX`: the middle axis is the sideways tilt of the hinge, which a real elbow does not have.
- hand `YZX`: the middle axis is the radial and ulnar deviation, 20 to 30 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import GuideError
from .guide import STRAIGHT_ELBOW, ArmGuide, GirthGuide, Vec3
from .hand_frames import FingerFrames, PivotPoints, finger_frames, frame_along, pivot_points

Array = NDArray[np.float64]

CLAVICLE_ORDER = "XYZ"
UPPER_ARM_ORDER = "XYZ"
FOREARM_ORDER = "YZX"
HAND_ORDER = "YZX"
# Upper arm, forearm, half the hand's width and depth, over L.
GIRTHS = (0.11, 0.085, 0.075, 0.035)
ORDERS = (CLAVICLE_ORDER, UPPER_ARM_ORDER, FOREARM_ORDER, HAND_ORDER)


@dataclass(frozen=True)
class ArmFrames:
    """Rest frames of one arm's bones, (4, 4), armature space, metres, heads at the joints; and the bones' lengths.

    `girth` is what controls are drawn around. `fingers` and `pivots` are the hand's: see hand_frames.py.
    """

    side: str
    clavicle: Array
    upper_arm: Array
    forearm: Array
    hand: Array
    clavicle_length: float
    upper_length: float
    forearm_length: float
    hand_length: float
    girth: GirthGuide
    pivots: PivotPoints
    fingers: tuple[FingerFrames, ...] = ()

    @property
    def length(self) -> float:
        """The arm's length L: upper arm and forearm, metres."""
        return self.upper_length + self.forearm_length


def arm_frames(arm: ArmGuide, up: Vec3) -> ArmFrames:
    """Rest frames of `arm`.

    Raises GuideError where a direction that an axis needs is missing or parallel to its bone.
    """
    clavicle, shoulder, elbow, wrist, end = (
        np.array(point, float) for point in (arm.clavicle, arm.shoulder, arm.elbow, arm.wrist, arm.hand_end)
    )
    hinge = _hinge(arm, shoulder, elbow, wrist)
    where = f"{arm.id} arm"
    upper = frame_along(shoulder, elbow, hinge, f"{where}: upper arm and bend")
    hand = frame_along(wrist, end, np.cross(end - wrist, np.array(arm.palm)), f"{where}: hand and palm")
    return ArmFrames(
        side=arm.id,
        clavicle=frame_along(
            clavicle, shoulder, np.cross(shoulder - clavicle, np.array(up)), f"{where}: clavicle and up"
        ),
        upper_arm=upper,
        forearm=_hinged(upper, elbow, wrist, f"{where}: elbow and wrist"),
        hand=hand,
        clavicle_length=float(np.linalg.norm(shoulder - clavicle)),
        upper_length=float(np.linalg.norm(elbow - shoulder)),
        forearm_length=float(np.linalg.norm(wrist - elbow)),
        hand_length=float(np.linalg.norm(end - wrist)),
        girth=arm.girth or girth_by_proportion(float(np.linalg.norm(elbow - shoulder) + np.linalg.norm(wrist - elbow))),
        fingers=finger_frames(arm, where),
        pivots=pivot_points(arm, hand, float(np.linalg.norm(end - wrist))),
    )


def girth_by_proportion(length: float) -> GirthGuide:
    """How thick a clothed person's arm of the length L is, metres (common practice)."""
    return GirthGuide(*(part * length for part in GIRTHS))


def flexion(arm: ArmGuide) -> float:
    """Angle between forearm and the upper arm's line at rest, radians: 0 for a straight arm."""
    upper = np.array(arm.elbow) - np.array(arm.shoulder)
    fore = np.array(arm.wrist) - np.array(arm.elbow)
    return float(np.arctan2(np.linalg.norm(np.cross(upper, fore)), upper @ fore))


def _hinge(arm: ArmGuide, shoulder: Array, elbow: Array, wrist: Array) -> Array:
    """The elbow's axis: from the bend where it is plain, otherwise from the side that the guide names."""
    if flexion(arm) >= STRAIGHT_ELBOW:
        return np.cross(elbow - shoulder, wrist - elbow)
    if arm.bend is None:
        raise GuideError(
            f"the {arm.id} arm is straight, so its elbow could bend to any side: "
            "say where the elbow points (bend), or move the elbow marker a little"
        )
    return np.cross(np.array(arm.bend, float), wrist - shoulder)


def _hinged(upper: Array, elbow: Array, wrist: Array, what: str) -> Array:
    """The upper arm's frame, moved to the elbow and turned by the smallest rotation that takes its Y to the wrist."""
    along = frame_along(elbow, wrist, upper[:3, 0] + 1e-3 * upper[:3, 2], what)
    axis = np.cross(upper[:3, 1], along[:3, 1])
    cosine = float(upper[:3, 1] @ along[:3, 1])
    if cosine < -0.999:
        raise GuideError(f"{what}: the forearm folds back onto the upper arm; open the elbow")
    skew = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    frame = along.copy()
    frame[:3, :3] = (np.eye(3) + skew + skew @ skew / (1.0 + cosine)) @ upper[:3, :3]
    return frame
