"""GNSS files of points, and what a stated accuracy means."""

from __future__ import annotations

import json

import gpxpy
import gpxpy.gpx
import numpy as np
import pytest
from scipy.stats import chi2

from lateral_map.errors import SiteError
from lateral_map.reading.gnss import GnssPoint, match_marks, read_points, sd_of_radius

KML = """<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>
<Placemark><name>A</name><Point><coordinates>-83.61,43.86,210</coordinates></Point></Placemark>
<Placemark><name>line</name><LineString><coordinates>0,0 1,1</coordinates></LineString></Placemark>
</Folder></Document></kml>"""


def gpx() -> bytes:
    """Return a GPX file as an independent library (gpxpy) writes it."""
    file = gpxpy.gpx.GPX()
    for name, lat, lon in (("A", 43.86, -83.61), ("B <&>", 43.87, -83.62)):
        file.waypoints.append(gpxpy.gpx.GPXWaypoint(lat, lon, 200.0, name=name))
    return file.to_xml().encode()


def test_gpx_waypoints_are_read() -> None:
    assert read_points("a.gpx", gpx()) == (
        GnssPoint("A", 43.86, -83.61),
        GnssPoint("B <&>", 43.87, -83.62),
    )


def test_kml_points_are_read_and_lines_left_out() -> None:
    assert read_points("a.kml", KML.encode()) == (GnssPoint("A", 43.86, -83.61),)


def test_geojson_points_are_read() -> None:
    features = [
        {"type": "Feature", "properties": {"Mark": "A", "accuracy": 0.02},
         "geometry": {"type": "Point", "coordinates": [-83.61, 43.86, 5]}},
        {"type": "Feature", "properties": None,
         "geometry": {"type": "Point", "coordinates": [-83.62, 43.87]}},
        {"type": "Feature", "geometry": None},
    ]  # fmt: skip
    text = json.dumps({"type": "FeatureCollection", "features": features})
    assert read_points("a.geojson", text.encode()) == (
        GnssPoint("A", 43.86, -83.61, 0.02),
        GnssPoint("", 43.87, -83.62),
    )


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("by", [",", ";", "\t"])
def test_csv_points_are_read(by: str, mark: str) -> None:
    text = "Latitude,Longitude,Name,Accuracy\r\n43.86,-83.61,A,2\r\n\r\n43.87,-83.62,B,\r\n"
    points = read_points("a.csv", (mark + text.replace(",", by)).encode(), "ft")
    assert points[0] == GnssPoint("A", 43.86, -83.61, pytest.approx(0.6096))
    assert points[1].accuracy_m is None


@pytest.mark.parametrize(
    ("file", "data", "words"),
    [
        ("a.gpx", b"<gpx></gpx>", "no points"),
        ("a.gpx", b"<gpx><wpt lat='x' lon='1'/></gpx>", "decimal degrees"),
        ("a.gpx", b"<gpx><wpt lat='91' lon='1'/></gpx>", "no place on earth"),
        ("a.gpx", b"<gpx", "no sound XML"),
        ("a.svg", b"<svg/>", "neither GPX nor KML"),
        ("a.json", b"{", "no sound JSON"),
        ("a.csv", b"name,x,y\nA,1,2\n", "no lat and lon columns"),
        ("a.csv", b"lat,lon\n43,nan\n", "row 2"),
        ("a.csv", b"lat,lon,accuracy\n43,1,-1\n", "greater than 0"),
        ("a.csv", b"\xff\x00\x81", "no text file"),
        ("a.json", b'{"features": [{"geometry": {"type": "Point"}}]}', "coordinates"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said(file: str, data: bytes, words: str) -> None:
    with pytest.raises(SiteError, match=words):
        read_points(file, data)


@pytest.mark.parametrize(
    "bomb",
    [
        '<!DOCTYPE a [<!ENTITY x "y">]><gpx><wpt lat="1" lon="1"><name>&x;</name></wpt></gpx>',
        '<!DOCTYPE a SYSTEM "file:///etc/passwd"><gpx/>',
    ],
)
def test_xml_that_declares_entities_is_refused(bomb: str) -> None:
    with pytest.raises(SiteError, match="no sound XML"):
        read_points("a.gpx", bomb.encode())


def test_points_match_marks_whatever_their_case_and_once_each() -> None:
    points = [GnssPoint(name, 1.0, 1.0) for name in ("locate c", "C", " G 1", "pt A", "nobody")]
    matched = match_marks(points, ["A", "C", "G 1"])
    assert [one.mark for one in matched] == ["C", "", "G 1", "A", ""]


@pytest.mark.parametrize(("meaning", "factor"), [("68", 1.5096), ("95", 2.4477), ("50", 1.1774)])
def test_a_radius_becomes_one_sd_an_axis(meaning: str, factor: float) -> None:
    # The factors are those of a circular normal error: sqrt of the chi-square quantile with two
    # degrees of freedom, here from scipy, and 2.4477 as printed for 95 % ellipses.
    assert float(np.sqrt(chi2.ppf(float(meaning) / 100.0, 2))) == pytest.approx(factor, abs=5e-5)
    assert sd_of_radius(4.9, meaning) == pytest.approx(4.9 / factor, rel=5e-5)
    assert sd_of_radius(4.9, "sd") == 4.9


def test_the_radius_holds_its_share_of_simulated_fixes() -> None:
    fixes = np.random.default_rng(3).normal(0.0, sd_of_radius(5.0, "68"), (200_000, 2))
    assert float((np.hypot(*fixes.T) < 5.0).mean()) == pytest.approx(0.68, abs=0.005)
