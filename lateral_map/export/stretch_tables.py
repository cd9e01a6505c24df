"""route.fgb and route.parquet: the recorded stretches as one table of lines, for data pipelines.

FlatGeobuf and GeoParquet hold one table each, so they carry the stretches with every attribute;
GeoPackage and GeoJSON carry all layers.
"""

from __future__ import annotations

import io
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from lateral_map.errors import ExportError
from lateral_map.export.geopackage import declared_crs
from lateral_map.export.outward import outward, settled
from lateral_map.export.recorded import recorded_stretches

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from lateral_map.model.results import Report

_NUMBERS = ("nominal_size", "outside_diameter")
_TEXTS = ("material", "answers", "date")


def route_flatgeobuf(report: Report) -> bytes:
    """Return route.fgb: LineString Z in the declared system. Raises ``ExportError``."""
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError, FieldError

    with tempfile.TemporaryDirectory(prefix="lateral-map-") as folder:
        path = Path(folder) / "route.fgb"
        try:
            pyogrio.write_dataframe(
                _stretches(report),
                path,
                driver="FlatGeobuf",
                layer="lateral stretches",
                geometry_type="LineString Z",
                layer_options={"SPATIAL_INDEX": "NO"},
            )
        except (DataLayerError, DataSourceError, FieldError) as error:
            raise ExportError(f"route.fgb: cannot be built ({error})") from error
        return path.read_bytes()


def route_geoparquet(report: Report) -> bytes:
    """Return route.parquet (GeoParquet 1.1, WKB). Raises ``ExportError`` without pyarrow."""
    if find_spec("pyarrow") is None:
        raise ExportError("route.parquet needs pyarrow: pip install 'lateral-map[geoparquet]'")
    content = io.BytesIO()
    _stretches(report).to_parquet(content, schema_version="1.1.0", index=False)
    return content.getvalue()


def _stretches(report: Report) -> GeoDataFrame:
    import geopandas as gpd
    import pandas as pd
    from shapely.geometry import LineString

    out = outward(report)
    stretches = recorded_stretches(report)
    table = pd.DataFrame([stretch.record for stretch in stretches])
    # A column that is unknown all through would otherwise lose its type.
    for name in _NUMBERS:
        table[name] = table[name].astype("float64")
    for name in _TEXTS:
        table[name] = table[name].astype("string")
    geometry = [settled(out.declared(LineString(stretch.vertices_m))) for stretch in stretches]
    return gpd.GeoDataFrame(table, geometry=geometry, crs=declared_crs(report.site.frame))
