"""Numbers on their way out: rounded together as one by one, whatever they are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.export.outward import all_rounded, rounded

TIES = st.integers(-(10**9), 10**9).map(lambda half: half / 2e6)
NEAR_TIES = st.tuples(TIES, st.sampled_from([math.inf, -math.inf])).map(
    lambda x: math.nextafter(*x)
)
PLACES = st.floats(-1e7, 1e7)


@given(
    st.lists(st.one_of(TIES, NEAR_TIES, PLACES, st.floats()), max_size=30),
    st.sampled_from([6, 9, 10]),
)
def test_many_numbers_are_rounded_as_each_by_itself(values, decimals):
    together = all_rounded(values, decimals)
    assert list(map(repr, together)) == [repr(rounded(one, decimals)) for one in values]


@pytest.mark.parametrize("value", [2.675e-6, 1e300, -1e300, 5e-324, -0.0, math.nan, math.inf])
def test_no_number_is_told_as_minus_zero_or_not_finite(value):
    (told,) = all_rounded(np.array([value]))
    assert told is None or math.copysign(1.0, told) == math.copysign(1.0, value) or told == 0.0
    assert repr(told) not in ("-0.0", "nan", "inf")
