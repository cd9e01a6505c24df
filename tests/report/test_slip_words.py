"""What a slip is called: a size is told in what it is measured in, a turn with its side."""

from __future__ import annotations

import typing

import numpy as np
import pytest

from lateral_map.model.diagnosis import KINDS_OF, Slip, SlipName
from lateral_map.model.identity import ReadingId
from lateral_map.model.site import Plan
from lateral_map.words.diagnoses import slip_words


def slip(name, size):
    kinds = KINDS_OF.get(name, ())
    reading = ReadingId(kinds[0], "12.5", kinds[0]) if kinds else None
    return Slip(name, (size,), reading, 3.81)


@pytest.mark.parametrize("unit", ["ft", "m"])
@pytest.mark.parametrize("name", typing.get_args(SlipName))
def test_an_angle_is_never_told_as_a_length(name, unit):
    """3.81 m along is 12.5 ft; 37 degrees would be 121 ft."""
    one = slip(name, 37.0)
    said = slip_words(one, Plan(), unit)
    assert "121" not in said or one.measure == "length"
    assert "37.0 m" not in said or one.measure == "length"


@pytest.mark.parametrize(
    ("would_read", "side"),
    [(70.0, "right"), (-70.0, "left"), (np.float64(70.0), "right"), (np.float64(-70.0), "left")],
)
def test_a_bend_that_turns_otherwise_says_to_which_side(would_read, side):
    said = slip_words(slip("bend angle", -160.0), Plan(), "ft", would_read)
    assert f"turns 70\u00b0 {side}" in said
    fall = Slip("bend angle", (5.0,), ReadingId("fall", "12.5", "fall"), 3.81)
    assert "20\u00b0 down" in slip_words(fall, Plan(), "ft", 20.0)
