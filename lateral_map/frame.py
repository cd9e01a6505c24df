"""The site's own plane: metres on the ground, easting before northing.

A located lateral is short, and footage is a length on the ground. A transverse Mercator plane
centred on the site (scale 1 at its centre) keeps lengths at the ellipsoid to a few parts in a
hundred million within a mile, where a state-plane or UTM coordinate shortens or stretches them by
up to 4 parts in 10,000. On ground h above the ellipsoid the plane is short by h over the earth's
radius, 2 parts in 10,000 at 4,000 ft: far inside the counter's own scale, so it is left alone. This
module is the only user of ``pyproj.Transformer``.
"""

from __future__ import annotations

import functools
import math
import re
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lateral_map.errors import FrameError
from lateral_map.units import metres_per, show_value

if TYPE_CHECKING:
    from pyproj import Transformer
    from pyproj.crs import CRS

Floats = NDArray[np.float64]

# EPSG gives the US survey foot's factor to 15 digits; this tells the two feet apart safely.
_UNIT_TOLERANCE = 1e-9
# Neighbouring zones are borrowed near their edges; three degrees away it is a mistake.
_AREA_MARGIN_DEG = 3.0
# Which datum shift is best is asked once for all places of a square this wide, some 2 km.
_SQUARE_DEG = 0.02
# PROJ takes milliseconds to look a system or an operation up in its database; this many are kept.
_MOST_KEPT = 256
_CENTRE = re.compile(r"(?<=step proj=tmerc )lat_0=\S+ lon_0=\S+(?! .*step )")


@dataclass(frozen=True)
class Frame:
    """Carries coordinates between the declared system and the site's metric plane.

    ``crs`` is the declared system's text (``EPSG:6499`` or ``local``). ``unit_m`` is the length of
    the declared coordinate unit in metres. ``convergence_deg`` is the plane azimuth of the declared
    system's grid north: plane azimuth = grid azimuth + convergence. ``lonlat_operation`` names the
    datum shift between WGS 84 and the declared system (EPSG's name, empty where there is none) and
    ``lonlat_accuracy_m`` is EPSG's accuracy for it, None where it adds nothing.
    """

    crs: str
    unit_m: float
    unit_name: str
    convergence_deg: float = 0.0
    lonlat_operation: str = ""
    lonlat_accuracy_m: float | None = None
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
                "cannot be placed on it",
                "give x, y or tapes, or declare a projected crs",
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


@functools.lru_cache(_MOST_KEPT)
def read_crs(text: str) -> CRS:
    """Return the projected system ``text`` names.

    Raises ``FrameError`` where PROJ does not know it, where it is geographic or geocentric, or
    where its axes are not easting and northing.
    """
    from pyproj.crs import CRS
    from pyproj.exceptions import CRSError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # PROJ's advice on old spellings; the meaning is plain
            crs = CRS.from_user_input(text)
    except CRSError:
        raise FrameError(
            f"{show_value(text)} is not a coordinate system PROJ knows",
            'write a projected one such as "EPSG:6499", or "local" for a sketch',
        ) from None
    if not crs.is_projected:
        raise FrameError(
            f"{show_value(text)} ({crs.name}) is not projected",
            "lengths need a projected system such as a state-plane or UTM zone (latitude and "
            'longitude may still be given), or "local" for a sketch',
        )
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        raise FrameError(
            f"{show_value(text)} ({crs.name}) does not count east and north",
            "write a system whose coordinates are easting and northing",
        )
    return crs


