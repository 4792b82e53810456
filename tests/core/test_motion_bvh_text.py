"""A BVH that was written is read back as the same motion."""

from __future__ import annotations

import numpy as np
import pytest

from armwright.core.motion.bvh import forward, local_rotations, local_translations, read_bvh
from armwright.core.motion.bvh_text import Joint, bvh_text
from armwright.core.rotations import euler_to_matrix

JOINTS = (
    Joint("Hips", -1, (0.0, 0.9, 0.0)),
    Joint("LeftArm", 0, (0.2, 0.4, 0.0)),
    Joint("LeftHand", 1, (0.3, 0.0, 0.0), end=(0.18, 0.0, 0.01)),
    Joint("Neck", 0, (0.0, 0.5, 0.0), turns=False),
    Joint("Head", 3, (0.0, 0.1, 0.0), end=(0.0, 0.2, 0.0)),
)


def test_what_is_written_is_read_back() -> None:
    seed = 11
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    root, angles = rng.uniform(-2.0, 2.0, (7, 3)), rng.uniform(-1.4, 1.4, (7, 5, 3))
    turns = euler_to_matrix(angles, "XYZ")
    turns[:, 3] = np.eye(3)
    bvh = read_bvh(bvh_text(JOINTS, 60.0, root, turns))
    assert [(joint.name, joint.parent, joint.end) for joint in bvh.joints] == [
        (joint.name, joint.parent, joint.end) for joint in JOINTS
    ]
    assert bvh.frame_time == pytest.approx(1.0 / 60.0, rel=1e-8)
    turned, placed = forward(bvh, local_rotations(bvh), local_translations(bvh))
    # By hand, from the hips to the end of the arm.
    hips = root + np.array([0.0, 0.9, 0.0])
    arm = hips + turns[:, 0] @ [0.2, 0.4, 0.0]
    hand = arm + (turns[:, 0] @ turns[:, 1]) @ [0.3, 0.0, 0.0]
    np.testing.assert_allclose(placed[:, 2], hand, atol=1e-6)
    np.testing.assert_allclose(turned[:, 4], turns[:, 0] @ turns[:, 4], atol=1e-7)


def test_joints_out_of_order_and_wrong_shapes_are_refused() -> None:
    still = np.tile(np.eye(3), (2, 5, 1, 1))
    with pytest.raises(ValueError, match="'Stray' does not follow"):
        bvh_text((*JOINTS[:4], Joint("Stray", 2, (0.0, 0.0, 0.0))), 60.0, np.zeros((2, 3)), still)
    with pytest.raises(ValueError, match="5 joints need"):
        bvh_text(JOINTS, 60.0, np.zeros((2, 3)), still[:, :4])
