"""Recorded motion as a clip: a BVH's torso and clavicle in character axes, sized to any arm.

BVH axes are Y up, Z front, X left; the character's are Z up, -Y front, X left: (x, y, z) becomes (x, -z, y).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..errors import MotionError, shown
from ..rotations import matrix_to_quat, quat_to_matrix, slerp
from .bvh import Bvh, forward, local_rotations, local_translations
from .clip import MAX_FRAMES, Clip, make_clip

Array = NDArray[np.float64]

TORSO_JOINTS = ("Hips", "LowerBack", "Spine")
ARM_JOINTS = ("LeftArm", "LeftForeArm", "LeftHand")
CLAVICLE_JOINT = "LeftShoulder"

CHARACTER_FROM_BVH = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
# Rest frame of a left clavicle that points straight to the left, by the rule of core/frames.py: X front, Y left, Z up.
CLAVICLE_REST = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
# Time may miss the last frame by this part of a frame and still mean it: frame times are written with few digits.
FRAME_SLACK = 0.05


def recorded_clip(
    bvh: Bvh,
    torso_joints: Sequence[str] = TORSO_JOINTS,
    frames: int | None = 240,
    fps: float = 24.0,
    start: float = 0.0,
    *,
    arm_joints: Sequence[str] = ARM_JOINTS,
    clavicle_joint: str | None = CLAVICLE_JOINT,
    follow: float | None = 2.0,
    follow_turn: bool = False,
    limit_travel: float | None = None,
    name: str = "recorded",
) -> Clip:
    """A clip of what the BVH's torso and left clavicle do from `start` seconds on, at `fps`.

    Args:
        torso_joints: from the lowest up, each above the one before it. The turns of joints between two named ones go
            into the upper one; those between the last and the clavicle's parent into the last, so that no turn of
            what carries the arms is lost.
        frames: how many; None for as many as there are.
        arm_joints: shoulder, elbow and wrist, whose offsets give L.
        clavicle_joint: its turn becomes the clavicle's channels, as if the clavicle pointed straight to the side; None
            keeps the clavicle still.
        follow: seconds over which the slow horizontal drift is averaged; it is taken off the travel, so that a walk or
            a row of jumps stays in place and keeps its sway. The window is centred, and narrows towards both ends of
            the clip, so that the clip starts and ends without horizontal travel. None keeps the drift.
        follow_turn: take off the slow change of heading in the same way, so that who turns round keeps facing front.
        limit_travel: scale the travel, as a whole, so that it is never further than this from the start, units of L.

    The heading, which is the lowest joint's twist about up, is zero at the first frame, so that the character starts
    facing front and what is left there is a tilt. Travel is from the first frame. Turns between two recorded frames are
    slerped joint by joint, positions are interpolated straight. The other channels are zero.

    Raises MotionError for joints that the BVH has not (it lists those it has), torso joints that are no chain, an arm
    without a length, a time outside the recording, or settings out of range.
    """
    _check_settings(frames, fps, follow, limit_travel)
    torso = _torso_chain(bvh, torso_joints, clavicle_joint)
    size = _arm_length(bvh, arm_joints)
    rotations, positions = forward(bvh, *_resample(bvh, *_times(bvh, frames, fps, start)))
    # A joint's rotation away from rest, which is the identity in a BVH, in character axes.
    turned = CHARACTER_FROM_BVH @ rotations @ CHARACTER_FROM_BVH.T
    path = positions[:, torso[0][0]] @ CHARACTER_FROM_BVH.T / size

    carried = [turned[:, index] for _, index in torso]
    window = 0 if follow is None else round(follow * fps)
    heading = _heading(turned[:, torso[0][0]])
    reference = _average(heading, window) if follow_turn else np.full_like(heading, heading[0])
    facing = np.swapaxes(_about_up(reference), -1, -2)
    carried = [facing @ turn for turn in carried]
    steps = [np.swapaxes(lower, -1, -2) @ upper for lower, upper in pairwise(carried)]
    return make_clip(
        name,
        len(path),
        torso=np.stack([carried[0], *steps], axis=1),
        travel=_travel(path, facing, window, limit_travel),
        clavicle=None if clavicle_joint is None else _clavicle(bvh, turned, clavicle_joint),
    )


def _check_settings(frames: int | None, fps: float, follow: float | None, limit_travel: float | None) -> None:
    if frames is not None and frames < 1:
        raise MotionError(f"recorded: {frames} frames; give 1 or more")
    if not 0.0 < fps <= 1000.0:
        raise MotionError(f"recorded: {fps} frames a second; give more than 0, at most 1000")
    if follow is not None and not 0.0 < follow <= 3600.0:
        raise MotionError(f"recorded: drift averaged over {follow} s; give more than 0, or nothing to keep it")
    if limit_travel is not None and not 0.0 <= limit_travel < np.inf:
        raise MotionError(f"recorded: travel limited to {limit_travel} L; give 0 or more, or nothing for no limit")


def _torso_chain(bvh: Bvh, names: Sequence[str], clavicle: str | None) -> list[tuple[int, int]]:
    """For each torso joint: its index, and that of the joint whose turn it takes (itself, but for the last)."""
    if not names:
        raise MotionError("recorded: no torso joints; name at least one, from the lowest up")
    chain = [bvh.index(name) for name in names]
    for lower, upper in pairwise(chain):
        if lower not in _ancestors(bvh, upper):
            raise MotionError(
                f"recorded: {shown(bvh.joints[upper].name)} does not hang from {shown(bvh.joints[lower].name)}; "
                "name the torso joints from the lowest up"
            )
    carrier = chain[-1]
    if clavicle is not None:
        above = _ancestors(bvh, bvh.index(clavicle))
        if carrier not in above:
            raise MotionError(
                f"recorded: {clavicle!r} does not hang from {shown(bvh.joints[carrier].name)}; "
                "name as the last torso joint one that carries the arms"
            )
        carrier = bvh.joints[bvh.index(clavicle)].parent
    return [*((index, index) for index in chain[:-1]), (chain[-1], carrier)]


def _ancestors(bvh: Bvh, index: int) -> set[int]:
    found: set[int] = set()
    while (index := bvh.joints[index].parent) >= 0:
        found.add(index)
    return found


def _arm_length(bvh: Bvh, names: Sequence[str]) -> float:
    """L of the recorded person, shoulder to wrist along the bones at rest, in the file's unit."""
    if len(names) != 3:
        raise MotionError(f"recorded: {len(names)} arm joints; name three: shoulder, elbow, wrist")
    shoulder, elbow, wrist = (bvh.index(name) for name in names)
    length = 0.0
    for lower, upper in ((shoulder, elbow), (elbow, wrist)):
        offset = np.zeros(3)
        index = upper
        while index != lower:
            if index < 0:
                raise MotionError(
                    f"recorded: {shown(bvh.joints[upper].name)} does not hang from {shown(bvh.joints[lower].name)}; "
                    "name the arm joints as shoulder, elbow, wrist"
                )
            offset += bvh.joints[index].offset
            index = bvh.joints[index].parent
        length += float(np.linalg.norm(offset))
    if not length > 0.0:
        raise MotionError(f"recorded: the arm {', '.join(names)} has no length in the BVH, so travel has no scale")
    return length


