"""A clip: what a proof does to a character, frame by frame, whatever its rig and its size.

Character axes: up +Z, front -Y, left +X. Lengths are in units of L, the arm's length from shoulder to wrist along the
bones; angles are radians. A clip describes the left arm; `for_side` gives the right arm's channels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MotionError
from ..rotations import matrix_to_quat, quat_to_matrix

Array = NDArray[np.float64]

MAX_FRAMES = 1_000_000
MAX_TORSO_JOINTS = 64
# A rotation matrix may be off by the rounding of the few products that made it, and no more.
ROTATION_TOLERANCE = 1e-9
# A frame rotates a joint by less than this angle (radians) only by rounding: no axis can be read from it.
NO_TURN = 1e-300


@dataclass(frozen=True, eq=False)
class Clip:
    """Motion of a torso, a clavicle, the holds and the FK channels over N frames. Build one with `make_clip`.

    Attributes:
        name: the motion's name in reports.
        frames: N.
        seed: what the random draws started from; 0 where nothing is random.
        torso: (N, J, 3, 3) rotations of J torso joints away from rest, from the lowest to the one that carries the
            arms. Each is expressed along the character's axes as its parent joint carries them, so that joint j has
            turned by `torso[:, 0] @ ... @ torso[:, j]` in character axes.
        travel: (N, 3) displacement of the lowest torso joint, units of L, character axes.
        clavicle: (N, 3) Euler channels of the clavicle control, order `frames.CLAVICLE_ORDER`: +X raises, +Z backward.
        hand: (N, 3) displacement of the hand hold from where it was placed, units of L, character axes.
        hand_turn: (N, 3, 3) turn of the hand hold away from how it was placed, character axes.
        elbow: (N, 3) displacement of the elbow hold from where it was placed, units of L, character axes.
        upper_arm, forearm, hand_channels: (N, 3) Euler channels of the FK controls, orders of `core/frames.py`.
    """

    name: str
    frames: int
    seed: int
    torso: Array
    travel: Array
    clavicle: Array
    hand: Array
    hand_turn: Array
    elbow: Array
    upper_arm: Array
    forearm: Array
    hand_channels: Array


def make_clip(
    name: str,
    frames: int,
    seed: int = 0,
    *,
    torso: ArrayLike | None = None,
    travel: ArrayLike | None = None,
    clavicle: ArrayLike | None = None,
    hand: ArrayLike | None = None,
    hand_turn: ArrayLike | None = None,
    elbow: ArrayLike | None = None,
    upper_arm: ArrayLike | None = None,
    forearm: ArrayLike | None = None,
    hand_channels: ArrayLike | None = None,
) -> Clip:
    """A checked clip whose arrays are its own and can not be written to; what is left out keeps still.

    Raises MotionError for an empty name, a number of frames outside 1 to MAX_FRAMES, a negative seed, a wrong shape,
    a value that is not finite, or a matrix that is not a rotation.
    """
    if not name.strip():
        raise MotionError("a clip needs a name; reports call it by that")
    if not 1 <= frames <= MAX_FRAMES:
        raise MotionError(f"clip {name!r}: {frames} frames; give a number from 1 to {MAX_FRAMES}")
    if seed < 0:
        raise MotionError(f"clip {name!r}: seed {seed} is negative; give 0 or more")

    def offsets(what: str, values: ArrayLike | None) -> Array:
        return _own(name, what, np.zeros((frames, 3)) if values is None else values, (frames, 3))

    still = np.broadcast_to(np.eye(3), (frames, 1, 3, 3))
    spine = np.asarray(still if torso is None else torso, dtype=np.float64)
    joints = spine.shape[1] if spine.ndim == 4 else 0
    if not 1 <= joints <= MAX_TORSO_JOINTS:
        raise MotionError(
            f"clip {name!r}: torso has shape {spine.shape}; "
            f"give ({frames}, J, 3, 3) with J from 1 to {MAX_TORSO_JOINTS}"
        )
    spine = _own(name, "torso", spine, (frames, joints, 3, 3))
    turn = _own(name, "hand_turn", still[:, 0] if hand_turn is None else hand_turn, (frames, 3, 3))
    _check_rotations(name, "torso", spine)
    _check_rotations(name, "hand_turn", turn)
    return Clip(
        name=name,
        frames=frames,
        seed=seed,
        torso=spine,
        travel=offsets("travel", travel),
        clavicle=offsets("clavicle", clavicle),
        hand=offsets("hand", hand),
        hand_turn=turn,
        elbow=offsets("elbow", elbow),
        upper_arm=offsets("upper_arm", upper_arm),
        forearm=offsets("forearm", forearm),
        hand_channels=offsets("hand_channels", hand_channels),
    )


def for_side(values: ArrayLike, side: str) -> Array:
    """Euler channels (..., 3) of the left arm's controls, as the arm of `side` ("L" or "R") takes them.

    The right arm's rest frames are the mirror images M·R·M of the left's, M = diag(-1, 1, 1). A turn in such a frame
    mirrors to M·D·M: its angle about X stays, those about Y and Z change their sign, in any rotation order.
    """
    if side not in ("L", "R"):
        raise MotionError(f"an arm's side is L or R, not {side!r}")
    channels = np.array(values, dtype=np.float64)
    return channels if side == "L" else channels * np.array([1.0, -1.0, -1.0])


def compose(clip: Clip) -> Array:
    """Turn of the joint that carries the arms, away from rest: (N, 3, 3), character axes."""
    total = clip.torso[:, 0].copy()
    for joint in range(1, clip.torso.shape[1]):
        total = total @ clip.torso[:, joint]
    return total


def torso_for(clip: Clip, joints: int) -> Array:
    """The clip's torso for a rig whose torso chain has `joints` bones: (N, joints, 3, 3).

    The clip's own joints where the number is the same, otherwise its total turn in equal parts.
    """
    if joints == clip.torso.shape[1]:
        return clip.torso.copy()
    return split(compose(clip), joints)


def split(total: ArrayLike, parts: int) -> Array:
    """Equal turns whose product is `total`: (N, 3, 3) to (N, parts, 3, 3).

    Each part turns about the total's axis by its angle over `parts`. The frames are a sequence in time: a total that
    passes half a turn goes on past it, instead of falling back to the short way round, so the parts are continuous
    where the total is, up to a full turn away from rest. There a total has no axis and the parts may jump.

    Raises MotionError for a number of parts outside 1 to MAX_TORSO_JOINTS, a wrong shape or a matrix that is not a
    rotation.
    """
    if not 1 <= parts <= MAX_TORSO_JOINTS:
        raise MotionError(f"a torso of {parts} joints; give a number from 1 to {MAX_TORSO_JOINTS}")
    matrices = np.asarray(total, dtype=np.float64)
    if matrices.ndim != 3 or matrices.shape[1:] != (3, 3):
        raise MotionError(f"turns to split have shape {matrices.shape}; give (N, 3, 3)")
    _check_rotations("split", "total", matrices)
    quats = matrix_to_quat(matrices)
    if len(quats):
        quats[0] *= 1.0 if quats[0, 0] >= 0.0 else -1.0
        along = np.sum(quats[1:] * quats[:-1], axis=1)
        quats[1:] *= np.cumprod(np.where(along < 0.0, -1.0, 1.0))[:, None]
    sine = np.linalg.norm(quats[:, 1:], axis=1)
    share = np.arctan2(sine, quats[:, 0]) / parts
    axis = quats[:, 1:] / np.maximum(sine, NO_TURN)[:, None]
    part = np.concatenate([np.cos(share)[:, None], np.sin(share)[:, None] * axis], axis=1)
    return np.repeat(quat_to_matrix(part)[:, None], parts, axis=1)


def _own(name: str, what: str, values: ArrayLike, shape: tuple[int, ...]) -> Array:
    """A read-only float64 copy of `values`, or MotionError if its shape or a value is wrong."""
    array = np.array(values, dtype=np.float64, order="C")
    if array.shape != shape:
        raise MotionError(f"clip {name!r}: {what} has shape {array.shape}; give {shape}")
    if not np.isfinite(array).all():
        frame = int(np.argwhere(~np.isfinite(array))[0][0])
        raise MotionError(f"clip {name!r}: {what} has a value that is not finite at frame {frame}; mend its source")
    array.setflags(write=False)
    return array


def _check_rotations(name: str, what: str, matrices: Array) -> None:
    """MotionError if a matrix of (N, ..., 3, 3) is not orthonormal or mirrors."""
    gap = np.abs(np.swapaxes(matrices, -1, -2) @ matrices - np.eye(3)).max(axis=(-1, -2))
    wrong = ~(gap <= ROTATION_TOLERANCE)
    wrong |= np.linalg.det(np.where(wrong[..., None, None], np.eye(3), matrices)) < 0.0
    if wrong.any():
        frame = int(np.argwhere(wrong)[0][0])
        raise MotionError(f"clip {name!r}: {what} is no rotation at frame {frame}; take out scale, shear or mirror")
