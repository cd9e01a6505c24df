"""Lengths as they are shown."""

from __future__ import annotations

import math

import pytest

from lateral_map.units import (
    format_length,
    format_small,
    format_tape,
    from_metres,
    metres_per,
    per_root_metre,
    small_unit,
    steep_deg,
    to_metres,
)


def test_lengths_are_shown_in_the_sites_unit() -> None:
    assert format_length(3.048, "ft") == "10.0 ft"
    assert format_length(3.048, "m", decimals=2) == "3.05 m"
    assert format_length(to_metres(10, "us_ft"), "us_ft") == "10.0 ft"
    assert format_small(0.1524, "ft") == "6 in"
    assert format_small(to_metres(6, "us_in"), "us_ft") == "6 in"
    assert format_small(0.15, "m") == "150 mm"


def test_nothing_is_shown_as_minus_nought() -> None:
    assert format_length(-0.001, "ft") == "0.0 ft"
    assert format_small(-0.001, "ft") == "0 in"
    assert format_tape(-0.0001, "ft") == "0 ft 0 in"
    assert format_tape(-0.001, "m") == "0.00 m"


@pytest.mark.parametrize(
    ("inches", "shown"),
    [(0.1, "0 ft 0 in"), (11.9, "1 ft 0 in"), (90.5, "7 ft 6 1/2 in"), (-6.25, "-0 ft 6 1/4 in")],
)
def test_a_tape_is_shown_to_the_quarter_inch(inches: float, shown: str) -> None:
    assert format_tape(to_metres(inches, "in"), "ft") == shown


def test_small_units() -> None:
    assert [small_unit(unit) for unit in ("ft", "us_ft", "m")] == ["in", "us_in", "mm"]


def test_a_random_walk_keeps_its_spread_when_its_unit_changes() -> None:
    # After the same 9 ft of pipe: 0.5 degrees x sqrt(9 ft) = 1.5 degrees.
    per_root_m = per_root_metre(0.5, "ft")
    assert per_root_m * to_metres(9.0, "ft") ** 0.5 == pytest.approx(1.5, rel=1e-15)
    assert per_root_metre(0.9, "m") == 0.9


@pytest.mark.parametrize("unit", ["m", "ft", "us_ft", "in", "us_in", "cm", "mm"])
def test_there_and_back(unit: str) -> None:
    assert from_metres(to_metres(123.456, unit), unit) == pytest.approx(123.456, rel=1e-15)
    assert metres_per(unit) == to_metres(1.0, unit)


def test_a_slope_past_45_degrees_is_an_angle() -> None:
    assert steep_deg(1.0, 0.2) is None
    assert steep_deg(-0.02, 5.0) is None
    # d atan(r) = dr / (1 + r²): at 60 degrees r² = 3.
    assert steep_deg(3.0**0.5, 0.04) == pytest.approx((60.0, math.degrees(0.01)))
    assert steep_deg(-(3.0**0.5), 0.04) == pytest.approx((-60.0, math.degrees(0.01)))
