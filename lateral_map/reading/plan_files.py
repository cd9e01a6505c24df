"""The plan's features off the disk, before their kinds and places are judged.

plan.geojson (RFC 7946) is parsed by hand, so that each fault names its feature; of plan.gpkg every
layer with a geometry is carried into the site's declared system.
"""

from __future__ import annotations

import json
import math
import re
import warnings
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import shapely
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

from lateral_map.errors import FrameError, SiteError
from lateral_map.frame import crs_middle_deg, reproject, same_crs
from lateral_map.reading.fields import FARTHEST
from lateral_map.reading.files import decode_utf8, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import FEATURES, VERTICES, Limit
from lateral_map.reading.words import LONGEST_TEXT, clean_name, listed, plain
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
# GDAL's way of saying that a layer stands on no system in particular.
Mover = Callable[[BaseGeometry], BaseGeometry]
_NO_CRS: Final = ("Undefined", "Unknown")


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature: where it stands in its file, in words, its properties and its geometry."""

    label: str
    properties: Mapping[str, object]
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True)
class FeatureFile:
    """A plan file's features.

    ``coordinates`` says what they are in: WGS 84 longitude and latitude, or the site's declared
    system, x before y in both. ``lost`` are names of features left out for a fault of their own.
    """

    file: str
    features: tuple[Feature, ...]
    coordinates: Literal["lonlat", "declared"]
    lost: frozenset[str] = frozenset()


def name_of(properties: object) -> str:
    """Return the name among a feature's properties, empty where it has none."""
    if not isinstance(properties, Mapping):
        return ""
    name = next((value for key, value in properties.items() if plain(str(key)) == "name"), None)
    return clean_name(name[:LONGEST_TEXT]) if isinstance(name, str) else ""


def label_of(place: str, name: str) -> str:
    """Return what a feature is called in a message: its place in the file, and its name."""
    return f"{place} {name[:40]!r}" if name else place


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
        name = name_of(properties)
        label = label_of(f"feature {number}", name)
        lost.add(name)
        with ledger.place(file=file, field=label):
            if not isinstance(raw, dict) or raw.get("type") != "Feature":
                raise _refuse("it is not a Feature", "export the plan as GeoJSON again")
            if properties and not isinstance(properties, dict):
                remedy = "give it properties, at least a kind"
                raise _refuse("its properties are not a table", remedy)
            values = {str(k): v for k, v in (properties or {}).items() if v is not None}
            features.append(Feature(label, values, _geometry(raw.get("geometry"))))
            lost.discard(name)
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
        raise SiteError.of(problem, again, row=error.lineno, field=column) from None
    except (ValueError, RecursionError):
        problem = "this is no plan: its numbers or its nesting are out of all measure"
        raise _refuse(problem, again) from None
    if not isinstance(document, dict):
        raise _refuse("this is not a FeatureCollection", "export the plan as GeoJSON")
    kind = document.get("type")
    features = [document] if kind == "Feature" else document.get("features")
    if kind not in ("Feature", "FeatureCollection") or not isinstance(features, list):
        remedy = "a plan is a FeatureCollection whose features have a kind"
        raise SiteError.of(f"its type is {show_value(kind)}", remedy, field="type")
    _bound(FEATURES, len(features))
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


def _bound(limit: Limit, count: int) -> None:
    """Raise ``SiteError`` where there are too many."""
    fault = limit.fault(count)
    if fault is not None:
        raise SiteError(fault)


def _refuse(problem: str, remedy: str) -> SiteError:
    return SiteError.of(problem, remedy)


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
    _bound(VERTICES, len(coordinates))
    if len(coordinates) >= max(least, 2) and (whole := _plain_positions(coordinates)) is not None:
        return whole
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


def _plain_positions(coordinates: list[Any]) -> NDArray[np.float64] | None:
    """Return positions (n, 2) where all of them are as they should be, None where one is not."""
    if set(map(type, coordinates)) != {list}:
        return None
    if not set(map(type, chain.from_iterable(coordinates))) <= {int, float}:
        return None
    try:
        positions = np.array(coordinates, float)[:, :2]
    except (ValueError, OverflowError, IndexError):  # of uneven length, or beyond all measure
        return None
    if positions.shape[1] != 2 or not (np.abs(positions) <= FARTHEST).all():
        return None
    return np.ascontiguousarray(positions)


# ── GeoPackage ───────────────────────────────────────────────────────────────────────────────────


