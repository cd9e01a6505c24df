"""The layers of a programme as one GeoPackage and as GeoParquet, written a piece at a time.

Every layer is in one coordinate system, sites in order of place, so that what lies close together
stands close together in the file and a reader who wants one district skips the rest. The same sites
give the same bytes of the GeoPackage's rows.
"""

from __future__ import annotations

import csv
import json
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from pyproj import Transformer
from pyproj.crs import CRS

from lateral_map.batch.store import Kept
from lateral_map.batch.tables import SITE_COLUMNS, TABLES, Kind, Row, Table
from lateral_map.errors import ExportError
from lateral_map.export.station_table import neutralise_formula
from lateral_map.frame import read_crs

WGS_84: Final = "EPSG:4326"
SITES: Final = Table("One row a site: its start, its worst answers, what became of it", "Point",
                     SITE_COLUMNS)  # fmt: skip
LAYERS: Final = {"sites": SITES, **TABLES}
_PIECE: Final = 500  # sites held at a time
FAILED_COLUMNS: Final = ("site", "state", "why", "seconds", "memory_mb")
SHARED_COLUMNS: Final = ("site", "other", "share", "of")


def programme_crs(text: str) -> CRS:
    """Return the system that the layers are written in.

    Raises ``FrameError`` where ``text`` is neither WGS 84 nor a projected system PROJ knows.
    """
    if text.strip().upper() in (WGS_84, "WGS84", "WGS 84"):
        return CRS.from_user_input(WGS_84)
    return read_crs(text)


class LayerWriter:
    """Writes layers into a folder a piece at a time; a context manager, whole when it is left.

    programme.gpkg always, a .parquet file for each layer where pyarrow is installed. Raises
    ``ExportError``.
    """

    def __init__(self, folder: Path, crs: CRS) -> None:
        self._writers: list[_GeoPackage | _GeoParquet] = [
            _GeoPackage(folder / "programme.gpkg", crs)
        ]
        if find_spec("pyarrow") is not None:
            self._writers.append(_GeoParquet(folder, crs))
        self._waiting: dict[str, list[tuple[str, Row]]] = {name: [] for name in LAYERS}
        self._carry = None
        if not crs.is_geographic:
            self._carry = Transformer.from_crs(WGS_84, crs, always_xy=True)

    def add(self, name: str, site: str, rows: list[Row]) -> None:
        """Write a site's rows of the layer ``name``."""
        self._waiting[name].extend((site, row) for row in rows)
        if len(self._waiting["sites"]) >= _PIECE:
            for one in LAYERS:
                self._flush(one)

    def _flush(self, name: str) -> None:
        rows, self._waiting[name] = self._waiting[name], []
        shapes = shapely.from_wkb([shape for _, (shape, _) in rows])
        carry = self._carry
        if carry is not None:
            shapes = shapely.transform(
                shapes, lambda points: np.column_stack(carry.transform(*points.T)).round(6)
            )
        kinds = LAYERS[name].columns
        every = zip(*(cells for _, (_, cells) in rows), strict=True) if rows else ((),) * len(kinds)
        columns = {"site": _column("text", [site for site, _ in rows])} | {
            column: _column(kind, cells)
            for (column, kind), cells in zip(kinds.items(), every, strict=True)
        }
        for writer in self._writers:
            writer.add(name, shapes, columns)

    def __enter__(self) -> LayerWriter:
        return self

    def __exit__(self, failed: type[BaseException] | None, *_: object) -> None:
        if failed is None:
            for name in LAYERS:
                self._flush(name)
        for writer in self._writers:
            writer.close()


def site_row(kept: Kept) -> Row:
    """Return a site's row of the layer of sites: its place and its facts."""
    facts = kept.facts
    shape = None
    if facts.get("lon") is not None:
        shape = shapely.to_wkb(shapely.Point(facts["lon"], facts["lat"]))
    told = facts | {
        "state": "copy" if kept.same_as else kept.state,
        "message": kept.message,
        "same_as": kept.same_as,
        "seconds": kept.seconds,
        "memory_mb": kept.memory_mb,
    }
    return shape, [None if told.get(one) == "" else told.get(one) for one in SITE_COLUMNS]


@contextmanager
def open_table(path: Path, columns: Iterable[str]) -> Iterator[Callable[[Iterable[Any]], None]]:
    """Yield what writes a row of a table for spreadsheets, in which no text is a formula."""
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        table = csv.writer(file)
        table.writerow(columns)
        yield lambda cells: table.writerow(
            [neutralise_formula(one) if isinstance(one, str) else one for one in cells]
        )


def write_failed(path: Path, failed: Iterable[Kept]) -> None:
    """Write the table of the sites that failed, with why; a line of it for each fault."""
    with open_table(path, FAILED_COLUMNS) as write:
        for kept in failed:
            for line in kept.message.splitlines() or [""]:
                write((kept.name, kept.state, line, kept.seconds, kept.memory_mb))


