"""Points out of GNSS files, matched to paint marks, and what their stated accuracy means.

GPX 1.0 and 1.1 waypoints, KML placemarks that are points, GeoJSON points, and CSV with latitude and
longitude columns; all WGS 84. Heights are not taken: most are above the ellipsoid, not the ground.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final
from xml.etree.ElementTree import Element, ParseError

from lateral_map.errors import SiteError
from lateral_map.reading.csv_text import parse_csv
from lateral_map.reading.words import clean_name, plain
from lateral_map.units import METRES_PER

MOST_POINTS: Final = 5000
# The radius that holds a share p of the fixes is sd * sqrt(-2 ln(1 - p)) where both axes err alike
# and normally (Rayleigh distribution): 1.5096 sd for 68 %, 2.4477 sd for 95 %, 1.1774 sd for 50 %.
RADIUS_SHARES: Final[Mapping[str, float]] = {"68": 0.68, "95": 0.95, "50": 0.50}
_NAMES: Final = ("mark", "name", "point", "label", "id", "title")
_LATITUDES: Final = ("lat", "latitude", "latitude_deg")
_LONGITUDES: Final = ("lon", "long", "lng", "longitude", "longitude_deg")
_ACCURACIES: Final = ("accuracy", "accuracy_m", "hacc", "horizontal_accuracy", "sd", "hrms")


@dataclass(frozen=True, slots=True)
class GnssPoint:
    """One point: its name as written, WGS 84 degrees, and the accuracy its file states, metres."""

    name: str
    lat_deg: float
    lon_deg: float
    accuracy_m: float | None = None


@dataclass(frozen=True, slots=True)
class Matched:
    """A point and the mark it stands for; empty where no mark has its name or another took it."""

    point: GnssPoint
    mark: str


def sd_of_radius(radius_m: float, meaning: str) -> float:
    """Return the 1 sd per axis (m) of a stated accuracy.

    ``meaning`` is ``sd`` (already that), or the share in percent of fixes within the radius: 68
    (what a telephone states; from memory), 95 or 50. Raises ``KeyError`` for another.
    """
    if meaning == "sd":
        return radius_m
    return radius_m / math.sqrt(-2.0 * math.log(1.0 - RADIUS_SHARES[meaning]))


def read_points(file: str, data: bytes, unit: str = "m") -> tuple[GnssPoint, ...]:
    """Read the points of a GPX, KML, GeoJSON or CSV file, told apart by what is in it.

    ``unit`` is that of a CSV's accuracy column. Raises ``SiteError`` with what is wrong.
    """
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        raise _wrong(file, "it is no text file", "save it as GPX, KML, GeoJSON or CSV") from None
    readers = {"<": _xml_points, "{": _geojson_points, "[": _geojson_points}
    read = readers.get(text.lstrip()[:1], partial(_csv_points, unit=unit))
    points = [*read(file, text)]
    if not points:
        raise _wrong(file, "there are no points in it", "give waypoints, not a track")
    if len(points) > MOST_POINTS:
        raise _wrong(file, f"it has {len(points)} points", f"at most {MOST_POINTS} are taken")
    for point in points:
        name = point.name or "a point"
        if not (abs(point.lat_deg) <= 90.0 and abs(point.lon_deg) <= 180.0):
            place = f"latitude {point.lat_deg:g}, longitude {point.lon_deg:g}, no place on earth"
            remedy = "check that latitude comes from -90 to 90 and is not swapped with longitude"
            raise _wrong(file, f"{name} is at {place}", remedy)
        if point.accuracy_m is not None and not 0.0 < point.accuracy_m < 1e5:
            problem = f"{name} has an accuracy of {point.accuracy_m:g} m"
            raise _wrong(file, problem, "an accuracy is greater than 0")
    return tuple(points)


def match_marks(points: Iterable[GnssPoint], marks: Iterable[str]) -> tuple[Matched, ...]:
    """Match points to marks of the same name, whatever its case; the first of two points wins."""

    def bare(name: str) -> str:
        return re.sub(r"^(?:locate|mark|point|pt)[ .:#-]+", "", clean_name(name).casefold())

    free = {bare(mark): mark for mark in marks}
    return tuple(Matched(point, free.pop(bare(point.name), "")) for point in points)


def _wrong(file: str, problem: str, remedy: str, row: int | None = None) -> SiteError:
    return SiteError.of(problem, remedy, file=file, row=row)


def _number(file: str, text: str | None, what: str, row: int | None = None) -> float:
    try:
        value = float(text or "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise _wrong(
            file, f"{what} is {(text or '')[:40]!r}", "write decimal degrees such as 43.86003", row
        )
    return value


# ── GPX and KML ──────────────────────────────────────────────────────────────────────────────────


def _xml_points(file: str, text: str) -> Iterator[GnssPoint]:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root = fromstring(text.encode("utf-8"), forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError) as error:
        raise _wrong(
            file, f"it is no sound XML ({type(error).__name__})", "export it again"
        ) from None
    kind = _local(root)
    if kind not in ("gpx", "kml"):
        raise _wrong(file, f"it is {kind[:40]!r}, neither GPX nor KML", "export it as GPX or KML")
    for place in root if kind == "gpx" else root.iter():
        point = _child(place, "Point")
        if kind == "gpx" and _local(place) == "wpt":
            yield GnssPoint(
                _text(_child(place, "name")),
                _number(file, place.get("lat"), "a waypoint's lat"),
                _number(file, place.get("lon"), "a waypoint's lon"),
            )
        elif _local(place) == "Placemark" and point is not None:
            name = _text(_child(place, "name"))
            parts = _text(_child(point, "coordinates")).split(",")
            lon, lat = parts[0], parts[1] if len(parts) > 1 else None
            where = f"a coordinate of {name or 'a placemark'}"
            yield GnssPoint(name, _number(file, lat, where), _number(file, lon, where))


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _child(element: Element, name: str) -> Element | None:
    return next((child for child in element if _local(child) == name), None)


def _text(element: Element | None) -> str:
    return "" if element is None else " ".join("".join(element.itertext()).split())


# ── GeoJSON ──────────────────────────────────────────────────────────────────────────────────────


def _geojson_points(file: str, text: str) -> Iterator[GnssPoint]:
    try:
        document: Any = json.loads(text)
    except (ValueError, RecursionError):
        raise _wrong(file, "it is no sound JSON", "export it as GeoJSON again") from None
    features = document.get("features", [document]) if isinstance(document, dict) else []
    for feature in features if isinstance(features, list) else []:
        geometry = feature.get("geometry") if isinstance(feature, dict) else None
        if not isinstance(geometry, dict) or geometry.get("type") != "Point":
            continue
        given, at = feature.get("properties"), geometry.get("coordinates")
        properties = {k.casefold(): v for k, v in given.items()} if isinstance(given, dict) else {}
        name = str(_first(properties, _NAMES) or "")
        if not isinstance(at, list) or len(at) < 2:
            raise _wrong(file, f"{name or 'a point'} has no coordinates", "export it again")
        accuracy = _first(properties, _ACCURACIES)
        yield GnssPoint(
            name,
            _number(file, str(at[1]), f"the latitude of {name or 'a point'}"),
            _number(file, str(at[0]), f"the longitude of {name or 'a point'}"),
            None if accuracy is None else _number(file, str(accuracy), "an accuracy"),
        )


def _first(values: Mapping[str, Any], names: Iterable[str]) -> Any:
    return next((values[name] for name in names if values.get(name) not in (None, "")), None)


# ── CSV ──────────────────────────────────────────────────────────────────────────────────────────


def _csv_points(file: str, text: str, unit: str) -> Iterator[GnssPoint]:
    table = parse_csv(text, (*_LATITUDES, *_LONGITUDES))
    rows = [[*row.values] for row in table.rows]
    header = [plain(cell) for cell in rows[0]] if rows else []

    def column(names: Iterable[str]) -> int | None:
        return next((header.index(name) for name in names if name in header), None)

    if not any(header):
        raise _wrong(file, "it is no table", "begin with a header: name,lat,lon")
    lat, lon = column(_LATITUDES), column(_LONGITUDES)
    if lat is None or lon is None:
        raise _wrong(
            file, "it has no lat and lon columns", "begin with a header such as name,lat,lon", 1
        )
    name, accuracy = column(_NAMES), column(_ACCURACIES)
    for number, given in enumerate(rows[1:], 2):
        if any(given):
            cells = [*given, *[""] * (len(header) - len(given))]
            spread = "" if accuracy is None else cells[accuracy]
            yield GnssPoint(
                "" if name is None else cells[name],
                _number(file, cells[lat], "lat", number),
                _number(file, cells[lon], "lon", number),
                _number(file, spread, "accuracy", number) * METRES_PER[unit] if spread else None,
            )
