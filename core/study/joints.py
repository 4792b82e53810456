"""Joint angles of a recorded arm in a person's terms, and the frames that they are read from.

Directions are in the torso's axes, those of a right arm mirrored to the left: left +X, back +Y, up +Z. The upper arm is
`u`, the forearm `f`, the side that the elbow bends to `z`, the hand `a`, its palm's normal `p`.

- shoulder: elevation of `u` from hanging; forward it is flexion, backward extension, to the side abduction. Rotation is
  the turn of `z` about `u` against where the smallest turn from hanging (bend side forward) takes it: 0 for a hanging
  arm whose bent forearm points forward, as in AAOS (Norkin & White); open where the arm is overhead.
- elbow: angle from `u` to `f` towards `z`.
- forearm and wrist: the hand is N·Ry(pronation)·Rz(radial deviation)·Rx(flexion), in the frame N along `f` whose palm
  faces the body as the arm hangs: the thumb-up zero of AAOS. The deviation, which is small, is the middle angle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..rotations import between, matrix_to_euler, quat_to_matrix, swing, unit
from .motion import ArmMotion, StudyMotion

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Degrees of elbow flexion from which positions alone tell to which side it bends, and of elevation up to which the
# upper arm's rotation has a zero.
BENT, OVERHEAD = 20.0, 150.0
DOWN, FORWARD = np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])
MIRROR = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, eq=False)
class JointAngles:
    """Degrees over the frames, (N,); NaN where a frame does not tell.

    Attributes:
        elevation: of the upper arm from hanging.
        azimuth: of the upper arm about up: 0 to the side, 90 forward, -90 backward, 180 across the body.
        rotation: of the upper arm; lateral positive.
        flexion: of the elbow.
        pronation, deviation, bend: of forearm and wrist: pronation, radial deviation, flexion positive; None without
            the palm's normal.
    """

    elevation: Array
    azimuth: Array
    rotation: Array
    flexion: Array
    pronation: Array | None = None
    deviation: Array | None = None
    bend: Array | None = None


@dataclass(frozen=True, eq=False)
class BoneFrames:
    """Frames (N, 3, 3) of an arm's bones in the torso's axes by docs/arm.md, "Rest frames": Y along the bone.

    `hand` and `clavicle` are None where the recording does not tell. `sure` (N,) says where the elbow's side is known.
    """

    upper: Array
    fore: Array
    hand: Array | None
    clavicle: Array | None
    sure: Mask


def bone_frames(motion: StudyMotion, arm: ArmMotion) -> BoneFrames:
    """Frames of `arm`'s bones: from orientations where there are any, otherwise from the plane in which it bends."""
    turns = motion.torso[:, :3, :3]

    def local(points: Array) -> Array:
        return np.asarray(np.einsum("fji,fj->fi", turns, points))

    along, fore = unit(local(arm.elbow - arm.shoulder)), unit(local(arm.wrist - arm.elbow))
    hinge = np.cross(along, fore)
    bent = np.linalg.norm(hinge, axis=1) > np.sin(np.radians(BENT))
    if arm.upper is not None:
        upper = swing(np.swapaxes(turns, 1, 2) @ arm.upper, along)
        sure = np.ones(len(along), bool)
    else:
        upper = _carried(along, hinge, bent, 1.0 if is_left(arm) else -1.0)
        sure = bent
    hand = None if arm.hand is None else np.swapaxes(turns, 1, 2) @ arm.hand
    clavicle = None
    if arm.clavicle is not None:
        root = local(arm.shoulder - arm.clavicle)
        if np.linalg.norm(root, axis=1).min() > 1e-6:
            clavicle = _frames(np.cross(unit(root), np.array([0.0, 0.0, 1.0])), unit(root))
    return BoneFrames(upper, swing(upper, fore), hand, clavicle, sure)


def joint_angles(frames: BoneFrames, left: bool) -> JointAngles:
    """The angles of an arm with these frames; `left` tells its side."""
    side = np.ones(3) if left else MIRROR
    u, z, f = frames.upper[:, :, 1] * side, frames.upper[:, :, 2] * side, frames.fore[:, :, 1] * side
    elevation = np.degrees(np.arctan2(np.hypot(u[:, 0], u[:, 1]), -u[:, 2]))
    zero = quat_to_matrix(between(np.broadcast_to(DOWN, u.shape), u)) @ FORWARD
    rotation = -np.degrees(np.arctan2(np.sum(np.cross(zero, z) * u, axis=1), np.sum(zero * z, axis=1)))
    told = frames.sure & (elevation < OVERHEAD)
    angles = JointAngles(
        elevation=elevation,
        azimuth=np.degrees(np.arctan2(-u[:, 1], u[:, 0])),
        rotation=np.where(told, rotation, np.nan),
        flexion=np.degrees(np.arctan2(np.sum(f * z, axis=1), np.sum(f * u, axis=1))),
    )
    if frames.hand is None:
        return angles
    a, p = frames.hand[:, :, 1] * side, frames.hand[:, :, 2] * side
    neutral = np.cross(u, z)  # the hinge: towards the body as the arm hangs
    forearm = np.stack([np.cross(f, neutral), f, neutral], axis=2)
    turned = np.degrees(matrix_to_euler(np.swapaxes(forearm, 1, 2) @ np.stack([np.cross(a, p), a, p], axis=2), "XZY"))
    return JointAngles(
        **{name: getattr(angles, name) for name in ("elevation", "azimuth", "rotation", "flexion")},
        pronation=np.where(frames.sure, turned[:, 1], np.nan),
        deviation=turned[:, 2],
        bend=turned[:, 0],
    )


def is_left(arm: ArmMotion) -> bool:
    """Whether an arm's id ends with L: the others count as right arms."""
    return arm.arm.endswith("L")


def _carried(along: Array, hinge: Array, bent: Mask, side: float) -> Array:
    """Upper arm's frames; where the arm is straight its hinge is the nearest bent frame's, swung along."""
    count = len(along)
    frames = np.flatnonzero(bent)
    if len(frames) == 0:
        # Never bent: by the T-pose whose elbows bend forward.
        rest = t_pose(side)[1]
        return swing(np.broadcast_to(rest, (count, 3, 3)), along)
    place = np.arange(count)
    after = np.clip(np.searchsorted(frames, place), 0, len(frames) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(np.abs(frames[before] - place) <= np.abs(frames[after] - place), frames[before], frames[after])
    known = _frames(hinge[frames], along[frames])
    return swing(known[np.searchsorted(frames, nearest)], along)


def t_pose(side: float) -> tuple[Array, Array, Array, Array]:
    """Clavicle, upper arm, forearm, hand (3, 3) in a T-pose, palms down, elbows bending forward; `side` 1 is left."""
    along, up = np.array([side, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
    arm = _frames(np.cross(along, FORWARD)[None], along[None])[0]
    hand = _frames(np.cross(along, -up)[None], along[None])[0]
    return _frames(np.cross(along, up)[None], along[None])[0], arm, arm, hand


def _frames(side: Array, along: Array) -> Array:
    """Frames (N, 3, 3) with Y along `along` (units) and X as near to `side` as it gets, both (N, 3)."""
    across = unit(side - along * np.sum(side * along, axis=1, keepdims=True))
    return np.asarray(np.stack([across, along, np.cross(across, along)], axis=2))
