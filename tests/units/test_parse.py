"""Lengths as people write them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.errors import SiteError
from lateral_map.units import METRES_PER, format_tape, parse_length, show_value

FOOT = Fraction(3048, 10000)
SURVEY_FOOT = Fraction(1200, 3937)
INCH = Fraction(254, 10000)

SEVEN_AND_A_HALF = [
    7.5, "7.5", "+7.5", " 7.5 ", "7 1/2", "7½", "7.5 ft", "7 1/2 ft", "7 ft 6 in", "7 ft. 6 in.",
    "7ft6in", "7 FT 6 IN", "7 feet 6 inches", "7'6\"", "7' 6\"", "7'-6\"", "7 ft - 6 in",
    "7'6", "7' 6",
    "7′6″", "7’6”", "7'6''", "90 in", '90"', "90″", "7\u00a0ft 6\u202fin", "15/2",
]  # fmt: skip


@pytest.mark.parametrize("text", SEVEN_AND_A_HALF)
def test_every_way_of_writing_seven_and_a_half_feet(text: object) -> None:
    assert parse_length(text, "ft") == float(Fraction(15, 2) * FOOT)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("7'-6 1/2\"", 7 * FOOT + Fraction(13, 2) * INCH),
        ("7'-6-1/2\"", 7 * FOOT + Fraction(13, 2) * INCH),
        ("7'6½\"", 7 * FOOT + Fraction(13, 2) * INCH),
        ("7' 6 1/2", 7 * FOOT + Fraction(13, 2) * INCH),
        ("12'-0 3/8\"", 12 * FOOT + Fraction(3, 8) * INCH),
        ("6 1/2 in", Fraction(13, 2) * INCH),
        ("1/4 in", Fraction(1, 4) * INCH),
        ("3\u20444 in", Fraction(3, 4) * INCH),
        ("7''", 7 * INCH),
        ("-7'6\"", -(7 * FOOT + 6 * INCH)),
        ("−2.5", Fraction(-5, 2) * FOOT),
        ("2.3 m", Fraction(23, 10)),
        ("2 m 30 cm", Fraction(23, 10)),
        ("1 m 5 mm", Fraction(1005, 1000)),
        ("150 mm", Fraction(15, 100)),
        ("12 us_ft", 12 * SURVEY_FOOT),
        ("12 US survey feet", 12 * SURVEY_FOOT),
        ("12 ftUS", 12 * SURVEY_FOOT),
        (0, Fraction(0)),
    ],
)
def test_reads_to_the_nearest_float(text: object, metres: Fraction) -> None:
    assert parse_length(text, "ft") == float(metres)


def test_feet_and_inches_take_the_sites_own_foot() -> None:
    assert parse_length("7'6\"", "us_ft") == float(Fraction(15, 2) * SURVEY_FOOT)
    assert parse_length("90 in", "us_ft") == float(Fraction(15, 2) * SURVEY_FOOT)
    assert parse_length("6 in", "us_in") == float(SURVEY_FOOT / 2)
    assert parse_length("2.3 m", "us_ft") == 2.3


def test_a_bare_number_takes_the_unit_asked_for() -> None:
    assert parse_length(6, "in") == pytest.approx(0.1524, abs=1e-15)
    assert parse_length("150", "mm") == pytest.approx(0.15, abs=1e-15)
    assert parse_length("7 ft 6 in", "m") == pytest.approx(2.286, abs=1e-15)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "abc", "7'14\"", "7.5'6\"", "1/0", "1 3/2", "--5", "+-5", "7-6", "7'-", "7'--6\"",
        "7 6",
        "7 6 in", "1,5", "1,234.5", "5 ft 3 cm", "6 in 7 ft",
        "1 ft 2 ft", "1 m 120 cm", "5..", ".",
        "'", "ft", "7'.5", "½½",
        "1_000", "1e3", "0x10", "inf", "nan", "7 yd", "7 fathoms", "five", "١٢", "1 2", "7' 6' 5'",
        "9" * 100,
        True, None, [1], {"ft": 1}, float("nan"), float("inf"), 10**400,
    ],
)  # fmt: skip
def test_what_is_no_length_is_said_to_be_none(text: object) -> None:
    with pytest.raises(SiteError) as caught:
        parse_length(text, "ft")
    (fault,) = caught.value.faults
    assert "length" in fault.problem or "unit" in fault.problem
    assert "7 ft 6 in" in fault.remedy


def test_an_unknown_unit_is_named() -> None:
    with pytest.raises(SiteError, match="'7 yd' has the unknown unit 'yd'"):
        parse_length("7 yd", "ft")


def test_a_shown_value_is_short_and_escaped() -> None:
    assert show_value("7'6\"") == "'7'6\"'"
    assert len(show_value("x" * 10_000_000)) <= 60
    assert "\x1b" not in show_value("\x1b[31mred")
    assert show_value(16**9000) == "a number of thousands of digits"


@given(st.text(max_size=100))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        metres = parse_length(text, "ft")
    except SiteError:
        return
    assert abs(metres) < 1e100


UNITS = st.sampled_from(["ft", "us_ft", "m"])


@given(st.floats(-1e6, 1e6), UNITS)
def test_a_number_means_the_same_typed_or_as_text(value: float, unit: str) -> None:
    assert parse_length(f"{value:.6f}", unit) == pytest.approx(
        parse_length(round(value, 6), unit), rel=1e-15, abs=1e-12
    )


@given(st.integers(0, 300), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths_add_up_exactly(feet: int, inches: int, sixteenths: int) -> None:
    metres = feet * FOOT + (inches + Fraction(sixteenths, 16)) * INCH
    text = f"{feet}'-{inches} {sixteenths}/16\""
    assert parse_length(text, "ft") == float(metres)


@given(st.floats(0, 100), st.sampled_from(["ft", "us_ft"]))
def test_a_tape_reading_reads_back_within_an_eighth_of_an_inch(metres: float, unit: str) -> None:
    back = parse_length(format_tape(metres, unit), unit)
    assert abs(back - metres) <= METRES_PER[unit] / 12 / 8 * (1 + 1e-9)
