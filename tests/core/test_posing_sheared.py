"""A bone on a sheared or scaled carrier: a rigid pose, there and back."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from armwright.core.posing import inherited_turns, own_under, poses_under

SEED = 31


def _frames(rng: np.random.Generator, count: int) -> np.ndarray:
    out = np.broadcast_to(np.eye(4), (count, 4, 4)).copy()
    out[:, :3, :3] = Rotation.random(count, random_state=SEED).as_matrix()
    out[:, :3, 3] = rng.uniform(-1.0, 1.0, (count, 3))
    return out


def test_a_rigid_pose_survives_the_way_through_a_sheared_carrier() -> None:
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    carriers, poses = _frames(rng, 200), _frames(rng, 200)
    carriers[:, :3, :3] = carriers[:, :3, :3] @ (np.eye(3) + rng.uniform(-0.3, 0.3, (200, 3, 3)))
    own = own_under(carriers, poses)
    turns = own[:, :3, :3]
    assert np.abs(np.swapaxes(turns, 1, 2) @ turns - np.eye(3)).max() < 1e-12
    assert np.abs(poses_under(carriers, own) - poses).max() < 1e-12


def test_a_scaled_carrier_passes_its_orientation_on_as_it_is() -> None:
    rng = np.random.default_rng(SEED)
    carriers = _frames(rng, 50)
    scaled = carriers.copy()
    scaled[:, :3, :3] *= rng.uniform(0.1, 8.0, (50, 1, 3))
    assert np.abs(inherited_turns(scaled) - carriers[:, :3, :3]).max() < 1e-12


def test_a_sheared_carrier_keeps_its_y_and_gives_the_other_two_axes_as_much_each() -> None:
    carrier = np.eye(4)
    carrier[:3, 0], carrier[:3, 2] = (1.0, 0.4, 0.0), (0.3, 0.0, 1.0)
    turn = inherited_turns(carrier)
    assert np.allclose(turn[:, 1], (0.0, 1.0, 0.0), atol=1e-12)
    # Z leans towards X by this much too far: Z goes back by a half of it, and X makes way by the other.
    lean = np.arctan2(0.3, 1.0) / 2.0
    assert np.allclose(turn[:, 0], (np.cos(lean), 0.0, -np.sin(lean)), atol=1e-12)
    assert np.linalg.det(turn) > 0.0