def _times(bvh: Bvh, frames: int | None, fps: float, start: float) -> tuple[NDArray[np.intp], Array]:
    """For each frame of the clip: the recorded frame before it, and the share of the way to the next one, 0 to 1."""
    last = len(bvh.frames) - 1
    seconds = last * bvh.frame_time
    if not 0.0 <= start <= seconds:
        raise MotionError(f"recorded: start at {start} s; the recording runs from 0 to {seconds:.3f} s")
    room = int((last + FRAME_SLACK - start / bvh.frame_time) * bvh.frame_time * fps) + 1
    count = room if frames is None else frames
    if count > MAX_FRAMES:
        raise MotionError(
            f"recorded: {seconds:g} s at {fps:g} a second are more than {MAX_FRAMES} frames; mend the frame time, or "
            "cut the recording into shorter takes"
        )
    if count > room:
        raise MotionError(
            f"recorded: {count} frames at {fps:g} a second from {start:g} s do not fit into its {seconds:.3f} s; "
            f"ask for {room} frames at most, or start earlier"
        )
    place = np.clip((start + np.arange(count) / fps) / bvh.frame_time, 0.0, float(last))
    before = np.minimum(place.astype(np.intp), max(last - 1, 0))
    return before, place - before


def _resample(bvh: Bvh, before: NDArray[np.intp], share: Array) -> tuple[Array, Array]:
    """Local rotations (N, joints, 3, 3) and translations (N, joints, 3) at times between recorded frames."""
    one = bvh.frames[before]
    two = bvh.frames[np.minimum(before + 1, len(bvh.frames) - 1)]
    ends = [matrix_to_quat(local_rotations(bvh, values)) for values in (one, two)]
    between = slerp(ends[0], ends[1], np.broadcast_to(share[:, None], ends[0].shape[:2]))
    start, stop = local_translations(bvh, one), local_translations(bvh, two)
    return quat_to_matrix(between), start + share[:, None, None] * (stop - start)


