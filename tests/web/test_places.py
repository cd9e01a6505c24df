"""Places on the plan, however they were given, as the plan's file keeps them."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pyproj import Transformer

from lateral_map.errors import SiteError
from lateral_map.frame import projected_frame
from lateral_map.web.places import Ground, file_coordinates, geometry, intersect_tapes

SKETCH = Ground("local", "ft", None, {"A": (0.0, 0.0), "B": (3.048, 0.0)})
CRS = "EPSG:6499"
FRAME = projected_frame(CRS, 13_200_000.0, 700_000.0)
EARTH = Ground(CRS, "ft", FRAME, {})
ACROSS = st.floats(-200.0, 200.0)


@given(ACROSS, ACROSS, ACROSS, ACROSS, ACROSS, ACROSS)
def test_two_tapes_meet_where_they_were_pulled_to(
    ax: float, ay: float, bx: float, by: float, x: float, y: float
) -> None:
    apart = math.hypot(bx - ax, by - ay)
    off = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / apart if apart else 0.0
    assume(apart > 0.5 and abs(off) > 0.5)
    side = "left" if off > 0 else "right"
    reaches = math.hypot(x - ax, y - ay), math.hypot(x - bx, y - by)
    found = intersect_tapes((ax, ay), reaches[0], (bx, by), reaches[1], side, "m")
    assert found == pytest.approx((x, y), abs=1e-6)


def test_a_sketch_keeps_x_and_y_in_its_own_unit() -> None:
    assert file_coordinates({"x": "12.5", "y": "-3"}, SKETCH) == [12.5, -3.0]
    assert file_coordinates({"plane": [3.048, 0.3048]}, SKETCH) == [10.0, 1.0]
    assert file_coordinates({"point": "B"}, SKETCH) == [10.0, 0.0]
    # 6-8-10 from A, to the left going to B: 8 from A along 6.4, off 4.8.
    taped = {"tapes": [["A", "8'"], ["B", "72 in"]], "side": "left"}
    assert file_coordinates(taped, SKETCH) == [6.4, 4.8]


def test_a_projected_plan_keeps_longitude_and_latitude() -> None:
    # The operation PROJ itself picks, called directly; NAD83(2011) to WGS 84 is taken as no shift.
    back = Transformer.from_crs("EPSG:6318", CRS, always_xy=True)
    lon, lat = file_coordinates({"x": "13200100", "y": "700050.25"}, EARTH)
    assert back.transform(lon, lat) == pytest.approx((13_200_100.0, 700_050.25), abs=1e-3)
    assert file_coordinates({"lat": "43.86", "lon": "-83.62"}, EARTH) == [-83.62, 43.86]
    east, north = FRAME.to_plane(13_200_100.0, 700_050.25)
    assert file_coordinates({"plane": [float(east), float(north)]}, EARTH) == [lon, lat]


def test_x_and_y_need_no_frame_yet() -> None:
    bare = Ground(CRS, "ft", None, {})
    at = file_coordinates({"x": "13200100", "y": "700050.25"}, bare)
    assert at == pytest.approx(file_coordinates({"x": "13200100", "y": "700050.25"}, EARTH))


@pytest.mark.parametrize(
    ("given", "ground", "words"),
    [
        ({}, SKETCH, "no place yet"),
        ({"lat": "43", "lon": "1"}, SKETCH, "no latitude"),
        ({"lat": "95", "lon": "1"}, EARTH, "no number from -90"),
        ({"x": "abc", "y": "1"}, SKETCH, "no number"),
        ({"x": "nan", "y": "1"}, SKETCH, "no number"),
        ({"x": "1", "y": "1"}, Ground(CRS, "ft", None, {}), "outside"),
        ({"point": "C"}, SKETCH, "no reference point"),
        ({"tapes": [["A", "1"], ["B", "1"]], "side": "left"}, SKETCH, "cannot meet"),
        ({"tapes": [["A", "8"], ["B", "6"]]}, SKETCH, "which side"),
        ({"tapes": [["A", "8 yards"], ["B", "6"]], "side": "left"}, SKETCH, "unknown unit"),
        ({"tapes": [["A", "8"]], "side": "left"}, SKETCH, "two tapes"),
        ({"plane": [1.0, 2.0]}, Ground(CRS, "ft", None, {}), "no place on earth yet"),
        ({"plane": ["1", None]}, SKETCH, "no place yet"),
    ],
)
def test_what_is_no_place_is_said(given: dict[str, Any], ground: Ground, words: str) -> None:
    with pytest.raises(SiteError, match=words):
        file_coordinates(given, ground)


def test_areas_are_closed_and_wound_counter_clockwise() -> None:
    corners = [{"x": "0", "y": "0"}, {"x": "0", "y": "5"}, {"x": "5", "y": "5"}]
    assert geometry("Polygon", corners, SKETCH)["coordinates"] == [
        [[5.0, 5.0], [0.0, 5.0], [0.0, 0.0], [5.0, 5.0]]
    ]
    assert geometry("Polygon", corners[::-1], SKETCH)["coordinates"][0][0] == [5.0, 5.0]
    for shape, few in (("Point", []), ("LineString", corners[:1]), ("Polygon", corners[:2])):
        with pytest.raises(SiteError):
            geometry(shape, few, SKETCH)


@pytest.mark.parametrize(("shape", "said"), [("Point", "tap it"), ("Polygon", "tap them")])
def test_places_that_are_missing_are_asked_for(shape: str, said: str) -> None:
    with pytest.raises(SiteError, match=said):
        geometry(shape, [], SKETCH)
