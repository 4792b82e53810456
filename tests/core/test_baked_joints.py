"""Channels of a plain skeleton: played back down the tree, they give the joints that were asked for."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from armwright.core.baked_joints import JointTrack, joint_tracks
from armwright.core.rotations import quat_to_matrix, unit

Array = NDArray[np.float64]
PARENTS = (-1, 0, 1, 1, 3)
FRAMES = 20


def rigid(rng: np.random.Generator, *shape: int) -> Array:
    out = np.tile(np.eye(4), (*shape, 1, 1))
    out[..., :3, :3] = quat_to_matrix(unit(rng.normal(size=(*shape, 4))))
    out[..., :3, 3] = rng.normal(size=(*shape, 3))
    return out


def played(tracks: list[JointTrack], rests: Array, parents: tuple[int, ...]) -> Array:
    """The joints' matrices (N, B, 4, 4), node by node, as a reader of the file computes them."""
    out: list[Array] = []
    for track, rest, parent in zip(tracks, rests, parents, strict=True):
        own = np.tile(np.eye(4), (len(track.location), 1, 1))
        own[:, :3, :3] = quat_to_matrix(track.rotation) * track.scale[:, None, :]
        own[:, :3, 3] = track.location
        out.append((np.eye(4) if parent < 0 else out[parent]) @ rest @ own)
    return np.stack(out, axis=1)


@pytest.mark.parametrize("seed", range(4))
def test_a_tree_gives_places_and_turns_under_any_stretch(seed: int) -> None:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    wanted = rigid(rng, FRAMES, len(PARENTS))
    stretched = wanted.copy()
    stretched[..., :3, :3] *= rng.uniform(0.3, 3.0, (FRAMES, len(PARENTS), 1, 3))
    rests = rigid(rng, len(PARENTS))
    got = played(joint_tracks(stretched, rests, PARENTS, scaled=False), rests, PARENTS)
    assert np.abs(got - wanted).max() < 1e-12


@pytest.mark.parametrize("seed", range(4))
def test_flat_joints_give_the_whole_matrix(seed: int) -> None:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    wanted = rigid(rng, FRAMES, len(PARENTS))
    wanted[..., :3, :3] *= rng.uniform(0.3, 3.0, (FRAMES, len(PARENTS), 1, 3))
    rests, flat = rigid(rng, len(PARENTS)), (-1,) * len(PARENTS)
    got = played(joint_tracks(wanted, rests, flat, scaled=True), rests, flat)
    assert np.abs(got - wanted).max() < 1e-12


def test_scale_below_another_joint_is_refused() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="flat"):
        joint_tracks(rigid(rng, 2, len(PARENTS)), rigid(rng, len(PARENTS)), PARENTS, scaled=True)
