"""Projections and geodesics against published worked examples and independent libraries."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Geod

from lateral_map.frame import Frame, projected_frame, projected_frame_at


def centre_deg(frame: Frame) -> tuple[float, float]:
    """Return the (longitude, latitude) on the system's own datum that the plane is centred on."""
    assert frame._to_plane is not None
    last = frame._to_plane.definition.split(" step ")[-1].split()
    values = dict(part.split("=") for part in last)
    assert values["proj"] == "tmerc"
    return float(values["lon_0"]), float(values["lat_0"])


def test_lambert_conic_worked_example() -> None:
    """EPSG method 9802, IOGP Publication 373-7-2: NAD27 / Texas South Central (EPSG:32040).

    28 30' N, 96 00' W is E 2963503.91, N 254759.80 US survey feet, theta 0.02565177 radians.
    """
    frame = projected_frame("EPSG:32040", 2963503.91, 254759.80)
    assert frame.unit_name == "us_ft"
    assert frame.unit_m == pytest.approx(0.30480060960121924, rel=1e-14)
    # The printed hundredth of a foot is 3e-8 degrees.
    assert centre_deg(frame) == pytest.approx((-96.0, 28.5), abs=3e-8)
    assert np.radians(frame.convergence_deg) == pytest.approx(0.02565177, abs=1e-8)
    # A grid line east of the centre runs theta south of true east.
    east, north = frame.to_plane(2963503.91 + 10.0, 254759.80)
    assert np.arctan2(-north, east) == pytest.approx(0.02565177, abs=1e-6)


def test_transverse_mercator_worked_example() -> None:
    """EPSG method 9807, IOGP Publication 373-7-2 (September 2019), pages 54-55: EPSG:27700.

    50 30' N, 0 30' E is E 577274.99, N 69740.50 m; the note is rounded, so 0.011 m is allowed.
    """
    frame = projected_frame("EPSG:27700", 577274.99, 69740.50)
    lon, lat = centre_deg(frame)
    miss = Geod(ellps="airy").inv(lon, lat, 0.5, 50.5)[2]
    assert miss < 0.011
    # Grid north against true north on the sphere: tan = tan(longitude from 2 W) x sin(latitude).
    expected = np.arctan(np.tan(np.radians(2.5)) * np.sin(np.radians(50.5)))
    assert np.radians(frame.convergence_deg) == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize(
    ("lat1", "lon1", "azi1", "lat2", "lon2", "azi2", "s12"),
    [
        # C. F. F. Karney, geographiclib test_geodesic.py (GeodTest), WGS84.
        (
            *(35.60777, -139.44815, 111.098748429560326),
            *(-11.17491, -69.95921, 129.289270889708762, 8935244.5604818305),
        ),
        (
            *(-19.79938, -174.47484, 71.167275780171533),
            *(-11.99349, -154.35109, 65.589099775199228, 2319004.8601169389),
        ),
    ],
)
def test_the_geodesics_we_check_against_are_right(
    lat1: float, lon1: float, azi1: float, lat2: float, lon2: float, azi2: float, s12: float
) -> None:
    ahead, back, distance = Geod(ellps="WGS84").inv(lon1, lat1, lon2, lat2)
    assert distance == pytest.approx(s12, abs=1e-7)
    assert ahead == pytest.approx(azi1, abs=1e-11)
    assert back % 360 == pytest.approx((azi2 + 180) % 360, abs=1e-11)


UTM = [
    ("EPSG:32618", -72.1, 0.5),
    ("EPSG:32618", -72.1, 30.0),
    ("EPSG:32618", -75.0, 45.0),
    ("EPSG:32618", -77.9, 60.0),
    ("EPSG:32718", -72.1, -41.0),
]


@pytest.mark.parametrize(("crs", "lon", "lat"), UTM)
@pytest.mark.parametrize("azimuth", [0.0, 45.0, 100.0, 260.0])
def test_a_length_in_the_plane_is_the_length_on_the_ground(
    crs: str, lon: float, lat: float, azimuth: float
) -> None:
    """Against GeographicLib on WGS84: 150 ft and a mile, five latitudes."""
    frame = projected_frame_at(crs, lon, lat)
    for length_m, allowed in ((45.72, 1e-5), (1609.344, 1e-3)):
        end = Geodesic.WGS84.Direct(lat, lon, azimuth, length_m)
        east, north = frame.lonlat_to_plane(end["lon2"], end["lat2"])
        assert float(np.hypot(east, north)) == pytest.approx(length_m, abs=allowed)
        seen = np.degrees(np.arctan2(east, north)) % 360
        assert (seen - azimuth + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-4)


def test_the_declared_grid_is_not_the_ground_and_the_plane_is() -> None:
    """UTM at its central meridian shortens 150 ft by 0.06 ft (scale 0.9996); the plane does not."""
    frame = projected_frame_at("EPSG:32618", -75.0, 42.0)
    start, end = frame.from_plane(0.0, 0.0), frame.from_plane(45.72, 0.0)
    grid_m = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    assert (45.72 - grid_m) / 0.3048 == pytest.approx(0.06, abs=0.001)


@pytest.mark.parametrize(("crs", "lon", "lat"), UTM)
def test_lonlat_agrees_with_proj_left_alone(crs: str, lon: float, lat: float) -> None:
    from pyproj import Transformer

    frame = projected_frame_at(crs, lon, lat)
    x, y = frame.from_plane(*frame.lonlat_to_plane(lon + 0.001, lat + 0.001))
    direct = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(
        lon + 0.001, lat + 0.001
    )
    assert np.allclose((x, y), direct, atol=1e-5)
