"""route.gpkg: every layer in the declared system, invert heights as Z, drawn on opening.

Z is in the same unit as x and y, so that a length in three dimensions is one. The same site gives
the same bytes: what GeoPackage wants as the time of change is the site's own date.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from shapely.geometry import MultiPolygon, Polygon, mapping
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import ExportError
from lateral_map.export.features import LayerName, Record, route_layers
from lateral_map.export.layer_styles import LAYER_STYLES, style_qml, style_sld
from lateral_map.export.outward import outward, settled
from lateral_map.frame import Frame, read_crs

if TYPE_CHECKING:
    from pyproj.crs import CRS

    from lateral_map.model.results import Report

_GEOMETRY_TYPES: Final[dict[LayerName, str]] = {
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
    "past", "past_sd", "probability_past", "nominal_size", "outside_diameter",
)  # fmt: skip
_NO_DATE: Final = dt.date(1970, 1, 1)


def route_geopackage(report: Report) -> bytes:
    """Return the bytes of route.gpkg. Raises ``ExportError`` where the file can't be built."""
    date = report.site.date or _NO_DATE
    out, crs = outward(report), declared_crs(report.site.frame)
    layers = route_layers(report)
    styles = [
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": layer.name,
            "f_geometry_column": "geom",
            "styleName": layer.name,
            "styleQML": style_qml(
                LAYER_STYLES[layer.name],
                _flatten(layer.features[0].record) if layer.features else (),
                out.unit,
            ),
            "styleSLD": style_sld(layer.name, LAYER_STYLES[layer.name]),
            "useAsDefault": True,
            "description": LAYER_STYLES[layer.name].classes[0].label,
            "owner": "",
            "ui": "",
            "update_time": f"{date.isoformat()}T00:00:00.000Z",
        }
        for layer in layers
    ]
    with tempfile.TemporaryDirectory(prefix="lateral-map-") as folder:
        path = Path(folder) / "route.gpkg"
        for layer in layers:
            write_layer(
                path,
                [
                    (
                        MultiPolygon([shape]) if isinstance(shape, Polygon) else shape,
                        _flatten(one.record),
                    )
                    for one in layer.features
                    for shape in (settled(out.declared(one.geometry)),)
                ],
                geometry=_GEOMETRY_TYPES[layer.name],
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


def _flatten(record: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """Return a record with one plain value a column: ellipse_95 opens up, lists become text."""
    flat: dict[str, Any] = {}
    for key, value in record.items():
        if key == "ellipse_95":
            flat |= _flatten(value, f"{prefix}{key}_")
        elif isinstance(value, list) and all(isinstance(each, str) for each in value):
            flat[prefix + key] = "; ".join(value)
        elif isinstance(value, list | dict):
            flat[prefix + key] = json.dumps(value, ensure_ascii=False, allow_nan=False)
        else:
            flat[prefix + key] = value
    return flat
