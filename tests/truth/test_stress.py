"""95 % intervals hold where the world is worse than the accuracies stated, and stay true elsewhere.

What each class is, and the measured tables: docs/reliability.md.
"""

from __future__ import annotations

import numpy as np
import pytest
from truth.diagnosing import measure_site

pytestmark = pytest.mark.slow
SITES = range(8000, 8100)
BEYOND = 1.959963984540054


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("bend 22.5 not noted", 0.93, 1.0),
        ("Student t errors", 0.93, 1.0),
        ("counter scale 3 %", 0.93, 1.0),
        ("wander twice", 0.93, 1.0),
        ("clean", 0.94, 0.97),
        ("clean jobs", 0.94, 0.97),
    ],
)
def test_intervals_hold_where_the_world_is_worse_than_stated(name, least, most):
    """Errors of one site go together: a share of 100 sites is good to about 1.5 in 100."""
    sites = [measure_site(name, seed) for seed in SITES]
    for what, slack in (("past", 0.025), ("crossing", 0.035)):
        off = np.array([z for one in sites if not one["refused"] for z in one["before"][what]])
        assert least - slack <= np.mean(np.abs(off) < BEYOND) <= most + slack
