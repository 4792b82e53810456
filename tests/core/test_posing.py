"""Own transforms under parents that are scaled unevenly."""

from __future__ import annotations

import numpy as np
from arm_cases import frame, random_turns

from armwright.core import posing

SEED = 52


def _parents(rng: np.random.Generator, count: int) -> np.ndarray:
    """Rotated, scaled by up to 3 along axes that are not their own, and moved."""
    out = np.tile(np.eye(4), (count, 1, 1))
    scale = np.exp(rng.uniform(-1.1, 1.1, (count, 3)))
    out[:, :3, :3] = random_turns(rng, count) * scale[:, None] @ random_turns(rng, count)
    out[:, :3, 3] = rng.normal(size=(count, 3))
    return out


def test_what_is_taken_over_is_square_keeps_y_and_treats_x_and_z_alike() -> None:
    print("seed", SEED)
    turns = _parents(np.random.default_rng(SEED), 500)[:, :3, :3]
    made = posing.without_scale(turns)
    off = np.abs(np.swapaxes(made, 1, 2) @ made - np.eye(3)).max(axis=(1, 2))
    # Nearly square ones stay as they are, as in the host.
    near = off > 1e-12
    assert near.sum() < 5
    assert off.max() <= posing.SQUARE
    turns, made = turns[~near], made[~near]
    assert np.abs(np.linalg.det(made) - 1.0).max() < 1e-12
    y = turns[:, :, 1] / np.linalg.norm(turns[:, :, 1], axis=1, keepdims=True)
    assert np.abs(made[:, :, 1] - y).max() < 1e-12
    # X and Z are turned by the same angle, against each other, from where they are at right angles with Y.
    away = []
    for place in (0, 2):
        axis = turns[:, :, place] - y * np.sum(turns[:, :, place] * y, 1, keepdims=True)
        away.append(np.sum(axis / np.linalg.norm(axis, axis=1, keepdims=True) * made[:, :, place], axis=1))
    assert np.abs(away[0] - away[1]).max() < 1e-12


def test_a_mirror_image_stays_one() -> None:
    turns = _parents(np.random.default_rng(SEED), 50)[:, :3, :3] * np.array([-1.0, 1.0, 1.0])
    assert np.abs(np.linalg.det(posing.without_scale(turns)) + 1.0).max() < 1e-12


def test_rigid_axes_are_taken_over_as_they_are() -> None:
    turns = random_turns(np.random.default_rng(SEED), 100)
    assert np.abs(posing.without_scale(turns) - turns).max() < 1e-14


def test_own_transforms_are_rigid_and_give_the_poses_back() -> None:
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    parents, poses = _parents(rng, 300), np.tile(np.eye(4), (300, 1, 1))
    poses[:, :3, :3], poses[:, :3, 3] = random_turns(rng, 300), rng.normal(size=(300, 3))
    rest = frame((0.1, -0.4, 0.3), random_turns(rng, 1)[0])
    basis = posing.unscaled_basis(parents, rest, poses)
    turns = basis[:, :3, :3]
    assert np.abs(np.swapaxes(turns, 1, 2) @ turns - np.eye(3)).max() < 1e-12
    assert np.abs(posing.unscaled_poses(parents, rest, basis) - poses).max() < 1e-12


def test_under_rigid_parents_it_is_the_plain_quotient() -> None:
    rng = np.random.default_rng(SEED)
    parents = np.tile(np.eye(4), (20, 1, 1))
    parents[:, :3, :3], parents[:, :3, 3] = random_turns(rng, 20), rng.normal(size=(20, 3))
    poses = np.roll(parents, 1, axis=0)
    rest = frame((0.1, -0.4, 0.3), random_turns(rng, 1)[0])
    assert np.abs(posing.unscaled_basis(parents, rest, poses) - np.linalg.inv(parents @ rest) @ poses).max() < 1e-12


def test_a_sheared_parent_keeps_its_y_and_gives_the_other_two_axes_as_much_each() -> None:
    turns = np.eye(3)
    turns[:, 0], turns[:, 2] = (1.0, 0.4, 0.0), (0.3, 0.0, 1.0)
    made = posing.without_scale(turns)
    assert np.allclose(made[:, 1], (0.0, 1.0, 0.0), atol=1e-12)
    # Z leans towards X by this much too far: Z goes back by a half of it, and X makes way by the other.
    lean = np.arctan2(0.3, 1.0) / 2.0
    assert np.allclose(made[:, 0], (np.cos(lean), 0.0, -np.sin(lean)), atol=1e-12)