def read_geopackage(
    path: Path, ledger: Ledger, *, crs: str, kinds: Collection[str]
) -> FeatureFile | None:
    """Read plan.gpkg; None, with a fault, where it cannot be opened.

    ``crs`` is the declared system, ``local`` for a sketch, empty where it is not known; layers in
    another system are carried into it. A layer named after one of ``kinds`` lends it to features
    without one.
    """
    import pyogrio

    file = path.name
    # From memory: GDAL takes a '!' in a folder's name for the way into an archive.
    data = read_bytes(path, ledger)
    if data is None:
        return None
    features: list[Feature] = []
    lost: set[str] = set()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # GDAL's remarks on what it mends while reading
            for name, shape in pyogrio.list_layers(data):
                if shape is not None:
                    with ledger.place(file=file, field=f"layer {str(name)!r}"):
                        move = _mover(pyogrio.read_info(data, layer=name)["crs"], crs)
                        kind = str(name) if plain(str(name)) in kinds else None
                        features += _layer(data, file, str(name), kind, move, ledger, lost)
    except (RuntimeError, ValueError, OSError, shapely.errors.ShapelyError) as error:
        # The first sentence of what GDAL says, without the path it was given.
        said = re.sub(r"'?/vsimem/\S+?'?( |$)", "", clean_name(str(error)))
        reason = said.partition("; ")[0].rstrip(".")[:120]
        ledger.fault(
            f"the file cannot be read as a GeoPackage ({reason})",
            "save the plan again as GeoPackage, or as plan.geojson",
            file=file,
        )
        return None
    return FeatureFile(file, tuple(features), "declared", frozenset(lost))


def _layer(
    data: bytes,
    file: str,
    layer: str,
    kind: str | None,
    move: Mover,
    ledger: Ledger,
    lost: set[str],
) -> list[Feature]:
    from pyogrio.raw import read

    about, fids, shapes, columns = read(data, layer=layer, return_fids=True, force_2d=True)
    _bound(FEATURES, len(fids))
    names = [str(name) for name in about["fields"]]
    features: list[Feature] = []
    for i, fid in enumerate(fids):
        properties: dict[str, object] = {}
        for name, column in zip(names, columns, strict=True):
            value = column[i].item() if isinstance(column[i], np.generic) else column[i]
            if value is not None and value == value and value != "":  # NaN is none either
                properties[name] = value if isinstance(value, str | int | float) else str(value)
        if kind is not None and not any(plain(key) == "kind" for key in properties):
            properties["kind"] = kind
        name = name_of(properties)
        label = label_of(f"layer {layer!r} feature {int(fid)}", name)
        lost.add(name)
        with ledger.place(file=file, field=label):
            shape = shapes[i]
            geometry = None if shape is None else shapely.from_wkb(shape, on_invalid="ignore")
            if geometry is None or geometry.is_empty:
                raise _refuse("it has no geometry", "draw it or remove it")
            _bound(VERTICES, int(shapely.get_num_coordinates(geometry)))
            if not (np.abs(shapely.get_coordinates(geometry)) <= FARTHEST).all():
                raise _refuse(
                    f"a vertex is no finite number up to {FARTHEST:,.0f}", "draw it again"
                )
            parts = shapely.get_parts(geometry)
            geometry = move(parts[0] if len(parts) == 1 else geometry)
            features.append(Feature(label, properties, geometry))
            lost.discard(name)
    return features


def _mover(source: str | None, crs: str) -> Mover:
    """Return what carries a layer's geometries into the declared system."""
    said = source or ""
    if any(word in said[:60] for word in _NO_CRS):
        said = ""
    if crs == "local" and said:
        raise _refuse(
            f"the layer is in {show_value(said[:40])}, but the site is local",
            "write that system as the site's crs, or save the layer without one",
        )
    near: tuple[float, float] | None = None
    if said and crs and not same_crs(said, crs):
        with suppress(FrameError):  # the site's crs is itself a fault
            near = crs_middle_deg(crs)
    if near is None:
        return lambda geometry: geometry
    centre = near

    def move(points: NDArray[np.float64]) -> NDArray[np.float64]:
        try:
            x, y = reproject(points[:, 0], points[:, 1], said, crs, centre)
        except FrameError as error:
            raise _refuse(str(error), "save the layer in the site's crs") from None
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            raise _refuse(f"it lies outside {crs}", "check the layer's crs and the site's")
        return np.column_stack([x, y])

    return lambda geometry: shapely.transform(geometry, move)