def stretch_at(text: str, lon_deg: float, lat_deg: float) -> float:
    """Return the factor farthest from 1 by which a system stretches lengths at a place.

    Raises ``FrameError`` where the place is none of its own.
    """
    from pyproj import Proj
    from pyproj.exceptions import ProjError

    try:
        factors = Proj(read_crs(text)).get_factors(lon_deg, lat_deg)
    except ProjError:
        raise FrameError(f"the place lies outside {text}") from None
    scales = (factors.meridional_scale, factors.parallel_scale)
    if not np.isfinite(scales).all():
        raise FrameError(f"the place lies outside {text}")
    return float(max(scales, key=lambda scale: abs(scale - 1.0)))


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

    system = _system(text)
    crs, geodetic = system.crs, system.geodetic
    lon, lat = _inside(system, x, y)
    centre = lon - system.meridian_deg, lat
    factor = float(crs.axis_info[0].unit_conversion_factor)
    to_plane = Transformer.from_pipeline(_centred(system.to_plane, *centre))
    from_lonlat = _best_operation("EPSG:4326", text, lon, lat, onto_plane=True)
    # The datum shift between WGS 84 and the plane; none where both stand on WGS 84.
    steps = [part.strip() for part in from_lonlat.description.split(" + ")]
    shifts = [one.removeprefix("Inverse of ") for one in steps if "WGS 84" in one]
    step = 100.0 / factor
    east, north = to_plane.transform([x, x], [y - step, y + step])
    return Frame(
        crs=text,
        unit_m=factor,
        unit_name=crs_unit_name(factor),
        convergence_deg=float(np.degrees(np.arctan2(east[1] - east[0], north[1] - north[0]))),
        lonlat_operation=shifts[0] if shifts and geodetic.name != "WGS 84" else "",
        lonlat_accuracy_m=from_lonlat.accuracy_m if from_lonlat.accuracy_m > 0 else None,
        _to_plane=to_plane,
        _lonlat_to_plane=Transformer.from_pipeline(_centred(from_lonlat.pipeline, *centre)),
    )


class _System(NamedTuple):
    """What depends on a projected system alone; ``to_plane`` ends at a plane centred anywhere.

    ``angle_deg`` is the unit of its latitude and longitude; its longitude begins ``meridian_deg``
    east of Greenwich.
    """

    crs: CRS
    geodetic: CRS
    to_geodetic: Transformer
    angle_deg: float
    meridian_deg: float
    plane: CRS
    to_plane: str


@functools.lru_cache(_MOST_KEPT)
def _system(text: str) -> _System:
    from pyproj import Transformer
    from pyproj.crs import ProjectedCRS
    from pyproj.crs.coordinate_operation import TransverseMercatorConversion

    crs = read_crs(text)
    geodetic = crs.geodetic_crs
    meridian = geodetic.prime_meridian if geodetic else None
    if geodetic is None or meridian is None:
        raise FrameError(f"{crs.name} has no datum, so it ties nothing to a place on earth")
    # No projection in use has this centre, so that PROJ leaves out no step as undone by another.
    centre = TransverseMercatorConversion(
        latitude_natural_origin=0.123, longitude_natural_origin=0.456, scale_factor_natural_origin=1
    )
    plane = ProjectedCRS(centre, name="site plane", geodetic_crs=geodetic)
    return _System(
        crs=crs,
        geodetic=geodetic,
        to_geodetic=Transformer.from_crs(crs, geodetic, always_xy=True),
        angle_deg=math.degrees(geodetic.axis_info[0].unit_conversion_factor),
        meridian_deg=math.degrees(meridian.longitude * float(meridian.unit_conversion_factor)),
        plane=plane,
        to_plane=Transformer.from_crs(crs, plane, always_xy=True).definition,
    )


def _centred(pipeline: str, lon: float, lat: float) -> str:
    """Return a pipeline that ends at a transverse Mercator plane, the plane centred elsewhere."""
    return _CENTRE.sub(f"lat_0={lat:.15g} lon_0={lon:.15g}", pipeline)


def projected_frame_at(text: str, lon_deg: float, lat_deg: float) -> Frame:
    """Return the frame of a projected system, its plane centred on a WGS 84 position.

    Raises ``FrameError`` where the position is no place in that system.
    """
    crs = read_crs(text)
    place = f"latitude {lat_deg:.9g}, longitude {lon_deg:.9g}"
    if not (abs(lat_deg) <= 90.0 and abs(lon_deg) <= 180.0):
        raise FrameError(f"{place} is no place on earth", "latitude runs from -90 to 90")
    _check_area(crs, lon_deg, lat_deg, f"{place} lies")
    into = _best_operation("EPSG:4326", text, lon_deg, lat_deg).transformer
    x, y = into.transform(lon_deg, lat_deg)
    if not (np.isfinite(x) and np.isfinite(y)):
        raise FrameError(f"{place} cannot be carried into {text}")
    return projected_frame(text, float(x), float(y))


