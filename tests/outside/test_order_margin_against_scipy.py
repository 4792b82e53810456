"""Margins of rotation orders against the middle angles of scipy.spatial.transform, which shares no code with ours."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.proof.order_margin import ORDERS, WORTH, middle_margin, order_margin

SEED = 81
COUNT = 400


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("other", ORDERS)
def test_the_margin_is_that_of_scipys_middle_angle(order: str, other: str) -> None:
    print(f"seed {SEED}")
    channels = np.random.default_rng(SEED).uniform(-np.pi, np.pi, (COUNT, 3))
    in_order = channels[:, ["XYZ".index(axis) for axis in order]]
    # Lower case is about fixed axes, in the order of their names: the host's.
    middle = Rotation.from_euler(order.lower(), in_order).as_euler(other.lower(), degrees=True)[:, 1]
    np.testing.assert_allclose(middle_margin(channels, order, other), 90.0 - np.abs(middle), rtol=0.0, atol=1e-6)


@pytest.mark.parametrize("order", ORDERS)
def test_the_best_order_is_the_one_whose_middle_angle_scipy_finds_smallest(order: str) -> None:
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    for spread in rng.uniform(0.1, 1.4, (20, 3)):
        channels = rng.uniform(-spread, spread, (COUNT, 3))
        rotations = Rotation.from_euler(order.lower(), channels[:, ["XYZ".index(axis) for axis in order]])
        margins = {
            other: 90.0 - np.abs(rotations.as_euler(other.lower(), degrees=True)[:, 1]).max() for other in ORDERS
        }
        found = order_margin("hand", [("roll-off", channels)], order)
        assert found.margin == pytest.approx(margins[order], abs=1e-6)
        best = max(margins.values())
        assert found.best == (max(ORDERS, key=lambda o: margins[o]) if best >= margins[order] + WORTH else order)
        assert found.best_margin == pytest.approx(margins[found.best], abs=1e-6)
