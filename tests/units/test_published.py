"""Factors against what is published, and against PROJ's own database."""

from __future__ import annotations

import pytest
from pyproj import CRS
from pyproj.database import get_units_map

from lateral_map.frame import crs_unit_name
from lateral_map.units import METRES_PER, from_metres, to_metres


def test_the_international_foot_is_exact() -> None:
    # 24 FR 5348 (1 July 1959): 1 yard = 0.9144 m exactly (from memory).
    assert METRES_PER["ft"] == 0.3048
    assert METRES_PER["in"] == 0.0254


def test_the_us_survey_foot() -> None:
    # 85 FR 62698 (5 October 2020), doc 2020-21902: 1200/3937 m.
    assert METRES_PER["us_ft"] == pytest.approx(0.30480060960121924, abs=1e-16)
    # 85 FR 62698: 1 international foot = 0.999998 US survey foot.
    assert from_metres(0.3048, "us_ft") == pytest.approx(0.999998, abs=1e-12)


def test_the_two_feet_are_four_feet_apart_at_two_million() -> None:
    # Worked from the same two definitions (85 FR 62698).
    survey_m = to_metres(2_000_000.0, "us_ft")
    assert survey_m == pytest.approx(609601.2192024384, abs=1e-9)
    assert survey_m - to_metres(2_000_000.0, "ft") == pytest.approx(1.2192024384, abs=1e-9)
    assert from_metres(survey_m - to_metres(2_000_000.0, "ft"), "ft") == pytest.approx(
        4.000008, abs=1e-6
    )


@pytest.mark.parametrize(
    ("epsg_name", "unit"),
    [
        ("metre", "m"),
        ("foot", "ft"),
        ("US survey foot", "us_ft"),
        ("centimetre", "cm"),
        ("millimetre", "mm"),
    ],
)
def test_factors_agree_with_the_epsg_registry_in_proj(epsg_name: str, unit: str) -> None:
    # The EPSG Dataset as shipped in PROJ's database.
    published = get_units_map(auth_name="EPSG", category="linear")[epsg_name].conv_factor
    assert METRES_PER[unit] == pytest.approx(published, rel=1e-15)


@pytest.mark.parametrize(
    ("proj_name", "unit"), [("in", "in"), ("us-in", "us_in"), ("ft", "ft"), ("us-ft", "us_ft")]
)
def test_factors_agree_with_proj_short_names(proj_name: str, unit: str) -> None:
    published = {
        one.proj_short_name: one.conv_factor
        for one in get_units_map(category="linear").values()
        if one.proj_short_name
    }
    assert METRES_PER[unit] == pytest.approx(published[proj_name], rel=1e-9)


@pytest.mark.parametrize(
    ("code", "unit"),
    [
        # Read in the EPSG Dataset: Oregon North keeps the international foot, Washington North and
        # California 2 the US survey foot.
        (2913, "ft"),
        (6559, "ft"),
        (2285, "us_ft"),
        (2226, "us_ft"),
        (32633, "m"),
    ],
)
def test_state_plane_systems_are_told_apart_by_their_foot(code: int, unit: str) -> None:
    factor = CRS.from_epsg(code).axis_info[0].unit_conversion_factor
    assert crs_unit_name(factor) == unit


def test_an_uncommon_unit_is_shown_by_its_factor() -> None:
    assert crs_unit_name(20.1168) == "20.1168 m"
