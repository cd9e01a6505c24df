"""plan.geojson off the disk (RFC 7946): parsed by hand, so that each fault names its feature."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import (
    LinearRing,
    LineString,
    MultiLineString,
    MultiPoint,
    MultiPolygon,
    Point,
    Polygon,
)
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import Fault, SiteError
from lateral_map.reading.features import Feature, FeatureFile, label_of, name_of
from lateral_map.reading.fields import FARTHEST
from lateral_map.reading.files import decode_utf8, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.words import listed
from lateral_map.units import show_value

_PARTS: Final = {"MultiPoint": "Point", "MultiLineString": "LineString", "MultiPolygon": "Polygon"}
_TYPES: Final = ("Point", "LineString", "Polygon", *_PARTS)
_COLLECTIONS: Final[dict[str, Callable[[list[Any]], BaseGeometry]]] = {
    "MultiPoint": MultiPoint,
    "MultiLineString": MultiLineString,
    "MultiPolygon": MultiPolygon,
}
# RFC 7946 has no crs member; files that name one of these mean longitude and latitude all the same.
_LONLAT_NAMES: Final = ("CRS84", "EPSG::4326", "EPSG:4326")


def read_geojson(path: Path, ledger: Ledger, *, local: bool) -> FeatureFile | None:
    """Read plan.geojson; None, with a fault, where it is no GeoJSON at all.

    Coordinates are longitude and latitude, or a sketch's own x, y where ``local``.
    """
    file = path.name
    data = read_bytes(path, ledger)
    text = None if data is None else decode_utf8(data, file, ledger)
    if text is None:
        return None
    parsed = None
    with ledger.place(file=file):
        parsed = _parse(text)
    if parsed is None:
        return None
    document, given = parsed
    if not local:
        _check_crs(document, file, ledger)
    features: list[Feature] = []
    lost: set[str] = set()
    for number, raw in enumerate(given, 1):
        properties = raw.get("properties") if isinstance(raw, dict) else None
        label = label_of(f"feature {number}", properties)
        lost.add(name_of(properties))
        with ledger.place(file=file, field=label):
            if not isinstance(raw, dict) or raw.get("type") != "Feature":
                raise _refuse("it is not a Feature", "export the plan as GeoJSON again")
            if properties and not isinstance(properties, dict):
                remedy = "give it properties, at least a kind"
                raise _refuse("its properties are not a table", remedy)
            values = {str(k): v for k, v in (properties or {}).items() if v is not None}
            features.append(Feature(label, values, _geometry(raw.get("geometry"))))
            lost.discard(name_of(properties))
    return FeatureFile(file, tuple(features), "declared" if local else "lonlat", frozenset(lost))


def _parse(text: str) -> tuple[dict[str, Any], list[Any]]:
    """Return the document and its features; raises ``SiteError``."""
    if not text.strip():
        raise _refuse("the file is empty", "draw the plan, or remove the file")
    again = "export the plan as GeoJSON again"
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        problem, column = f"this is not JSON: {error.msg}", f"column {error.colno}"
        raise SiteError(Fault(problem, again, row=error.lineno, field=column)) from None
    except (ValueError, RecursionError):
        problem = "this is no plan: its numbers or its nesting are out of all measure"
        raise _refuse(problem, again) from None
    if not isinstance(document, dict):
        raise _refuse("this is not a FeatureCollection", "export the plan as GeoJSON")
    kind = document.get("type")
    features = [document] if kind == "Feature" else document.get("features")
    if kind not in ("Feature", "FeatureCollection") or not isinstance(features, list):
        remedy = "a plan is a FeatureCollection whose features have a kind"
        raise SiteError(Fault(f"its type is {show_value(kind)}", remedy, field="type"))
    return document, features


def _check_crs(document: Mapping[str, Any], file: str, ledger: Ledger) -> None:
    named = document.get("crs")
    if named is None:
        return
    properties = named.get("properties") if isinstance(named, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str) or not name.endswith(_LONLAT_NAMES):
        ledger.fault(
            f"the file says its coordinates are in {show_value(name)}",
            "GeoJSON holds longitude and latitude (RFC 7946): export it in EPSG:4326, "
            "or save the plan in the site's crs as plan.gpkg",
            file=file,
            field="crs",
        )


def _refuse(problem: str, remedy: str) -> SiteError:
    return SiteError(Fault(problem, remedy))


def _geometry(raw: object) -> BaseGeometry:
    kind = raw.get("type") if isinstance(raw, dict) else None
    if not isinstance(raw, dict) or kind not in _TYPES:
        shown = "no geometry" if raw is None else f"the geometry {show_value(kind)}"
        raise _refuse(f"it has {shown}", f"draw it as {listed(_TYPES[:3])}")
    coordinates = raw.get("coordinates")
    if kind not in _PARTS:
        return _single(kind, coordinates)
    if not isinstance(coordinates, list) or not coordinates:
        raise _refuse("its coordinates are empty", "draw it or remove it")
    parts = [_single(_PARTS[kind], one) for one in coordinates]
    return parts[0] if len(parts) == 1 else _COLLECTIONS[kind](parts)


def _single(kind: str, coordinates: object) -> BaseGeometry:
    if kind == "Point":
        return Point(_positions([coordinates], 1)[0])
    if kind == "LineString":
        return LineString(_positions(coordinates, 2))
    if not isinstance(coordinates, list) or not coordinates:
        raise _refuse("its coordinates are empty", "draw it or remove it")
    rings = []
    for one in coordinates:
        positions = _positions(one, 3)
        if not np.array_equal(positions[0], positions[-1]):
            positions = np.vstack([positions, positions[:1]])
        if len(positions) < 4:
            raise _refuse("an outline has fewer than 3 corners", "draw the whole outline")
        rings.append(LinearRing(positions))
    return Polygon(rings[0], rings[1:])


def _positions(coordinates: object, least: int) -> NDArray[np.float64]:
    """Return positions (n, 2), heights dropped."""
    if not isinstance(coordinates, list) or not coordinates or coordinates == [None]:
        raise _refuse("its coordinates are empty", "draw it or remove it")
    positions: list[tuple[float, float]] = []
    for raw in coordinates:
        vertex = f"vertex {len(positions) + 1} is {show_value(raw)}"
        pair = raw[:2] if isinstance(raw, list) else []
        numbers = [n for n in pair if isinstance(n, int | float) and not isinstance(n, bool)]
        if len(numbers) != 2:
            raise _refuse(vertex, "a position is [longitude, latitude] or [x, y]")
        try:
            x, y = float(numbers[0]), float(numbers[1])
        except OverflowError:
            x = y = math.inf
        # Not finite is beyond, too.
        if not (abs(x) <= FARTHEST and abs(y) <= FARTHEST):
            raise _refuse(vertex, f"coordinates are finite numbers up to {FARTHEST:,.0f}")
        positions.append((x, y))
    if len(positions) < least:
        raise _refuse(f"it has {len(positions)} vertex", f"draw at least {least}")
    return np.array(positions)
