"""GeoPackages: every layer in the declared system, drawn and lettered on opening.

route.gpkg holds the route with its invert heights as Z, and the plan it lies in.

Z is in the same unit as x and y, so that a length in three dimensions is one. The same site gives
the same bytes: what GeoPackage wants as the time of change is the site's own date.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from shapely.geometry import MultiPolygon, Polygon, mapping
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import ExportError
from lateral_map.export.features import Feature, Record, flat_record, plan_layers, route_layers
from lateral_map.export.layer_styles import LAYER_STYLES, LayerStyle, style_qml, style_sld
from lateral_map.export.outward import outward, settled
from lateral_map.frame import Frame, read_crs

if TYPE_CHECKING:
    from pyproj.crs import CRS

    from lateral_map.model.results import Report

_GEOMETRY_TYPES: Final[dict[str, str]] = {
    "plan_areas": "MultiPolygon",
    "plan_lines": "LineString",
    "utilities": "LineString",
    "adjusted_lines": "LineString",
    "plan_points": "Point",
    "answers": "3D LineString",
    "corridor": "MultiPolygon",
    "buffer": "MultiPolygon",
    "alternatives": "LineString",
    "route": "3D LineString",
    "stretches": "3D LineString",
    "stations": "3D Point",
    "crossings": "Point",
    "findings": "3D Point",
    "locates": "3D Point",
}
# Numbers that may be unknown all through a layer: a column of nothing would else become text.
_NUMBERS: Final = (
    "lat", "lon", "to", "ground_elevation", "invert_elevation", "depth_read", "depth_to_invert",
    "past", "past_sd", "probability_past", "nominal_size", "outside_diameter", "depth",
    "accuracy_95", "elevation", "moved", "aside", "aside_sd", "clearance", "clearance_sd",
    "mirror_gap", "mirror_check", "error_95", "line_turns_at", "footage_noted",
)  # fmt: skip
_NO_DATE: Final = dt.date(1970, 1, 1)


def route_geopackage(report: Report) -> bytes:
    """Return the bytes of route.gpkg. Raises ``ExportError`` where the file can't be built."""
    layers = [
        GisLayer(layer.name, layer.summary, layer.features, LAYER_STYLES[layer.name])
        for layer in (*plan_layers(report), *route_layers(report))
    ]
    return build_geopackage("route.gpkg", layers, report)


@dataclass(frozen=True, slots=True)
class GisLayer:
    """A table of a GeoPackage: what it holds and how it is drawn."""

    name: str
    summary: str
    features: tuple[Feature, ...]
    style: LayerStyle


def build_geopackage(file: str, layers: Sequence[GisLayer], report: Report) -> bytes:
    """Return a GeoPackage's bytes, each layer styled. Raises ``ExportError``."""
    date = report.site.date or _NO_DATE
    out, crs = outward(report), declared_crs(report.site.frame)
    tables = [
        [
            (_many(settled(out.declared(one.geometry))), flat_record(one.record))
            for one in each.features
        ]
        for each in layers
    ]
    styles = [
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": layer.name,
            "f_geometry_column": "geom",
            "styleName": layer.name,
            "styleQML": style_qml(layer.style, rows[0][1] if rows else (), out.unit),
            "styleSLD": style_sld(layer.name, layer.style),
            "useAsDefault": True,
            "description": layer.style.classes[0].label,
            "owner": "",
            "ui": "",
            "update_time": f"{date.isoformat()}T00:00:00.000Z",
        }
        for layer, rows in zip(layers, tables, strict=True)
    ]
    with tempfile.TemporaryDirectory(prefix="lateral-map-") as folder:
        path = Path(folder) / file
        for layer, rows in zip(layers, tables, strict=True):
            flat = _GEOMETRY_TYPES.get(layer.name, "Unknown")
            if rows and layer.name not in _GEOMETRY_TYPES:
                flat = str(rows[0][0].geom_type)
            write_layer(
                path,
                rows,
                geometry=flat,
                crs=crs,
                date=date,
                driver="GPKG",
                layer=layer.name,
                DESCRIPTION=layer.summary,
            )
        write_layer(
            path,
            [(None, style) for style in styles],
            types={"update_time": "datetime"},
            date=date,
            driver="GPKG",
            layer="layer_styles",
            FID="id",
        )
        return path.read_bytes()


def _many(shape: BaseGeometry) -> BaseGeometry:
    """Return a polygon as one of several: a layer of both kinds is none."""
    return MultiPolygon([shape]) if isinstance(shape, Polygon) else shape


def write_layer(
    path: Path,
    rows: Sequence[tuple[BaseGeometry | None, Record]],
    *,
    geometry: str = "None",
    crs: CRS | None = None,
    date: dt.date = _NO_DATE,
    types: Mapping[str, str] | None = None,
    **options: str,
) -> None:
    """Add a layer to a file: a row each of a geometry in declared x, y and its columns.

    ``date`` is what GDAL takes for the present, so that the same site gives the same bytes.
    ``options`` are GDAL's own. Raises ``ExportError``.
    """
    import fiona
    from fiona.errors import FionaError

    columns: dict[str, str] = {}
    for name in rows[0][1] if rows else ():
        held = {type(record[name]) for _, record in rows} - {type(None)}
        # A column of nothing would else become text.
        empty = "float" if name in _NUMBERS else "str"
        columns[name] = held.pop().__name__ if len(held) == 1 else "float" if held else empty
    try:
        with (
            # Nobody but us reads the file before it is whole: no need to wait for the disk.
            fiona.Env(
                OGR_CURRENT_DATE=f"{date.isoformat()}T00:00:00.000Z",
                OGR_SQLITE_SYNCHRONOUS="OFF",
                OGR_SQLITE_JOURNAL="MEMORY",
            ),
            fiona.open(
                path,
                "w",
                schema={"geometry": geometry, "properties": columns | dict(types or {})},
                crs_wkt=crs.to_wkt() if crs else None,
                **options,
            ) as file,
        ):
            file.writerecords(
                {
                    "geometry": shape and mapping(shape),
                    "properties": record,
                }
                for shape, record in rows
            )
    except (FionaError, OSError) as error:
        raise ExportError(f"{path.name}: cannot be built ({error})") from error


def declared_crs(frame: Frame) -> CRS:
    """Return the declared system; for a sketch an engineering one that knows only its unit."""
    from pyproj.crs import CRS

    if not frame.is_local:
        return read_crs(frame.crs)
    return CRS.from_wkt(
        'ENGCRS["site sketch",EDATUM["site sketch"],CS[Cartesian,2],'
        'AXIS["x",east,ORDER[1]],AXIS["y",north,ORDER[2]],'
        f'LENGTHUNIT["{frame.unit_name}",{frame.unit_m!r}]]'
    )
