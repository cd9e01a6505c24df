"""route.geojson by the rules of RFC 7946, and read back by GDAL."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
from shapely.geometry import shape

from lateral_map.export.geojson import route_geojson
from lateral_map.model.results import Report

LAYERS = [
    "corridor", "buffer", "alternatives", "route", "stretches", "stations", "crossings", "findings",
    "locates",
]  # fmt: skip


def features(report: Report) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(route_geojson(report))["features"]
    return found


def positions(coordinates: Any) -> list[list[float]]:
    if isinstance(coordinates[0], int | float):
        return [coordinates]
    return [position for part in coordinates for position in positions(part)]


def rings(geometry: dict[str, Any]) -> list[list[Any]]:
    """Polygons of a geometry, each a list of rings (RFC 7946 section 3.1.6)."""
    if geometry["type"] == "Polygon":
        return [geometry["coordinates"]]
    return list(geometry["coordinates"]) if geometry["type"] == "MultiPolygon" else []


def signed_area(ring: list[list[float]]) -> float:
    x, y = np.array(ring).T
    x, y = x - x[0], y - y[0]
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2.0


def test_every_layer_is_there_in_drawing_order(report: Report) -> None:
    found = list(dict.fromkeys(feature["properties"]["layer"] for feature in features(report)))
    assert found == [name for name in LAYERS if name in found]
    assert {"corridor", "buffer", "route", "stretches", "stations"} <= set(found)


def test_ids_are_unique(report: Report) -> None:
    ids = [feature["id"] for feature in features(report)]
    assert len(ids) == len(set(ids))


def test_longitude_comes_first_with_enough_decimals(reports: dict[str, Report]) -> None:
    report = reports["plain_lot"]
    site = report.site.frame.plane_to_lonlat(0.0, 0.0)
    assert site is not None
    for feature in features(report):
        for lon, lat in positions(feature["geometry"]["coordinates"]):
            assert lon == pytest.approx(float(site[0]), abs=0.01)
            assert lat == pytest.approx(float(site[1]), abs=0.01)
    text = json.dumps(features(report)[0]["geometry"])
    longest = max(len(number.partition(".")[2]) for number in text.strip("]}").split(", "))
    assert longest >= 7


def test_rings_are_closed_and_follow_the_right_hand_rule(report: Report) -> None:
    """RFC 7946 section 3.1.6: outer rings counter-clockwise, holes clockwise."""
    polygons = [polygon for feature in features(report) for polygon in rings(feature["geometry"])]
    assert polygons
    for outer, *holes in polygons:
        assert signed_area(outer) > 0.0
        assert all(signed_area(hole) < 0.0 for hole in holes)
        assert all(ring[0] == ring[-1] and len(ring) >= 4 for ring in (outer, *holes))


def test_no_crs_member_and_flat_positions(report: Report) -> None:
    """RFC 7946: no other system (section 4), no third number but a WGS 84 height (3.1.1)."""
    collection = json.loads(route_geojson(report))
    assert "crs" not in collection
    every = [p for f in collection["features"] for p in positions(f["geometry"]["coordinates"])]
    assert {len(position) for position in every} == {2}


def test_a_sketch_says_that_it_is_no_place_on_earth(reports: dict[str, Report]) -> None:
    assert "no place on earth" in json.loads(route_geojson(reports["local_sketch"]))["note"]
    assert "note" not in json.loads(route_geojson(reports["plain_lot"]))


def test_gdal_reads_the_same_places(reports: dict[str, Report], tmp_path: Path) -> None:
    path = tmp_path / "route.geojson"
    path.write_text(route_geojson(reports["plain_lot"]), encoding="utf-8")
    frame = pyogrio.read_dataframe(path)
    assert frame.crs.to_epsg() == 4326
    written = features(reports["plain_lot"])
    assert len(frame) == len(written)
    for geometry, feature in zip(frame.geometry, written, strict=True):
        assert geometry.equals(shape(feature["geometry"]))
