"""The site's own plane: metres on the ground, easting before northing.

A located lateral is short, and footage is a length on the ground. A transverse Mercator plane
centred on the site (scale 1 at its centre) makes a length in the plane the same as a length on the
ground to a few parts in ten million, where a state-plane or UTM coordinate shortens or stretches it.
This module is the only user of ``pyproj.Transformer``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lateral_map.errors import FrameError
from lateral_map.units import metres_per

if TYPE_CHECKING:
    from pyproj import Transformer
    from pyproj.crs import CRS

Floats = NDArray[np.float64]

# EPSG gives the US survey foot's factor to 15 digits; this tells the two feet apart safely.
_UNIT_TOLERANCE = 1e-9


@dataclass(frozen=True)
class Frame:
    """Carries coordinates between the declared system and the site's metric plane.

    ``crs`` is the declared system's text (``EPSG:6499`` or ``local``). ``unit_m`` is the length of
    the declared coordinate unit in metres. ``convergence_deg`` is the plane azimuth of the declared
    system's grid north: plane azimuth = grid azimuth + convergence.
    """

    crs: str
    unit_m: float
    unit_name: str
    convergence_deg: float = 0.0
    _to_plane: Transformer | None = field(default=None, repr=False, compare=False)
    _lonlat_to_plane: Transformer | None = field(default=None, repr=False, compare=False)

    @property
    def is_local(self) -> bool:
        """True where the site is a sketch tied to no place on earth."""
        return self._to_plane is None

    def to_plane(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Return (easting_m, northing_m) of declared coordinates ``x``, ``y``."""
        if self._to_plane is None:
            return np.asarray(x, float) * self.unit_m, np.asarray(y, float) * self.unit_m
        east, north = self._to_plane.transform(np.asarray(x, float), np.asarray(y, float))
        return np.asarray(east, float), np.asarray(north, float)

    def from_plane(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return declared (x, y) of plane coordinates in metres."""
        east, north = np.asarray(easting_m, float), np.asarray(northing_m, float)
        if self._to_plane is None:
            return east / self.unit_m, north / self.unit_m
        x, y = self._to_plane.transform(east, north, direction="INVERSE")
        return np.asarray(x, float), np.asarray(y, float)

    def lonlat_to_plane(self, lon_deg: ArrayLike, lat_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Return (easting_m, northing_m) of WGS 84 longitude, latitude in degrees.

        Raises ``FrameError`` for a local sketch.
        """
        if self._lonlat_to_plane is None:
            raise FrameError(
                'crs = "local" is tied to no place on earth, so latitude and longitude '
                "cannot be placed on it; give x, y or tapes, or declare a projected crs"
            )
        east, north = self._lonlat_to_plane.transform(
            np.asarray(lon_deg, float), np.asarray(lat_deg, float)
        )
        return np.asarray(east, float), np.asarray(north, float)

    def plane_to_lonlat(
        self, easting_m: ArrayLike, northing_m: ArrayLike
    ) -> tuple[Floats, Floats] | None:
        """Return WGS 84 (longitude, latitude) in degrees, or None for a local sketch."""
        if self._lonlat_to_plane is None:
            return None
        lon, lat = self._lonlat_to_plane.transform(
            np.asarray(easting_m, float), np.asarray(northing_m, float), direction="INVERSE"
        )
        return np.asarray(lon, float), np.asarray(lat, float)

    def plane_azimuth_deg(self, grid_azimuth_deg: float) -> float:
        """Return the plane azimuth of a direction given clockwise from declared grid north."""
        return (grid_azimuth_deg + self.convergence_deg) % 360.0

    def grid_azimuth_deg(self, plane_azimuth_deg: ArrayLike) -> Floats:
        """Return azimuths clockwise from declared grid north of plane azimuths, in degrees."""
        return np.asarray(
            np.mod(np.asarray(plane_azimuth_deg, float) - self.convergence_deg, 360.0)
        )


def local_frame(unit: str) -> Frame:
    """Return the frame of a sketch whose x, y are in ``unit`` and tied to no place on earth."""
    return Frame(crs="local", unit_m=metres_per(unit), unit_name=unit)


def read_crs(text: str) -> CRS:
    """Return the projected system ``text`` names.

    Raises ``FrameError`` where PROJ does not know it, or where it is geographic or geocentric.
    """
    from pyproj.crs import CRS
    from pyproj.exceptions import CRSError

    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        raise FrameError(
            f"{text!r} is not a coordinate system PROJ knows; "
            'write a projected one such as "EPSG:6499", or "local" for a sketch'
        ) from None
    if not crs.is_projected:
        raise FrameError(
            f"{text!r} ({crs.name}) is not projected; lengths need a projected system "
            "such as a state-plane or UTM zone (latitude and longitude columns may still be used), "
            'or "local" for a sketch'
        )
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs


def crs_unit_name(factor: float) -> str:
    """Name a coordinate unit by its length in metres: m, ft, us_ft, or the factor itself."""
    for name in ("m", "ft", "us_ft"):
        if abs(factor - metres_per(name)) < _UNIT_TOLERANCE:
            return name
    return f"{factor:.9g} m"


def projected_frame(text: str, x: float, y: float) -> Frame:
    """Return the frame of a projected system, its plane centred on declared ``x``, ``y``.

    Raises ``FrameError`` where the system cannot carry the site.
    """
    from pyproj import Transformer

    crs = read_crs(text)
    geodetic = crs.geodetic_crs
    assert geodetic is not None  # every projected system has one
    to_geodetic = Transformer.from_crs(crs, geodetic, always_xy=True)
    lon, lat = to_geodetic.transform(x, y)
    if not (np.isfinite(lon) and np.isfinite(lat)):
        raise FrameError(
            f"x {x:.1f}, y {y:.1f} lies outside {text}; check the order and unit of the coordinates"
        )
    plane = _site_plane(geodetic, float(lon), float(lat))
    factor = float(crs.axis_info[0].unit_conversion_factor)
    to_plane = Transformer.from_crs(crs, plane, always_xy=True)
    return Frame(
        crs=text,
        unit_m=factor,
        unit_name=crs_unit_name(factor),
        convergence_deg=_convergence_deg(to_plane, x, y, 100.0 / factor),
        _to_plane=to_plane,
        _lonlat_to_plane=Transformer.from_crs("EPSG:4326", plane, always_xy=True),
    )


def projected_frame_at(text: str, lon_deg: float, lat_deg: float) -> Frame:
    """Return the frame of a projected system, its plane centred on a WGS 84 position."""
    from pyproj import Transformer

    crs = read_crs(text)
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon_deg, lat_deg)
    if not (np.isfinite(x) and np.isfinite(y)):
        raise FrameError(
            f"latitude {lat_deg}, longitude {lon_deg} lies outside {text}; "
            "check that latitude and longitude are not swapped"
        )
    return projected_frame(text, float(x), float(y))


def _site_plane(geodetic: Any, lon: float, lat: float) -> CRS:
    from pyproj.crs import ProjectedCRS
    from pyproj.crs.coordinate_operation import TransverseMercatorConversion

    return ProjectedCRS(
        TransverseMercatorConversion(
            latitude_natural_origin=lat, longitude_natural_origin=lon, scale_factor_natural_origin=1
        ),
        name="site plane",
        geodetic_crs=geodetic,
    )


def _convergence_deg(to_plane: Transformer, x: float, y: float, step: float) -> float:
    east, north = to_plane.transform([x, x], [y - step, y + step])
    return float(np.degrees(np.arctan2(east[1] - east[0], north[1] - north[0])))