def _heading(turn: Array) -> Array:
    """Twist about up of turns (N, 3, 3), radians, unwrapped along the frames; upside down it says nothing."""
    quats = matrix_to_quat(turn)
    return np.unwrap(2.0 * np.arctan2(quats[:, 3], quats[:, 0]))


def _about_up(angle: Array) -> Array:
    quats = np.zeros((len(angle), 4))
    quats[:, 0], quats[:, 3] = np.cos(angle / 2.0), np.sin(angle / 2.0)
    return quat_to_matrix(quats)


def _travel(path: Array, facing: Array, window: int, limit: float | None) -> Array:
    """Displacement from the first frame, (N, 3), as the one who faces front sees it, without its slow drift."""
    travel = path - path[0]
    if window > 0:
        travel[:, :2] -= _average(travel[:, :2], window)
    seen: Array = np.einsum("nij,nj->ni", facing, travel)
    furthest = float(np.linalg.norm(seen, axis=1).max())
    return seen if limit is None or furthest <= limit else seen * (limit / furthest)


def _average(values: Array, window: int) -> Array:
    """Centred moving average over `window` frames along axis 0, over fewer near the ends and one at them."""
    count = len(values)
    index = np.arange(count)
    half = np.minimum(window // 2, np.minimum(index, count - 1 - index))
    sums = np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])
    width = (2 * half + 1).reshape((-1,) + (1,) * (values.ndim - 1))
    result: Array = (sums[index + half + 1] - sums[index - half]) / width
    return result


def _clavicle(bvh: Bvh, turned: Array, name: str) -> Array:
    """Euler channels XYZ (N, 3), radians, of the clavicle's turn in the axes of its rest frame."""
    index = bvh.index(name)
    parent = bvh.joints[index].parent
    delta = np.swapaxes(turned[:, parent], -1, -2) @ turned[:, index] if parent >= 0 else turned[:, index]
    local = CLAVICLE_REST.T @ delta @ CLAVICLE_REST
    # XYZ is Rz·Ry·Rx; at 90 degrees about Y, which no clavicle reaches, X and Z are not told apart.
    about_y = np.arcsin(np.clip(-local[:, 2, 0], -1.0, 1.0))
    about_x = np.arctan2(local[:, 2, 1], local[:, 2, 2])
    about_z = np.arctan2(local[:, 1, 0], local[:, 0, 0])
    return np.stack([about_x, about_y, about_z], axis=-1)
