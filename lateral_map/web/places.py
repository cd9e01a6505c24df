"""A place on the plan as it was given in the yard, to the coordinates its file keeps.

Tapped on the map (plane metres), typed as x, y or latitude, longitude, taken from a named point, or
taped from two named points with the side to be on. A sketch's plan keeps x, y; any other keeps
longitude, latitude (RFC 7946).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lateral_map.errors import FrameError, SiteError
from lateral_map.frame import Frame, local_frame, projected_frame
from lateral_map.units import format_length, parse_length

# A hundredth of a millimetre on the ground: finer than anything measured, and no longer than that.
_DEGREE_DIGITS: Final = 10
_LENGTH_DIGITS: Final = 4
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Ground:
    """What places are reckoned in: the site's frame if it has one yet, and its named points.

    ``points_m`` are plane metres, easting before northing.
    """

    crs: str
    unit: str
    frame: Frame | None
    points_m: Mapping[str, Point]

    @property
    def is_local(self) -> bool:
        """True for a sketch tied to no place on earth."""
        return self.crs.strip().casefold() == "local"


def file_coordinates(given: Mapping[str, Any], ground: Ground) -> list[float]:
    """Return a place's coordinates as the plan file keeps them.

    ``given`` has one of: ``plane`` [easting, northing]; ``x`` and ``y`` as typed; ``lat`` and
    ``lon``; ``point``; ``tapes`` [[point, distance], [point, distance]] with ``side`` left or
    right. Raises ``SiteError`` saying what is wrong with it.
    """
    if "lat" in given:
        lat, lon = _number(given, "lat", 90.0), _number(given, "lon", 180.0)
        if ground.is_local:
            raise _wrong("a sketch has no latitude", "give x and y, or tap the place", "lat")
        return [round(lon, _DEGREE_DIGITS), round(lat, _DEGREE_DIGITS)]
    if "x" in given:
        x, y = _number(given, "x"), _number(given, "y")
        if ground.is_local:
            return [round(x, _LENGTH_DIGITS), round(y, _LENGTH_DIGITS)]
        try:
            frame = ground.frame or projected_frame(ground.crs, x, y)
        except FrameError as error:
            raise _wrong(str(error), "", "x") from None
        east, north = frame.to_plane(x, y)
        return _lonlat((float(east), float(north)), frame)
    at = _plane(given, ground)
    if ground.is_local:
        x, y = (float(value) for value in local_frame(ground.unit).from_plane(*at))
        return [round(x, _LENGTH_DIGITS), round(y, _LENGTH_DIGITS)]
    if ground.frame is None:
        raise _wrong("the site has no place on earth yet", "give its start a position first")
    return _lonlat(at, ground.frame)


def _plane(given: Mapping[str, Any], ground: Ground) -> Point:
    if "point" in given:
        return _named(str(given["point"]), ground, "point")
    if "tapes" in given:
        tapes = given["tapes"]
        if not (isinstance(tapes, list) and len(tapes) == 2):
            raise _wrong("two tapes are needed", "measure from two named points", "tape1")
        pulled = []
        for number, tape in enumerate(tapes, 1):
            name, text = (str(tape[0]), tape[1]) if isinstance(tape, list) else ("", "")
            try:
                distance = parse_length(text, ground.unit)
            except SiteError as error:
                fault = error.faults[0]
                raise _wrong(fault.problem, fault.remedy, f"tape{number}") from None
            pulled.append((_named(name, ground, f"tape{number}_from"), distance))
        return intersect_tapes(*pulled[0], *pulled[1], str(given.get("side", "")), ground.unit)
    at = given.get("plane")
    if not (isinstance(at, list) and len(at) == 2 and all(isinstance(v, int | float) for v in at)):
        raise _wrong("it has no place yet", "tap it on the map, or give coordinates or tapes")
    return float(at[0]), float(at[1])


def intersect_tapes(
    first: Point, reach: float, second: Point, other_reach: float, side: str, unit: str
) -> Point:
    """Return where two tapes (metres) meet, ``left`` or ``right`` of the way from first to second.

    Raises ``SiteError`` where they cannot meet.
    """
    east, north = second[0] - first[0], second[1] - first[1]
    apart = math.hypot(east, north)
    if not abs(reach - other_reach) <= apart <= reach + other_reach or apart == 0.0:
        raise _wrong(
            f"the tapes cannot meet: their points are {format_length(apart, unit, 2)} apart",
            "check both distances and both points",
            "tape2",
        )
    if side not in ("left", "right"):
        raise _wrong("two places fit these tapes", "say which side it is on", "side")
    along = (reach**2 - other_reach**2 + apart**2) / (2.0 * apart)
    off = math.sqrt(max(reach**2 - along**2, 0.0)) * (1.0 if side == "right" else -1.0)
    unit_east, unit_north = east / apart, north / apart
    return (
        first[0] + along * unit_east + off * unit_north,
        first[1] + along * unit_north - off * unit_east,
    )


def _named(name: str, ground: Ground, field: str) -> Point:
    if name not in ground.points_m:
        known = ", ".join(ground.points_m) or "there is none yet"
        raise _wrong(f"{name!r} is no reference point", f"choose one of: {known}", field)
    return ground.points_m[name]


def _lonlat(at: Point, frame: Frame) -> list[float]:
    found = frame.plane_to_lonlat(*at)
    if found is None:
        raise _wrong("a sketch has no latitude", "give x and y, or tap the place", "lat")
    return [round(float(value), _DEGREE_DIGITS) for value in found]


def geometry(shape: str, places: Sequence[Mapping[str, Any]], ground: Ground) -> dict[str, Any]:
    """Return a GeoJSON geometry through the given places; raises ``SiteError``.

    ``shape`` is Point, LineString or Polygon; a polygon is closed and wound counter-clockwise.
    """
    least = {"Point": 1, "LineString": 2, "Polygon": 3}[shape]
    if len(places) < least:
        words = {1: "it has no place yet", 2: "a line needs two places", 3: "an area needs three"}
        them = "it" if least == 1 else "them"
        raise _wrong(words[least], f"tap {them} on the map, or give coordinates", "places")
    at = [file_coordinates(place, ground) for place in places]
    if shape == "Point":
        return {"type": shape, "coordinates": at[0]}
    if shape == "LineString":
        return {"type": shape, "coordinates": at}
    doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(at, at[1:] + at[:1], strict=True))
    ring = at if doubled > 0 else at[::-1]
    return {"type": shape, "coordinates": [[*ring, ring[0]]]}


def _number(given: Mapping[str, Any], field: str, most: float = math.inf) -> float:
    try:
        value = float(str(given.get(field, "")).strip())
    except ValueError:
        value = math.nan
    if not abs(value) <= most or not math.isfinite(value):
        limit = f" from -{most:g} to {most:g}" if math.isfinite(most) else ""
        raise _wrong(f"{given.get(field, '')!r} is no number{limit}", "write one", field)
    return value


def _wrong(problem: str, remedy: str, field: str = "") -> SiteError:
    return SiteError.of(problem, remedy, field=field)
