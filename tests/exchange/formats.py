"""Twelve file formats of many sites, each opened again by a library that did not write it.

    python tests/exchange/formats.py               the demos and 20 made-up sites
    python tests/exchange/formats.py --sites 3

Every place and length read back is held against result.json, the dig's against what the review
itself has. Prints how far off each format is where it is most, in feet; exit code 1 where one is
farther off than 0.001 ft.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import os
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import fastkml  # noqa: E402
import gpxpy  # noqa: E402
import numpy as np  # noqa: E402
import openpyxl  # noqa: E402
import pandas as pd  # noqa: E402
import pyarrow.parquet  # noqa: E402
import pyogrio  # noqa: E402
import shapely  # noqa: E402
from agreement.sites import write_site  # noqa: E402
from geographiclib.geodesic import Geodesic  # noqa: E402
from lxml import etree  # noqa: E402

from lateral_map import build_report, load_site  # noqa: E402
from lateral_map.dig_review import build_dig_review  # noqa: E402
from lateral_map.export.dig_files import dig_features, dig_files  # noqa: E402
from lateral_map.export.recorded import recorded_stretches  # noqa: E402
from lateral_map.export.registry import make_products  # noqa: E402
from lateral_map.export.result import result_record  # noqa: E402
from lateral_map.model.dig import DigReview  # noqa: E402
from lateral_map.model.results import Report  # noqa: E402

FOOT: Final = 0.3048
MOST_FT: Final = 0.001
ON_EARTH: Final = ("kml", "gpx")
Places = Sequence[tuple[float, ...]]


class Told:
    """What a site's files are held against, and how far off in feet what was read is."""

    def __init__(self, report: Report, review: DigReview) -> None:
        self.report, self.review = report, review
        self.frame = report.site.frame
        self.result = json.loads(json.dumps(result_record(report)))

    def plane(self, found: Places, true: Places) -> float:
        """Return the widest gap in ft between places in the declared system."""
        assert len(found) == len(true), f"{len(found)} of {len(true)}"
        gaps = [math.dist(one, other) for one, other in zip(found, true, strict=True)]
        return max(gaps, default=0.0) * self.frame.unit_m / FOOT

    def earth(self, found: Places, true: Places) -> float:
        """Return the widest gap in ft between places (longitude, latitude); a sketch's x and y."""
        if self.frame.is_local:
            return self.plane(found, true)
        assert len(found) == len(true), f"{len(found)} of {len(true)}"
        gaps = [
            Geodesic.WGS84.Inverse(one[1], one[0], other[1], other[0])["s12"]
            for one, other in zip(found, true, strict=True)
        ]
        return max(gaps, default=0.0) / FOOT

    def findings(self, *keys: str) -> Places:
        return [tuple(one[key] for key in keys) for one in self.result["findings"]]

    def lonlat(self) -> Places:
        return self.findings("x", "y") if self.frame.is_local else self.findings("lon", "lat")

    def lengths(self, found: Sequence[float], true: Sequence[float]) -> float:
        """Return the widest difference in ft between lengths in the site's unit."""
        assert len(found) == len(true), f"{len(found)} of {len(true)}"
        gaps = np.abs(np.array(found, float) - np.array(true, float))
        return float(gaps.max(initial=0.0)) * (1.0 / FOOT if self.report.site.unit == "m" else 1.0)

    def stretches(self) -> Places:
        places = np.concatenate([one.vertices_m for one in recorded_stretches(self.report)])
        x, y = self.frame.from_plane(places[:, 0], places[:, 1])
        return [tuple(row) for row in np.column_stack([x, y, places[:, 2] / self.frame.unit_m])]

    def key_points(self) -> Places:
        return [
            tuple(map(float, self.frame.from_plane(*shape.coords[0][:2])))
            for shape, record in dig_features(self.review)
            if record["layer"] == "key point"
        ]


def read_geojson(told: Told, content: bytes) -> float:
    found = [
        tuple(one["geometry"]["coordinates"][:2])
        for one in json.loads(content)["features"]
        if one["properties"]["layer"] == "findings"
    ]
    return told.earth(found, told.lonlat())


def points_of(content: bytes, layer: str) -> list[Any]:
    """Return the points of a GeoPackage's layer, by SQLite and well-known binary alone."""
    with tempfile.NamedTemporaryFile(suffix=".gpkg") as file:
        file.write(content)
        file.flush()
        rows = sqlite3.connect(file.name).execute(f'SELECT geom FROM "{layer}" ORDER BY fid')
        # The envelope's length by its indicator: OGC 12-128r19, clause 2.1.3.
        sizes = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
        return [shapely.from_wkb(blob[8 + sizes[blob[3] >> 1 & 7] :]) for (blob,) in rows]


def read_geopackage(told: Told, content: bytes) -> float:
    points = points_of(content, "findings")
    at = [one.finding.footage_m for one in told.report.findings]
    heights = told.report.route.positions(at)[:, 2] / told.frame.unit_m if at else []
    true = [(*place, float(z)) for place, z in zip(told.findings("x", "y"), heights, strict=True)]
    return told.plane([(one.x, one.y, one.z) for one in points], true)


def read_dxf(told: Told, content: bytes) -> float:
    with tempfile.NamedTemporaryFile(suffix=".dxf") as file:
        file.write(content)
        file.flush()
        table = pyogrio.read_dataframe(file.name)
    marks = table[(table["Layer"] == "FINDINGS") & (table.geometry.geom_type == "Point")]
    # Words of CAD are points to GDAL, too.
    marks = marks[marks["Text"].isna()]
    return told.plane([(one.x, one.y) for one in marks.geometry], told.findings("x", "y"))


