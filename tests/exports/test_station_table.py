"""stations.csv as a spreadsheet and the csv module read it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.export.station_table import neutralise_formula, stations_csv
from lateral_map.model.results import Report
from lateral_map.units import metres_per


def read(report: Report) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(stations_csv(report).decode("utf-8-sig"), newline="")))


def test_says_what_the_report_says(report: Report) -> None:
    rows, unit = read(report), report.site.unit
    assert len(rows) == len(report.stations.footage_m)
    for name, expected in (
        ("footage", report.stations.footage_m), ("depth_to_invert", report.stations.depth_m)
    ):  # fmt: skip
        written = np.array([float(row[f"{name}_{unit}"]) for row in rows]) * metres_per(unit)
        np.testing.assert_allclose(written, expected, atol=5e-4)
    assert [row["basis"] for row in rows] == list(report.stations.basis)


def test_unknown_values_are_empty(reports: dict[str, Report]) -> None:
    rows = read(reports["local_sketch"])
    assert {(row["lat"], row["lon"], row["invert_elevation_ft"]) for row in rows} == {("", "", "")}


def test_spreadsheets_are_told_the_encoding(reports: dict[str, Report]) -> None:
    assert stations_csv(reports["plain_lot"]).startswith(b"\xef\xbb\xbf")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_formulas_are_shown_not_run(reports: dict[str, Report], start: str) -> None:
    """The characters OWASP lists under 'CSV Injection' (from memory)."""
    report = reports["local_sketch"]
    events = ((f"{start}HYPERLINK(0)",), *report.stations.events[1:])
    trapped = replace(report, stations=replace(report.stations, events=events))
    assert read(trapped)[0]["events"] == f"'{start}HYPERLINK(0)"


@given(st.text())
def test_neutral_text_begins_no_formula(text: str) -> None:
    neutral = neutralise_formula(text)
    assert neutral[:1] not in tuple("=+-@\t\r\n")
    assert neutral in (text, f"'{text}")