def reproject(
    x: ArrayLike, y: ArrayLike, source: str, target: str, near_deg: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Return coordinates of system ``source`` in system ``target``, x before y in both.

    ``near_deg`` (longitude, latitude) chooses between datum shifts. Raises ``FrameError`` where
    PROJ does not know a system.
    """
    from pyproj.exceptions import ProjError

    try:
        operation = _best_operation(source, target, *near_deg).transformer
    except ProjError:
        raise FrameError(
            f"coordinates of {show_value(source)} cannot be carried into {target}"
        ) from None
    moved_x, moved_y = operation.transform(np.asarray(x, float), np.asarray(y, float))
    return np.asarray(moved_x, float), np.asarray(moved_y, float)


def crs_middle_deg(text: str) -> tuple[float, float]:
    """Return the (longitude, latitude) in the middle of the area a system is made for."""
    area = read_crs(text).area_of_use
    if area is None:
        return 0.0, 0.0
    return area.west + (area.east - area.west) % 360.0 / 2.0, (area.south + area.north) / 2.0


@functools.lru_cache(_MOST_KEPT)
def same_crs(one: str, other: str) -> bool:
    """Say whether two names mean one coordinate system."""
    from pyproj.crs import CRS
    from pyproj.exceptions import CRSError

    try:
        return bool(
            CRS.from_user_input(one).equals(CRS.from_user_input(other), ignore_axis_order=True)
        )
    except CRSError:
        return False


def _inside(system: _System, x: float, y: float) -> tuple[float, float]:
    """Return x, y's (longitude, latitude), degrees from Greenwich; refuse what it cannot mean."""
    crs, to_geodetic = system.crs, system.to_geodetic
    own = to_geodetic.transform(x, y)
    place = f"x {x:.12g}, y {y:.12g}"
    if np.isfinite(own).all():
        # Far outside its zone an inverse projection may still give a number, but not its own.
        back = to_geodetic.transform(*own, direction="INVERSE")
        if np.allclose(back, (x, y), rtol=0.0, atol=0.01):
            # Some systems count grads, some from Paris or Oslo.
            lon, lat = np.array(own) * system.angle_deg
            lon += system.meridian_deg
            _check_area(crs, lon, lat, f"{place} lies at latitude {lat:.4f}, longitude {lon:.4f},")
            return float(lon), float(lat)
    raise FrameError(
        f"{place} lies outside {crs.name}",
        "check the order and the unit of the coordinates",
    )


def _check_area(crs: CRS, lon: float, lat: float, said: str) -> None:
    """Refuse a place far outside the area a system is made for; ``said`` begins the sentence."""
    area = crs.area_of_use
    if area is None:
        return
    width = (area.east - area.west) % 360.0 or 360.0
    past_west = (lon - area.west) % 360.0
    aside = 0.0 if past_west <= width else min(past_west - width, 360.0 - past_west)
    if max(aside, lat - area.north, area.south - lat) > _AREA_MARGIN_DEG:
        raise FrameError(
            f"{said} outside the area {crs.name} is made for "
            f"(latitude {area.south:g} to {area.north:g}, "
            f"longitude {area.west:g} to {area.east:g})"
        )


class _Operation(NamedTuple):
    pipeline: str
    description: str
    accuracy_m: float  # -1 where EPSG gives none

    @property
    def transformer(self) -> Transformer:
        # Written out as a pipeline it can be sent to another process; the group's own cannot.
        return _made(self.pipeline)


@functools.lru_cache(_MOST_KEPT)
def _made(pipeline: str) -> Transformer:
    from pyproj import Transformer

    return Transformer.from_pipeline(pipeline)


def _best_operation(
    source: str, target: str, lon: float, lat: float, *, onto_plane: bool = False
) -> _Operation:
    """Return the one best operation for the place; PROJ left alone may change it point by point.

    ``onto_plane``: not to the target system but to a transverse Mercator plane on its datum.
    """
    west, south = math.floor(lon / _SQUARE_DEG), math.floor(lat / _SQUARE_DEG)
    return _operation_in(source, target, west, south, onto_plane)


@functools.lru_cache(_MOST_KEPT)
def _operation_in(source: str, target: str, west: int, south: int, onto_plane: bool) -> _Operation:
    """Return the one best operation in a square of so many widths from the meridian and equator."""
    from pyproj.transformer import AreaOfInterest, TransformerGroup

    into = _system(target).plane if onto_plane else target
    around = AreaOfInterest(*(_SQUARE_DEG * at for at in (west, south, west + 1, south + 1)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a finer datum grid exists, but is not installed
        group = TransformerGroup(source, into, always_xy=True, area_of_interest=around)
    if not group.transformers:
        raise FrameError(f"longitude and latitude cannot be carried into {target}")
    best = group.transformers[0]
    return _Operation(best.definition, best.description, float(best.accuracy))
