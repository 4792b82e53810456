"""How evenly the sweep's sequence fills lines and planes, against scipy's measure of it and scipy's own points.

Source: `scipy.stats.qmc.discrepancy` (L2 star discrepancy, Warnock 1972) and `qmc.Sobol` (Owen scrambling).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from armwright.core.sweep.sequence import points
from armwright.core.sweep.space import DIMENSIONS

COUNT = 2048
PLANES = 40
SEED = 5


def uneven(found: np.ndarray, which: list[list[int]]) -> np.ndarray:
    return np.array([qmc.discrepancy(found[:, columns], method="L2-star") for columns in which])


@pytest.mark.parametrize("seed", [1, 99])
def test_lines_and_planes_are_far_more_even_than_random_points_and_near_to_sobol_s(seed: int) -> None:
    rng = np.random.default_rng(SEED)
    print("seed", SEED)
    planes = [rng.choice(DIMENSIONS, 2, replace=False).tolist() for _ in range(PLANES)]
    lines = [[column] for column in range(DIMENSIONS)]
    ours = points(seed, 0, COUNT, DIMENSIONS)
    random = rng.random((COUNT, DIMENSIONS))
    sobol = qmc.Sobol(DIMENSIONS, seed=seed).random(COUNT)
    for which, gain, against_sobol in ((lines, 10.0, 5.0), (planes, 4.0, 3.0)):
        mean = uneven(ours, which).mean()
        assert mean * gain < uneven(random, which).mean()
        assert mean < against_sobol * uneven(sobol, which).mean()
    # A pair of steps may happen to be nearly in a ratio of small whole numbers: few planes are no better than random.
    assert (uneven(ours, planes) > uneven(random, planes).mean()).mean() <= 0.05
