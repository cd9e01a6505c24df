"""Labels in a row keep their order and stay as near their marks as can be."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from lateral_map.draw.paint.labels import spread

WIDTH = 10.0


@given(st.lists(st.floats(0.0, 200.0), min_size=1, max_size=20).map(sorted))
def test_it_is_the_least_squares_answer_of_scipy(centres):
    widths = np.full(len(centres), WIDTH)
    found = spread(centres, widths, -1e4, 1e4)
    gaps = WIDTH * np.arange(len(centres))
    assert found == pytest.approx(isotonic_regression(np.array(centres) - gaps).x + gaps)
    assert (np.diff(found) >= WIDTH - 1e-9).all()