def read_kml(told: Told, content: bytes) -> float:
    (document,) = fastkml.KML.from_string(content).features
    folder = next((one for one in document.features if one.name == "Findings"), None)
    marks = folder.features if folder else ()
    return told.earth([one.geometry.coords[0][:2] for one in marks], told.lonlat())


def read_gpx(told: Told, content: bytes) -> float:
    points = [one for one in gpxpy.parse(content.decode()).waypoints if one.type == "finding"]
    return told.earth([(one.longitude, one.latitude) for one in points], told.lonlat())


def read_landxml(told: Told, content: bytes) -> float:
    root = etree.fromstring(content)
    marks = root.findall(".//{*}CgPoint[@code='finding']")
    found = [tuple(map(float, one.text.split()[1::-1])) for one in marks]
    return told.plane(found, told.findings("x", "y"))


def read_flatgeobuf(told: Told, content: bytes) -> float:
    with tempfile.NamedTemporaryFile(suffix=".fgb") as file:
        file.write(content)
        file.flush()
        shapes = pyogrio.read_dataframe(file.name).geometry
    return told.plane(_vertices(shapes), told.stretches())


def read_geoparquet(told: Told, content: bytes) -> float:
    table = pyarrow.parquet.read_table(io.BytesIO(content)).to_pandas()
    return told.plane(_vertices(shapely.from_wkb(table["geometry"].to_numpy())), told.stretches())


def _vertices(shapes: Any) -> Places:
    return [tuple(row) for row in shapely.get_coordinates(list(shapes), include_z=True)]


def read_workbook(told: Told, content: bytes) -> float:
    head, *rows = openpyxl.load_workbook(io.BytesIO(content))["findings"].iter_rows(
        values_only=True
    )
    read = [dict(zip(head, row, strict=True)) for row in rows]
    footage = [float(one[f"footage_{told.report.site.unit}"]) for one in read]
    return max(
        told.plane([(one["x"], one["y"]) for one in read], told.findings("x", "y")),
        told.lengths(footage, [one["footage"] for one in told.result["findings"]]),
    )


def read_stations(told: Told, content: bytes) -> float:
    table = pd.read_csv(io.BytesIO(content))
    stations = told.result["stations"]
    footage = next(name for name in table.columns if name.startswith("footage"))
    return max(
        told.plane(
            list(zip(table["x"], table["y"], strict=True)), [(s["x"], s["y"]) for s in stations]
        ),
        told.lengths(list(table[footage]), [s["footage"] for s in stations]),
    )


def read_dig_geopackage(told: Told, content: bytes) -> float:
    true = told.key_points()
    points = points_of(content, "key_point") if true else []
    return told.plane([(one.x, one.y) for one in points], true)


def read_dig_geojson(told: Told, content: bytes) -> float:
    found = [
        tuple(one["geometry"]["coordinates"][:2])
        for one in json.loads(content)["features"]
        if one["properties"]["layer"] == "key point"
    ]
    true = [
        place
        if (lonlat := told.frame.plane_to_lonlat(*shape.coords[0][:2])) is None
        else tuple(map(float, lonlat))
        for (shape, record), place in zip(
            [one for one in dig_features(told.review) if one[1]["layer"] == "key point"],
            told.key_points(), strict=True,
        )
    ]  # fmt: skip
    return told.earth(found, true)


READERS: Final[dict[str, tuple[str, Callable[[Told, bytes], float]]]] = {
    "route.geojson": ("json, GeographicLib", read_geojson),
    "route.gpkg": ("SQLite, WKB", read_geopackage),
    "route.dxf": ("GDAL", read_dxf),
    "route.kml": ("fastkml", read_kml),
    "marks.gpx": ("gpxpy", read_gpx),
    "route.xml": ("lxml", read_landxml),
    "route.fgb": ("pyogrio", read_flatgeobuf),
    "route.parquet": ("pyarrow, WKB", read_geoparquet),
    "tables.xlsx": ("openpyxl", read_workbook),
    "stations.csv": ("pandas", read_stations),
    "dig.gpkg": ("SQLite, WKB", read_dig_geopackage),
    "dig.geojson": ("json, GeographicLib", read_dig_geojson),
}
NAMES: Final = (
    "geojson", "gpkg", "dxf", "kml", "gpx", "landxml", "flatgeobuf", "geoparquet", "xlsx",
    "stations",
)  # fmt: skip


def folders(count: int, made_in: Path) -> Iterator[Path]:
    yield from sorted(path.parent for path in (ROOT / "demo_sites").glob("*/site.toml"))
    for seed in range(count):
        write_site(made_in / f"{seed}", seed)
        yield made_in / f"{seed}"


def main() -> int:
    parser = argparse.ArgumentParser(description="Open twelve file formats of many sites again.")
    parser.add_argument("--sites", type=int, default=20)
    worst = dict.fromkeys(READERS, 0.0)
    times = dict.fromkeys(READERS, 0)
    with tempfile.TemporaryDirectory() as made_in:
        for folder in folders(parser.parse_args().sites, Path(made_in)):
            report = build_report(load_site(folder))
            told = Told(report, build_dig_review(report))
            names = [n for n in NAMES if not (report.site.frame.is_local and n in ON_EARTH)]
            files = make_products(report, names) | dig_files(told.review)
            for name, (_, read) in READERS.items():
                if name in files:
                    worst[name] = max(worst[name], read(told, files[name]))
                    times[name] += 1
    for name, (by, _) in READERS.items():
        sys.stdout.write(f"{name:14} {by:20} {times[name]:3} sites {worst[name]:.7f} ft\n")
    return int(max(worst.values()) > MOST_FT or not all(times.values()))


if __name__ == "__main__":
    sys.exit(main())
