"""The angle that drift is measured by."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.proof.measures import turn_error


def test_the_angle_between_orientations_is_exact_near_zero_and_reads_scale() -> None:
    """Against scipy.spatial.transform."""
    rng = np.random.default_rng(11)
    for degrees in (1e-7, 1e-4, 0.01, 1.0, 90.0, 179.0):
        axis = rng.normal(size=3)
        base = Rotation.random(random_state=3)
        other = Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis)) * base
        assert turn_error(base.as_matrix(), other.as_matrix()) == pytest.approx(degrees, rel=1e-6, abs=1e-13)
    assert turn_error(np.eye(3), 1.001 * np.eye(3)) > 0.01
