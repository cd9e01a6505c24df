"""The site's plane: out and back, convergence, refusals."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Proj, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion

from lateral_map.errors import FrameError
from lateral_map.frame import (
    crs_middle_deg,
    local_frame,
    projected_frame,
    projected_frame_at,
    read_crs,
    reproject,
    same_crs,
)

PLACES = [
    ("EPSG:6499", -84.5, 42.7),
    ("EPSG:2913", -122.7, 45.5),
    ("EPSG:2285", -122.3, 47.6),
    ("EPSG:32633", 13.4, 52.5),
    ("EPSG:27700", -1.5, 53.8),
    ("EPSG:2193", 174.8, -41.3),
    ("EPSG:27572", -1.6, 47.2),  # grads from Paris
]
# Longitude from Lisbon; a datum shift too long for the round trip's millimetre.
FARTHER = [*PLACES, ("EPSG:20790", -8.6, 39.9)]


@pytest.mark.parametrize(("crs", "lon", "lat"), FARTHER)
def test_the_plane_is_centred_on_the_site(crs: str, lon: float, lat: float) -> None:
    frame = projected_frame_at(crs, lon, lat)
    assert np.allclose(frame.lonlat_to_plane(lon, lat), 0.0, atol=1e-4)
    assert not frame.is_local


@pytest.mark.parametrize(("crs", "lon", "lat"), PLACES)
def test_coordinates_come_back_as_they_went_in(crs: str, lon: float, lat: float) -> None:
    frame = projected_frame_at(crs, lon, lat)
    east, north = np.meshgrid(np.linspace(-500, 500, 5), np.linspace(-500, 500, 5))
    x, y = frame.from_plane(east, north)
    back = frame.to_plane(x, y)
    assert np.allclose(back, (east, north), atol=1e-7)
    around = frame.plane_to_lonlat(east, north)
    assert around is not None
    # A datum shift in two dimensions drops the height: a millimetre at most in these places.
    assert np.allclose(frame.lonlat_to_plane(*around), (east, north), atol=1e-3)


@pytest.mark.parametrize(("crs", "lon", "lat"), FARTHER)
def test_convergence_agrees_with_proj(crs: str, lon: float, lat: float) -> None:
    frame = projected_frame_at(crs, lon, lat)
    x, y = frame.from_plane(0.0, 0.0)
    # The factors are asked for in degrees from the system's own meridian.
    geodetic = read_crs(crs).geodetic_crs
    own = Transformer.from_crs(crs, geodetic, always_xy=True).transform(x, y)
    centre = np.degrees(np.array(own) * geodetic.axis_info[0].unit_conversion_factor)
    published = Proj(crs).get_factors(*centre).meridian_convergence
    assert frame.convergence_deg == pytest.approx(published, abs=1e-5)


def test_grid_north_leans_east_of_true_north_east_of_the_central_meridian() -> None:
    # tan(convergence) = tan(longitude from the meridian) x sin(latitude) on the sphere; UTM zone 33
    # stands on 15 degrees east.
    east = projected_frame_at("EPSG:32633", 17.0, 52.0)
    west = projected_frame_at("EPSG:32633", 13.0, 52.0)
    expected = np.degrees(np.arctan(np.tan(np.radians(2.0)) * np.sin(np.radians(52.0))))
    assert east.convergence_deg == pytest.approx(expected, abs=0.005)
    assert west.convergence_deg == pytest.approx(-expected, abs=0.005)


@pytest.mark.parametrize(("crs", "lon", "lat"), PLACES)
@pytest.mark.parametrize("grid_azimuth", [0.0, 37.0, 92.0, 200.0, 359.0])
def test_a_grid_azimuth_is_where_the_grid_says(
    crs: str, lon: float, lat: float, grid_azimuth: float
) -> None:
    frame = projected_frame_at(crs, lon, lat)
    x, y = frame.from_plane(0.0, 0.0)
    step = 100.0 / frame.unit_m
    ahead = np.radians(grid_azimuth)
    east, north = frame.to_plane(x + step * np.sin(ahead), y + step * np.cos(ahead))
    seen = np.degrees(np.arctan2(east, north)) % 360.0
    turn = (seen - frame.plane_azimuth_deg(grid_azimuth) + 180.0) % 360.0 - 180.0
    assert turn == pytest.approx(0.0, abs=2e-3)
    assert frame.grid_azimuth_deg(frame.plane_azimuth_deg(grid_azimuth)) == pytest.approx(
        grid_azimuth, abs=1e-9
    )


def test_a_sketch_only_changes_the_unit() -> None:
    frame = local_frame("us_ft")
    east, _ = frame.to_plane([3937.0], [0.0])
    assert east[0] == pytest.approx(1200.0, rel=1e-15)
    assert frame.is_local
    assert frame.plane_to_lonlat(0.0, 0.0) is None
    assert frame.plane_azimuth_deg(92.0) == 92.0
    with pytest.raises(FrameError, match="no place on earth"):
        frame.lonlat_to_plane(0.0, 0.0)


@given(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4), st.sampled_from(["ft", "us_ft", "m"]))
def test_a_sketch_goes_out_and_back(x: float, y: float, unit: str) -> None:
    frame = local_frame(unit)
    assert np.allclose(frame.from_plane(*frame.to_plane(x, y)), (x, y), rtol=1e-15, atol=1e-12)


@pytest.mark.parametrize(
    ("crs", "x", "y", "words"),
    [
        ("EPSG:4326", 0, 0, "not projected"),
        ("EPSG:4979", 0, 0, "not projected"),
        ("EPSG:999999", 0, 0, "not a coordinate system PROJ knows"),
        ("somewhere", 0, 0, "not a coordinate system PROJ knows"),
        ("", 0, 0, "not a coordinate system PROJ knows"),
        ("EPSG:2048", 0, 0, "does not count east and north"),
        ("EPSG:3413", 0, 0, "does not count east and north"),
        ("EPSG:6499", 4_000_000, 91_440, "outside the area"),  # metres in a system of feet
        ("EPSG:6499", 300_000, 13_000_000, "outside the area"),  # northing before easting
        ("EPSG:6499", float("nan"), 0, "lies outside"),
        ("EPSG:6499", 1e300, 1e300, "lies outside"),
    ],
)
def test_a_system_that_cannot_carry_the_site_is_refused(
    crs: str, x: float, y: float, words: str
) -> None:
    with pytest.raises(FrameError, match=words):
        projected_frame(crs, x, y)


@pytest.mark.parametrize(("lon", "lat"), [(42.7, -84.5), (84.5, 42.7), (-84.5, -42.7), (500, 42.7)])
def test_a_position_outside_the_system_is_refused(lon: float, lat: float) -> None:
    with pytest.raises(FrameError, match=r"outside the area|no place on earth"):
        projected_frame_at("EPSG:6499", lon, lat)


def test_a_neighbouring_zone_may_be_borrowed_near_its_edge() -> None:
    assert projected_frame_at("EPSG:32633", 18.9, 52.0).unit_name == "m"


def test_a_system_across_the_date_line_takes_both_sides() -> None:
    # EPSG:3832 runs from 98.69 east to 68.12 west.
    assert not projected_frame_at("EPSG:3832", 179.0, -17.0).is_local
    assert not projected_frame_at("EPSG:3832", -175.0, -17.0).is_local
    with pytest.raises(FrameError, match="outside the area"):
        projected_frame_at("EPSG:3832", 15.0, 0.0)


def test_old_spellings_are_taken_without_a_warning() -> None:
    assert projected_frame("+init=epsg:32633", 400_000, 5_700_000).unit_m == 1.0


def test_a_frame_can_be_sent_to_another_process() -> None:
    frame = projected_frame_at("EPSG:6499", -84.5, 42.7)
    copy = pickle.loads(pickle.dumps(frame))
    assert np.allclose(copy.to_plane(*frame.from_plane(10.0, 20.0)), (10.0, 20.0), atol=1e-7)


def test_the_datum_shift_is_named() -> None:
    oregon = projected_frame_at("EPSG:2913", -122.7, 45.5)
    assert oregon.lonlat_operation == "NAD83(HARN) to WGS 84 (3)"
    assert oregon.lonlat_accuracy_m == 1.0
    assert projected_frame_at("EPSG:32633", 13.4, 52.5).lonlat_operation == ""


def test_coordinates_of_another_system_are_carried_over() -> None:
    near = crs_middle_deg("EPSG:32633")
    carried = reproject([500_000.0], [5_800_000.0], "EPSG:32632", "EPSG:32633", near)
    direct = Transformer.from_crs("EPSG:32632", "EPSG:32633", always_xy=True)
    assert np.allclose(carried, direct.transform([500_000.0], [5_800_000.0]), atol=1e-6)
    with pytest.raises(FrameError, match="cannot be carried"):
        reproject([0.0], [0.0], "nonsense", "EPSG:32633", near)


def test_systems_are_compared_by_meaning() -> None:
    assert same_crs("EPSG:32633", "urn:ogc:def:crs:EPSG::32633")
    assert not same_crs("EPSG:2285", "EPSG:2913")
    assert not same_crs("nonsense", "EPSG:2913")


@pytest.mark.parametrize("crs", ["EPSG:6499", "EPSG:27700", "EPSG:31467", "EPSG:26715"])
def test_a_second_site_in_a_system_gets_the_plane_proj_would_make(crs: str) -> None:
    lon, lat = crs_middle_deg(crs)
    projected_frame_at(crs, lon, lat)
    frame = projected_frame_at(crs, lon + 0.004, lat - 0.003)
    x, y = frame.from_plane(0.0, 0.0)
    geodetic = read_crs(crs).geodetic_crs
    assert geodetic is not None
    lon, lat = Transformer.from_crs(read_crs(crs), geodetic, always_xy=True).transform(x, y)
    centre = TransverseMercatorConversion(lat, lon, scale_factor_natural_origin=1)
    plane = ProjectedCRS(centre, geodetic_crs=geodetic)
    alone = Transformer.from_crs(read_crs(crs), plane, always_xy=True)
    off = 300.0 / frame.unit_m
    there = frame.to_plane(x + off, y - off)
    assert np.allclose(there, alone.transform(x + off, y - off), rtol=0.0, atol=1e-6)