def _column(kind: Kind, cells: Sequence[Any]) -> Any:
    """Return one column: numbers with NaN for unknown, text and flags with None."""
    if kind == "number":
        return np.array(cells, float)
    if kind == "flag":
        return np.array(cells, bool)
    return np.array([None if one is None else str(one) for one in cells], object)


class _GeoPackage:
    """programme.gpkg, appended to a piece at a time."""

    def __init__(self, path: Path, crs: CRS) -> None:
        self._path = path
        self._crs = crs.to_wkt()
        self._begun: set[str] = set()

    def add(self, name: str, shapes: Any, columns: dict[str, Any]) -> None:
        """Add rows to a layer, made when it is first met."""
        from pyogrio import set_gdal_config_options
        from pyogrio.errors import DataSourceError
        from pyogrio.raw import write

        # Nobody reads it before it is whole: no need to wait for the disk.
        set_gdal_config_options(
            {
                "OGR_CURRENT_DATE": "1970-01-01T00:00:00.000Z",
                "OGR_SQLITE_SYNCHRONOUS": "OFF",
                "OGR_SQLITE_JOURNAL": "MEMORY",
            }
        )
        begun = name in self._begun
        if not len(shapes) and begun:
            return
        options = {} if begun else {"DESCRIPTION": LAYERS[name].summary}
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # rows of sketches have no geometry
                write(
                    str(self._path), shapely.to_wkb(shapes), list(columns.values()),
                    np.array(list(columns), object), layer=name, driver="GPKG", crs=self._crs,
                    geometry_type=LAYERS[name].geometry, append=begun, **options,
                )  # fmt: skip
        except DataSourceError as error:
            raise ExportError(f"{self._path}: cannot be written ({error})") from error
        self._begun.add(name)

    def close(self) -> None:
        """Leave the file: every piece closed it."""


class _GeoParquet:
    """A GeoParquet 1.1 file for each layer, a row group a piece, each row with its box."""

    def __init__(self, folder: Path, crs: CRS) -> None:
        import pyarrow as pa
        from pyarrow.parquet import ParquetWriter

        arrow = {"text": pa.string(), "number": pa.float64(), "flag": pa.bool_()}
        box = pa.struct([(edge, pa.float64()) for edge in ("xmin", "ymin", "xmax", "ymax")])
        self._pa, self._crs, self._box = pa, crs.to_json_dict(), box
        self._schemas = {
            name: pa.schema(
                [
                    ("site", pa.string()),
                    *((column, arrow[kind]) for column, kind in table.columns.items()),
                    ("bbox", box),
                    ("geometry", pa.binary()),
                ]
            )
            for name, table in LAYERS.items()
        }
        # A relative path with a colon in it would be taken for an address.
        whole = folder.absolute()
        self._writers = {
            name: ParquetWriter(whole / f"{name}.parquet", schema, compression="zstd")
            for name, schema in self._schemas.items()
        }
        self._reach = {name: [np.inf, np.inf, -np.inf, -np.inf] for name in LAYERS}

    def add(self, name: str, shapes: Any, columns: dict[str, Any]) -> None:
        """Add a row group to a layer."""
        pa, schema = self._pa, self._schemas[name]
        bounds = shapely.bounds(shapes).reshape(-1, 4)
        boxes = pa.StructArray.from_arrays(
            [pa.array(edge, from_pandas=True) for edge in bounds.T],
            fields=list(self._box),
            mask=pa.array(np.isnan(bounds[:, 0])),
        )
        arrays = [
            pa.array(column, type=schema.field(one).type, from_pandas=True)
            for one, column in columns.items()
        ]
        geometry = pa.array(shapely.to_wkb(shapes), type=pa.binary(), from_pandas=True)
        if len(shapes):
            batch = pa.record_batch([*arrays, boxes, geometry], schema=schema)
            self._writers[name].write_batch(batch)
        if np.isfinite(bounds).any():
            low, high = np.nanmin(bounds, axis=0), np.nanmax(bounds, axis=0)
            reach = self._reach[name]
            self._reach[name] = [*np.minimum(reach[:2], low[:2]), *np.maximum(reach[2:], high[2:])]

    def close(self) -> None:
        """Write what is known only now, and close every file."""
        for name, writer in self._writers.items():
            edges = {edge: ["bbox", edge] for edge in ("xmin", "ymin", "xmax", "ymax")}
            geometry: dict[str, Any] = {
                "encoding": "WKB",
                "geometry_types": [LAYERS[name].geometry],
                "crs": self._crs,
                "covering": {"bbox": edges},
            }
            if np.isfinite(self._reach[name]).all():
                geometry["bbox"] = [float(one) for one in self._reach[name]]
            geo = {"version": "1.1.0", "primary_column": "geometry",
                   "columns": {"geometry": geometry}}  # fmt: skip
            writer.add_key_value_metadata({"geo": json.dumps(geo)})
            writer.close()
