"""result.json against the contract other programs rely on, and against the report it came from."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest
from analysis.builder import as_line
from pyproj import Transformer

from lateral_map.export.outward import lay_out
from lateral_map.export.registry import make_products
from lateral_map.export.result import result_json
from lateral_map.model.results import Report
from lateral_map.units import metres_per

NUMBER = {"type": "number"}
DEGREES = {"type": ["number", "null"]}
TEXT = {"type": "string"}


def record(**properties: Any) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties)}


def rows(**properties: Any) -> dict[str, Any]:
    return {"type": "array", "items": record(**properties)}


SIDE = rows(
    line=TEXT, past=NUMBER, past_sd=NUMBER,
    probability_past={"type": "number", "minimum": 0, "maximum": 1},
    verdict={"enum": ["inside", "past", "too close to call"]},
)  # fmt: skip
# Format 1 of result.json as published in docs/site-format.md.
CONTRACT = record(
    format={"const": 1},
    unit={"enum": ["ft", "us_ft", "m"]},
    crs=TEXT,
    fit=record(
        observations={"type": "integer"}, unknowns={"type": "integer"},
        degrees_of_freedom={"type": "integer"}, chi_square=NUMBER, p_value=DEGREES,
    ),
    stations=rows(
        footage=NUMBER, x=NUMBER, y=NUMBER, lat=DEGREES, lon=DEGREES, depth_to_invert=NUMBER,
        depth_sd=NUMBER,
        ellipse_95=record(
            semi_major=NUMBER, semi_minor=NUMBER,
            azimuth={"type": "number", "minimum": 0, "maximum": 180},
        ),
        basis={"enum": ["located", "between locates", "dead reckoned"]},
    ),
    crossings=rows(
        line=TEXT, footage=NUMBER, footage_sd=NUMBER, x=NUMBER, y=NUMBER, depth_to_invert=NUMBER
    ),
    findings=rows(
        footage=NUMBER, finding=TEXT, x=NUMBER, y=NUMBER, depth_to_invert=NUMBER, sides=SIDE
    ),
    readings=rows(
        reading=TEXT, residual=NUMBER, standardised=NUMBER, redundancy=NUMBER,
        verdict={"enum": ["good", "suspect", "unchecked"]},
    ),
)  # fmt: skip


def read(report: Report) -> dict[str, Any]:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    loaded: dict[str, Any] = json.loads(result_json(report), parse_constant=refuse)
    return loaded


def test_keeps_the_contract(report: Report) -> None:
    jsonschema.validate(read(report), CONTRACT)


def test_contract_keys_come_first_and_in_order(report: Report) -> None:
    result = read(report)
    contract = list(CONTRACT["properties"])
    assert list(result)[: len(contract)] == contract
    for key in ("stations", "crossings", "findings", "readings"):
        asked = list(CONTRACT["properties"][key]["items"]["properties"])
        for row in result[key]:
            assert list(row)[: len(asked)] == asked


def test_says_what_the_report_says(report: Report) -> None:
    result, metre = read(report), metres_per(report.site.unit)
    s = report.stations
    for key, expected in (
        ("footage", s.footage_m), ("depth_to_invert", s.depth_m), ("depth_sd", s.depth_sd_m)
    ):  # fmt: skip
        written = np.array([row[key] for row in result["stations"]]) * metre
        np.testing.assert_allclose(written, expected, atol=1e-6)
    for row, crossing in zip(result["crossings"], report.crossings, strict=True):
        assert row["footage_sd"] * metre == pytest.approx(crossing.sd_footage_m, abs=1e-6)
    for row, finding in zip(result["findings"], report.findings, strict=True):
        sides = [(side.line, side.verdict) for side in finding.sides]
        assert [(side["line"], side["verdict"]) for side in row["sides"]] == sides


def test_coordinates_agree_with_an_independent_projection(report: Report) -> None:
    """x, y and lat, lon of a station name one place, by PROJ's own road from one to the other."""
    result = read(report)
    row = result["stations"][-1]
    if result["crs"] == "local":
        assert row["lat"] is None
        assert row["lon"] is None
        return
    there = Transformer.from_crs("EPSG:4326", result["crs"], always_xy=True)
    x, y = there.transform(row["lon"], row["lat"])
    unit_m = report.site.frame.unit_m
    assert (x - row["x"]) * unit_m == pytest.approx(0.0, abs=2e-3)
    assert (y - row["y"]) * unit_m == pytest.approx(0.0, abs=2e-3)


def test_ellipse_azimuth_counts_from_grid_north(report: Report) -> None:
    """Walk along the long axis in the plane; x, y there must lie in the azimuth written."""
    s, frame = report.stations, report.site.frame
    azimuth = np.radians(s.ellipse_azimuth_deg[-1])
    east, north = s.easting_m[-1], s.northing_m[-1]
    x, y = frame.from_plane(
        [east, east + 10 * np.sin(azimuth)], [north, north + 10 * np.cos(azimuth)]
    )
    expected = np.degrees(np.arctan2(np.diff(x), np.diff(y)))[0] % 180.0
    written = read(report)["stations"][-1]["ellipse_95"]["azimuth"]
    assert (written - expected + 90.0) % 180.0 - 90.0 == pytest.approx(0.0, abs=1e-3)


def test_same_site_same_bytes(report: Report) -> None:
    names = ("result", "geojson", "gpkg", "stations")
    assert make_products(report, names) == make_products(report, names)


def test_unknown_numbers_are_null_never_nan(reports: dict[str, Report]) -> None:
    report = reports["plain_lot"]
    unchecked = replace(report, fit=replace(report.fit, degrees_of_freedom=0, p_value=float("nan")))
    assert read(unchecked)["fit"]["p_value"] is None
    with pytest.raises(ValueError, match="not JSON compliant"):
        lay_out({"depth": float("nan")})


def test_other_routes_that_fit_are_said(reports: dict[str, Report]) -> None:
    report = reports["plain_lot"]
    other = np.array([[0.0, 0.0], [10.0, 5.0]])
    doubtful = replace(
        report, route=replace(report.route, alternatives=(as_line(report.route, other),))
    )
    assert read(report)["alternatives"] == []
    (line,) = read(doubtful)["alternatives"]
    x, y = report.site.frame.from_plane(*other.T)
    assert [place["x"] for place in line] == pytest.approx(x, abs=1e-6)
    assert [place["y"] for place in line] == pytest.approx(y, abs=1e-6)
    layers = {feature["properties"]["layer"] for feature in features_of(doubtful)}
    assert "alternatives" in layers


def features_of(report: Report) -> list[dict[str, Any]]:
    content = make_products(report, ["geojson"])["route.geojson"]
    found: list[dict[str, Any]] = json.loads(content)["features"]
    return found


def test_extra_columns_and_hostile_words_come_through_unharmed(hostile_report: Report) -> None:
    result = read(hostile_report)
    crew = {finding["extra"]["crew"] for finding in result["findings"]}
    assert crew == {finding.finding.extra["crew"] for finding in hostile_report.findings}
    assert "{{7*7}}" in result["site"]["name"]
