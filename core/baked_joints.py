"""From evaluated matrices of joints to channels of a plain skeleton, which has the same joints at every frame.

A file of joints holds a move, a turn and a scale for each, one after the other down the tree. An uneven scale above a
turned joint is a shear, which those can not say. So there are two forms, exact in what they hold:

- a tree without scale: every joint's place and orientation are the rig's; a stretched segment shows as joints that are
  further apart, and its thickness is not told;
- flat: every joint on its own, none below another; place, orientation and scale are the rig's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .posing import rigid_turns
from .rotations import matrix_to_quat

Array = NDArray[np.float64]


@dataclass(frozen=True)
class JointTrack:
    """One joint's own channels over N frames, in its rest axes: location (N, 3), rotation (N, 4), scale (N, 3)."""

    location: Array
    rotation: Array
    scale: Array


def joint_tracks(poses: Array, rests: Array, parents: Sequence[int], *, scaled: bool) -> list[JointTrack]:
    """Channels of B joints that give them `poses`.

    Args:
        poses: wanted matrices (N, B, 4, 4) in a space that the skeleton does not leave.
        rests: each joint's rest frame in its parent's, or in that space without one, (B, 4, 4), rigid.
        parents: each joint's parent by number, -1 for none.
        scaled: whether joints carry their scale; only joints without a parent may.

    Raises:
        ValueError: a scaled joint has a parent.
    """
    if scaled and any(parent >= 0 for parent in parents):
        raise ValueError("joints that carry scale have no parents: see the flat form")
    axes = poses[..., :3, :3]
    wanted = poses.copy()
    wanted[..., :3, :3] = rigid_turns(axes)
    sizes = np.einsum("nbji,nbji->nbi", wanted[..., :3, :3], axes) if scaled else np.ones((*poses.shape[:2], 3))
    out = []
    for joint, parent in enumerate(parents):
        carried = rests[joint][None] if parent < 0 else wanted[:, parent] @ rests[joint]
        own = np.linalg.inv(carried) @ wanted[:, joint]
        out.append(JointTrack(own[:, :3, 3], matrix_to_quat(own[:, :3, :3]), sizes[:, joint]))
    return out
