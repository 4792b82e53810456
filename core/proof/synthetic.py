"""A character and samples without a host: a guide's geometry and torso, and the reference solver's answer as bones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from ..frames import ORDERS, arm_frames
from ..guide import Guide
from ..motion.clip import Clip, torso_for
from ..options import ArmOptions
from ..posing import chain_poses, rigid_inverse
from ..rotations import euler_to_matrix
from ..solve.arm import solve
from ..solve.fingers import Finger, FingerGeometry, solve_fingers
from ..solve.plant import finger_base
from ..solve.settings import ArmGeometry, ArmSettings
from ..solve.twist import SkinPose, skin_poses
from .finger_samples import FingerRun, moving_fingers
from .measures import at, carried
from .samples import ArmSamples

Array = NDArray[np.float64]

# A torso bone points up: its Y is the armature's Z.
TORSO_AXES = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def guide_geometry(guide: Guide, arm: str, options: ArmOptions | None = None) -> ArmGeometry:
    """The arm of side `arm` on the guide's own torso, whose last bone carries it.

    Raises ProofError for a guide without a torso or without that arm.
    """
    found = [item for item in guide.arms if item.id == arm]
    if guide.torso is None or not found:
        raise ProofError(f"{guide.name}: no {'torso' if found else arm + ' arm'} in the guide; add it")
    frames = arm_frames(found[0], guide.up)
    return ArmGeometry(
        torso=_torso_rests(guide)[-1],
        root=np.eye(4),
        clavicle=frames.clavicle,
        upper_arm=frames.upper_arm,
        forearm=frames.forearm,
        hand=frames.hand,
        clavicle_length=frames.clavicle_length,
        upper_length=frames.upper_length,
        forearm_length=frames.forearm_length,
        up=np.array(guide.up),
        rotation_orders=ORDERS,
        options=ArmOptions() if options is None else options,
        pivots=frames.pivots,
    )


def torso_poses(guide: Guide, clip: Clip, size: float) -> Array:
    """Poses (N, 4, 4) of the bone that carries the arms, for an arm's length of `size` metres."""
    rests = _torso_rests(guide)
    return chain_poses(rests, torso_for(clip, len(rests)), clip.travel * size)[:, -1]


def _torso_rests(guide: Guide) -> Array:
    if guide.torso is None:
        raise ProofError(f"{guide.name}: no torso in the guide; add it")
    heads = np.array(guide.torso.chain[:-1])
    return _frames(np.broadcast_to(TORSO_AXES, (len(heads), 3, 3)), heads)


def solved_samples(geometry: ArmGeometry, settings: ArmSettings) -> ArmSamples:
    """The arm as `solve` has it, as bones, (N, 4, 4) each."""
    pose = solve(geometry, settings)
    upper, fore = skin_poses(geometry, pose)
    torso = settings.torso
    control = carried(torso, geometry.torso, geometry.clavicle) @ euler_to_matrix(
        settings.clavicle, geometry.rotation_orders[0]
    )
    local = rigid_inverse(geometry.torso) @ np.append(at(geometry.clavicle), 1.0)
    head = (torso @ local)[:, :3]
    still = np.broadcast_to(np.eye(3), (len(head), 3, 3))
    return ArmSamples(
        torso=torso.copy(),
        root=settings.root.copy(),
        fk_clavicle=_frames(control, head),
        clavicle=_frames(pose.clavicle, head),
        upper_arm=_frames(pose.upper_arm, pose.shoulder),
        elbow=_frames(pose.upper_arm, pose.elbow),
        forearm=_frames(pose.forearm, pose.elbow),
        wrist=_frames(pose.forearm, pose.wrist),
        hand=_frames(pose.hand, pose.wrist),
        hand_hold=settings.hand_hold.copy(),
        elbow_hold=settings.elbow_hold.copy(),
        elbow_aim=_frames(still, settings.aim),
        skin_upper_arm=_skin(upper)[:, 0],
        skin_forearm=_skin(fore)[:, 0],
        fingers=finger_base(geometry, settings, _frames(pose.hand, pose.wrist)),
        upper_skin=_skin(upper),
        forearm_skin=_skin(fore),
    )


def guide_fingers(guide: Guide, arm: str) -> FingerGeometry | None:
    """The fingers of the arm `arm` at rest; None for a hand without any."""
    frames = arm_frames(next(item for item in guide.arms if item.id == arm), guide.up)
    if not frames.fingers:
        return None
    return FingerGeometry(
        hand=frames.hand,
        knuckles=frames.hand[:3, 3] + frames.hand[:3, :3] @ frames.pivots.knuckles,
        fingers=tuple(
            Finger(
                item.name,
                np.array(item.frames),
                item.frames[-1][:3, 3] + item.frames[-1][:3, 1] * item.lengths[-1],
                item.thumb,
            )
            for item in frames.fingers
        ),
    )


def solved_fingers(guide: Guide, arm: str, hand: Array) -> FingerRun | None:
    """The arm's fingers in a proof's movement as `solve_fingers` has them, on the hand's poses (N, 4, 4)."""
    geometry = guide_fingers(guide, arm)
    if geometry is None:
        return None
    settings, still = moving_fingers(geometry, len(hand)), np.zeros(len(hand))
    return FingerRun(geometry, settings, still, solve_fingers(geometry, hand, still, settings))


def _frames(turns: Array, heads: Array) -> Array:
    out = np.zeros((len(heads), 4, 4))
    out[:, :3, :3], out[:, :3, 3], out[:, 3, 3] = turns, heads, 1.0
    return out


def _skin(pose: SkinPose) -> Array:
    """The bones of a segment, (N, K, 4, 4)."""
    count, bones = pose.place.shape[:2]
    size = np.stack([pose.width, pose.factor, pose.width], axis=-1)[:, None, None, :]
    turns = pose.orientation * size
    return _frames(turns.reshape(-1, 3, 3), pose.place.reshape(-1, 3)).reshape(count, bones, 4, 4)
