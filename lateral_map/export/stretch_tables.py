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

from shapely.geometry import LineString

from lateral_map.errors import ExportError
from lateral_map.export.geopackage import declared_crs, write_layer
from lateral_map.export.outward import outward, settled
from lateral_map.export.recorded import recorded_stretches

if TYPE_CHECKING:
    from lateral_map.model.results import Report


def route_flatgeobuf(report: Report) -> bytes:
    """Return route.fgb: LineString Z in the declared system. Raises ``ExportError``."""
    out = outward(report)
    with tempfile.TemporaryDirectory(prefix="lateral-map-") as folder:
        path = Path(folder) / "route.fgb"
        write_layer(
            path,
            [
                (settled(out.declared(LineString(stretch.vertices_m))), stretch.record)
                for stretch in recorded_stretches(report)
            ],
            geometry="3D LineString",
            crs=declared_crs(report.site.frame),
            driver="FlatGeobuf",
            layer="lateral stretches",
            SPATIAL_INDEX="NO",
        )
        return path.read_bytes()


def route_geoparquet(report: Report) -> bytes:
    """Return route.parquet (GeoParquet 1.1, WKB). Raises ``ExportError`` without pyarrow."""
    if find_spec("pyarrow") is None:
        raise ExportError("route.parquet needs pyarrow: pip install 'lateral-map[geoparquet]'")
    import geopandas as gpd
    import pandas as pd

    out, stretches = outward(report), recorded_stretches(report)
    table = pd.DataFrame([stretch.record for stretch in stretches])
    # A column that is unknown all through would otherwise lose its type.
    numbers = dict.fromkeys(("nominal_size", "outside_diameter"), "float64")
    table = table.astype(numbers | dict.fromkeys(("material", "answers", "date"), "string"))
    geometry = [settled(out.declared(LineString(stretch.vertices_m))) for stretch in stretches]
    frame = gpd.GeoDataFrame(table, geometry=geometry, crs=declared_crs(report.site.frame))
    content = io.BytesIO()
    frame.to_parquet(content, schema_version="1.1.0", index=False)
    return content.getvalue()
