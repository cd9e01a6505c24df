"""From metres in the site's plane to what files carry: the site's unit, declared and WGS 84 places.

Numbers are rounded well below anything measured, so that the same site gives the same bytes; what
is unknown is None, never NaN.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from lateral_map.units import from_metres, metres_per

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike

    from lateral_map.frame import Frame
    from lateral_map.model.results import Report
    from lateral_map.model.site import Plan

LENGTH_DECIMALS = 6
DEGREE_DECIMALS = 10  # of latitude and longitude: 0.01 mm
ANGLE_DECIMALS = 6
_SURE = 1e13  # scaled by no more than this, a number is off by a thousandth of a unit at most


def rounded(value: float | None, decimals: int = 6) -> float | None:
    """Return ``value`` rounded, without a minus sign on zero; None where it is not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0


def all_rounded(values: ArrayLike, decimals: int = 6) -> list[float | None]:
    """Return several values ``rounded``."""
    given, unit = np.asarray(values, float), 10.0**decimals
    with np.errstate(invalid="ignore", over="ignore"):
        scaled = given * unit
        whole = np.rint(scaled)
        # Near a tie the last digit of the scaling itself would decide.
        sure = (np.abs(scaled) < _SURE) & (np.abs(scaled - whole) < 0.49)
    found: list[float | None] = (whole / unit + 0.0).tolist()
    for at in np.flatnonzero(~sure).tolist():
        found[at] = rounded(given[at], decimals)
    return found


class _Placed(Protocol):
    """A result with a place in the plane."""

    @property
    def easting_m(self) -> float:
        """East."""

    @property
    def northing_m(self) -> float:
        """North."""


@dataclass(frozen=True, slots=True)
class Outward:
    """Carries one site's numbers outward: lengths in ``unit``, places through ``frame``.

    ``known`` are the places carried so far: a finding stands where a station does.
    """

    frame: Frame
    unit: str
    plan: Plan
    known: dict[tuple[float, float], dict[str, Any]] = field(default_factory=dict)

    def length(self, value_m: float | None) -> float | None:
        """Return a length of ``value_m`` metres in the site's unit."""
        return None if value_m is None else rounded(from_metres(value_m, self.unit))

    def lengths(self, values_m: ArrayLike) -> list[float | None]:
        """Return several lengths in the site's unit."""
        return all_rounded(np.asarray(values_m, float) / metres_per(self.unit))

    def places(self, easting_m: ArrayLike, northing_m: ArrayLike) -> list[dict[str, Any]]:
        """Return x, y (declared unit) and lat, lon (degrees; None for a sketch) of places."""
        east, north = np.atleast_1d(easting_m), np.atleast_1d(northing_m)
        x, y = self.frame.from_plane(east, north)
        lonlat = self.frame.plane_to_lonlat(east, north)
        unknown: list[float | None] = [None] * len(x)
        lon, lat = unknown, unknown
        if lonlat is not None:
            lon, lat = (all_rounded(one, DEGREE_DECIMALS) for one in lonlat)
        columns = zip(all_rounded(x), all_rounded(y), lat, lon, strict=True)
        found = [dict(zip(("x", "y", "lat", "lon"), one, strict=True)) for one in columns]
        self.known.update(zip(zip(east.tolist(), north.tolist(), strict=True), found, strict=True))
        return found

    def learn(self, placed: Iterable[_Placed]) -> None:
        """Carry the places of several results at once, those that are not ``known`` yet."""
        fresh = {(one.easting_m, one.northing_m) for one in placed} - self.known.keys()
        if fresh:
            self.places(*np.array(list(fresh)).T)

    def place(self, easting_m: float, northing_m: float) -> dict[str, Any]:
        """Return x, y, lat, lon of one place."""
        known = self.known.get((easting_m, northing_m))
        return self.places(easting_m, northing_m)[0] if known is None else known

    def ellipses(
        self, major_m: ArrayLike, minor_m: ArrayLike, plane_azimuth_deg: ArrayLike
    ) -> list[dict[str, Any]]:
        """Return 95 % ellipses; azimuths are clockwise from declared grid north, 0 to 180."""
        azimuth = np.mod(self.frame.grid_azimuth_deg(plane_azimuth_deg), 180.0)
        columns = self.lengths(major_m), self.lengths(minor_m), all_rounded(azimuth, ANGLE_DECIMALS)
        return [
            {"semi_major": major, "semi_minor": minor, "azimuth": turned}
            for major, minor, turned in zip(*columns, strict=True)
        ]

    def ellipse(self, major_m: float, minor_m: float, plane_azimuth_deg: float) -> dict[str, Any]:
        """Return one 95 % ellipse."""
        azimuth = float(self.frame.grid_azimuth_deg(plane_azimuth_deg)) % 180.0
        return {
            "semi_major": self.length(major_m),
            "semi_minor": self.length(minor_m),
            "azimuth": rounded(azimuth, ANGLE_DECIMALS),
        }

    def declared(self, geometry: BaseGeometry) -> BaseGeometry:
        """Return a geometry in the plane as declared x, y; heights (m) become the same unit."""
        flat = shapely.transform(
            geometry, lambda points: np.column_stack(self.frame.from_plane(*points.T))
        )
        if not geometry.has_z:
            return flat
        heights = shapely.get_coordinates(geometry, include_z=True)[:, 2] / self.frame.unit_m
        plan = shapely.get_coordinates(flat)
        return shapely.set_coordinates(shapely.force_3d(flat), np.column_stack([plan, heights]))

    def lonlat(self, geometry: BaseGeometry) -> BaseGeometry:
        """Return a flat geometry as WGS 84 longitude, latitude; declared x, y for a sketch."""
        if self.frame.is_local:
            return self.declared(geometry)
        return shapely.transform(
            geometry, lambda points: np.column_stack(self.frame.plane_to_lonlat(*points.T) or ())
        )


def settled(geometry: BaseGeometry) -> BaseGeometry:
    """Round to a millionth of a unit: the digits beyond are the linear algebra's order of work."""
    return shapely.transform(
        geometry, lambda points: points.round(6) + 0.0, include_z=bool(geometry.has_z)
    )


def outward(report: Report) -> Outward:
    """Return what carries ``report``'s numbers outward."""
    return Outward(report.site.frame, report.site.unit, report.site.plan)


def lay_out(record: dict[str, Any]) -> str:
    """Return ``record`` as JSON text: a line for each key, and for each entry of a list under it.

    Raises ``ValueError`` on NaN and infinities, which JSON does not know.
    """
    compact = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
    lines = []
    for key, value in record.items():
        if isinstance(value, list) and value:
            rows = ",\n  ".join(compact(row) for row in value)
            text = f"[\n  {rows}\n]"
        else:
            text = compact(value)
        lines.append(f"{compact(key)}: {text}")
    return "{\n" + ",\n".join(lines) + "\n}\n"
