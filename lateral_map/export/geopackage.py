"""route.gpkg: every layer in the declared system, invert heights as Z, drawn on opening.

Z is in the same unit as x and y, so that a length in three dimensions is one. The same site gives
the same bytes: what GeoPackage wants as the time of change is the site's own date.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lateral_map.errors import ExportError
from lateral_map.export.features import Layer, LayerName, route_layers
from lateral_map.export.layer_styles import LAYER_STYLES
from lateral_map.export.outward import Outward, outward, settled
from lateral_map.export.qml import style_qml
from lateral_map.export.sld import style_sld
from lateral_map.frame import Frame, read_crs

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj.crs import CRS

    from lateral_map.model.results import Report

_GEOMETRY_TYPES: Final[dict[LayerName, str]] = {
    "corridor": "MultiPolygon",
    "buffer": "MultiPolygon",
    "alternatives": "LineString",
    "route": "LineString Z",
    "stretches": "LineString Z",
    "stations": "Point Z",
    "crossings": "Point",
    "findings": "Point Z",
    "locates": "Point Z",
}
# Numbers that may be unknown all through a layer: a column of nothing would else become text.
_NUMBERS: Final = (
    "lat", "lon", "to", "ground_elevation", "invert_elevation", "depth_read", "depth_to_invert",
    "past", "past_sd", "probability_past",
)  # fmt: skip
_NO_DATE: Final = dt.date(1970, 1, 1)


def route_geopackage(report: Report) -> bytes:
    """Return the bytes of route.gpkg. Raises ``ExportError`` where the file can't be built."""
    import pandas as pd
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError, FieldError

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
            "styleQML": style_qml(LAYER_STYLES[layer.name]),
            "styleSLD": style_sld(layer.name, LAYER_STYLES[layer.name]),
            "useAsDefault": True,
            "description": LAYER_STYLES[layer.name].classes[0].label,
            "owner": "",
            "ui": "",
            "update_time": pd.Timestamp(date, tz="UTC"),
        }
        for layer in layers
    ]
    with tempfile.TemporaryDirectory(prefix="lateral-map-") as folder, _clock_at(date):
        path = Path(folder) / "route.gpkg"
        try:
            for layer in layers:
                geometry_type = _GEOMETRY_TYPES[layer.name]
                pyogrio.write_dataframe(
                    _frame(layer, out, crs),
                    path,
                    layer=layer.name,
                    driver="GPKG",
                    geometry_type=geometry_type,
                    promote_to_multi=geometry_type == "MultiPolygon",
                    layer_options={"DESCRIPTION": layer.summary},
                )
            pyogrio.write_dataframe(
                pd.DataFrame(styles),
                path,
                layer="layer_styles",
                driver="GPKG",
                layer_options={"FID": "id"},
            )
        except (DataLayerError, DataSourceError, FieldError) as error:
            raise ExportError(f"route.gpkg: cannot be built ({error})") from error
        return path.read_bytes()


@contextmanager
def _clock_at(date: dt.date) -> Iterator[None]:
    """Have GDAL take ``date`` for the present, so that the same site gives the same bytes."""
    import pyogrio

    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{date.isoformat()}T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


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


def _frame(layer: Layer, out: Outward, crs: CRS) -> GeoDataFrame:
    import geopandas as gpd
    import pandas as pd

    table = pd.DataFrame([_flatten(feature.record) for feature in layer.features])
    for name in set(_NUMBERS) & set(table.columns):
        table[name] = table[name].astype("float64")
    geometry = [settled(out.declared(feature.geometry)) for feature in layer.features]
    return gpd.GeoDataFrame(table, geometry=geometry, crs=crs)


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
