"""Every exchange file opened again by a library that had no part in writing it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import fastkml
import gpxpy
import numpy as np
import openpyxl
import pyarrow.parquet
import pyogrio
import pytest
import shapely
from analysis.builder import as_line
from ezdxf import recover
from geographiclib.geodesic import Geodesic
from sheets.builder import line_report
from truth.simulate import FOOT

from lateral_map import build_report, load_site
from lateral_map.errors import ExportError
from lateral_map.export.dxf import plain_text
from lateral_map.export.recorded import QUALITY_LEVEL, recorded_stretches
from lateral_map.export.registry import PRODUCTS, make_products, usual_products
from lateral_map.export.result import result_record
from lateral_map.model.results import Report

DEMOS = Path(__file__).parents[2] / "demo_sites"
NAMES = ("plain_lot", "garage_slab", "rising_ground")
EXCHANGE = ("dxf", "kml", "gpx", "landxml", "flatgeobuf", "geoparquet")


@pytest.fixture(scope="session")
def made() -> Callable[[str], tuple[Report, dict[str, bytes]]]:
    @cache
    def make(name: str) -> tuple[Report, dict[str, bytes]]:
        report = build_report(load_site(DEMOS / name))
        return report, make_products(report, EXCHANGE)

    return make


@pytest.fixture(params=NAMES)
def site(request: pytest.FixtureRequest, made: Any) -> tuple[Report, dict[str, bytes]]:
    return made(request.param)


@pytest.fixture(scope="session")
def sketch() -> Report:
    return line_report(60.0, 6)


def stations(report: Report) -> list[dict[str, Any]]:
    return list(result_record(report)["stations"])


def on_line(points: Any, line: Any, within: float) -> None:
    """Check that points lie on a line, in the line's own unit."""
    distances = shapely.distance(shapely.points(points), shapely.LineString(line))
    assert float(np.max(distances)) < within


def test_exchange_files_are_made_on_request_only() -> None:
    assert not set(EXCHANGE) & set(usual_products())
    assert set(EXCHANGE) <= set(PRODUCTS)


def test_dxf_opens_clean_in_its_own_unit_with_heights(site: Any) -> None:
    report, files = site
    document, auditor = recover.read(io.BytesIO(files["route.dxf"]))
    assert not auditor.errors
    assert not auditor.fixes
    # DXF reference, $INSUNITS: 2 feet, 6 metres, 21 US survey feet.
    units = {"ft": 2, "m": 6, "us_ft": 21}
    assert document.header["$INSUNITS"] == units[report.site.frame.unit_name]
    lines = document.modelspace().query('POLYLINE[layer ? "^LATERAL .*"]')
    assert len(lines) == len(recorded_stretches(report))
    drawn = np.array([tuple(each.dxf.location) for line in lines for each in line.vertices])
    frame, positions = report.site.frame, report.route.positions(report.route.chain.nodes_m)
    x, y = frame.from_plane(positions[:, 0], positions[:, 1])
    nodes = np.stack([x, y, positions[:, 2] / frame.unit_m], axis=-1)
    inside = report.route.chain.nodes_m <= report.stations.footage_m[-1]
    gaps = np.linalg.norm(nodes[inside][:, None] - drawn[None], axis=-1).min(axis=1)
    assert gaps.max() < 1e-5
    on_line([(s["x"], s["y"]) for s in stations(report)], drawn[:, :2], 1e-4)


def test_dxf_says_how_far_it_reaches(site: Any) -> None:
    _, files = site
    document, _ = recover.read(io.BytesIO(files["route.dxf"]))
    places = [
        tuple(place)
        for one in document.modelspace().query("POLYLINE LWPOLYLINE")
        for place in (
            one.vertices_in_wcs() if one.dxftype() == "LWPOLYLINE" else one.points_in_wcs()
        )
    ]
    low, high = (np.array(document.header[key]) for key in ("$EXTMIN", "$EXTMAX"))
    assert (np.array(places) >= low - 1e-6).all()
    assert (np.array(places) <= high + 1e-6).all()
    assert (high - low < 1e4).all()


def test_dxf_carries_what_the_standard_asks_of_each_stretch(site: Any) -> None:
    report, files = site
    document, _ = recover.read(io.BytesIO(files["route.dxf"]))
    for line in document.modelspace().query('POLYLINE[layer ? "^LATERAL .*"]'):
        facts = dict(
            value.split("=", 1) for code, value in line.get_xdata("LATERAL_MAP") if code == 1000
        )
        assert facts["quality_level"] == QUALITY_LEVEL
        assert "electromagnetic observation" in facts["method"] or "footage" in facts["method"]
        assert facts["date"] == report.site.date.isoformat()
        assert float(facts["horizontal_accuracy_95"]) > 0.0


def test_dxf_opens_in_gdal_too(site: Any, tmp_path: Path) -> None:
    report, files = site
    path = tmp_path / "route.dxf"
    path.write_bytes(files["route.dxf"])
    table = pyogrio.read_dataframe(path)
    lateral = table[table["Layer"].str.startswith("LATERAL")]
    assert len(lateral) == len(recorded_stretches(report))
    assert lateral.geometry.has_z.all()
    texts = set(table["Text"].dropna())
    for number, result in enumerate(report.findings, start=1):
        assert f"#{number} {result.finding.finding}" in texts


@pytest.mark.parametrize(
    "words",
    [
        "%%d %%c 50%%",
        "%%%%%",
        "a^Jb ^I",
        "\\U+0041 \\P",
        "é ± ½ …",
        "東京",
        "line\nbreak",
        "x" * 5000,
    ],
)
def test_dxf_words_carry_no_control_codes(words: str) -> None:
    plain = plain_text(words)
    assert plain.isascii()
    assert "%%" not in plain
    assert "^" not in plain
    assert "\\" not in plain
    assert "\n" not in plain
    assert len(plain) <= 240
    text = ezdxf.new().modelspace().add_text(plain)
    assert text.plain_text() == plain


def test_kml_reads_back_where_the_stations_are(site: Any) -> None:
    report, files = site
    kml = fastkml.KML.parse(io.BytesIO(files["route.kml"]))
    (document,) = kml.features
    folders = {folder.name: folder for folder in document.features}
    assert set(folders) == {
        "95 % corridor", "Dig buffer", "Lateral", "Crossings", "Findings", "Locates",
    }  # fmt: skip
    line = np.concatenate(
        [np.array(mark.geometry.coords)[:, :2] for mark in folders["Lateral"].features]
    )
    on_line([(s["lon"], s["lat"]) for s in stations(report)], line, 1e-9)
    (mark, *_) = folders["Lateral"].features
    data = {each.name: each.value for each in mark.extended_data.elements}
    assert data["quality_level"] == QUALITY_LEVEL
    assert len(folders["Findings"].features) == len(report.findings)


def test_kml_opens_in_gdal_too(site: Any, tmp_path: Path) -> None:
    report, files = site
    path = tmp_path / "route.kml"
    path.write_bytes(files["route.kml"])
    layers = {name for name, _ in pyogrio.list_layers(path)}
    assert {"Lateral", "Findings", "Locates"} <= layers
    assert len(pyogrio.read_dataframe(path, layer="Findings")) == len(report.findings)


def test_gpx_waypoints_are_where_they_should_be_on_the_earth(site: Any) -> None:
    report, files = site
    gpx = gpxpy.parse(files["marks.gpx"].decode())
    kinds = [point.type for point in gpx.waypoints]
    assert kinds.count("finding") == len(report.findings)
    assert kinds.count("locate") == len(report.site.locates)
    found = [point for point in gpx.waypoints if point.type == "finding"]
    records = result_record(report)["findings"]
    for point, record in zip(found, records, strict=True):
        apart = Geodesic.WGS84.Inverse(
            point.latitude, point.longitude, record["lat"], record["lon"]
        )
        assert apart["s12"] < 0.001
    assert all(point.elevation is None for point in gpx.waypoints)
    # The track is as long on the ellipsoid as the pipe is in plan.
    (track,) = gpx.tracks
    places = [(p.latitude, p.longitude) for p in track.segments[0].points]
    long = sum(Geodesic.WGS84.Inverse(*one, *other)["s12"] for one, other in pairwise(places))
    nodes = report.route.positions([report.stations.footage_m[0], *report.route.chain.nodes_m[1:]])[
        :, :2
    ]
    assert long == pytest.approx(float(np.hypot(*np.diff(nodes, axis=0).T).sum()), rel=5e-4)


@pytest.mark.parametrize(("product", "file"), [("flatgeobuf", "route.fgb")])
def test_flatgeobuf_reads_back_whole(site: Any, product: str, file: str, tmp_path: Path) -> None:
    report, files = site
    path = tmp_path / file
    path.write_bytes(files[file])
    table = pyogrio.read_dataframe(path)
    _same_stretches(table, report)
    assert table.crs.to_epsg() == int(report.site.frame.crs.removeprefix("EPSG:"))


def test_geoparquet_reads_back_whole_without_geopandas(site: Any) -> None:
    report, files = site
    table = pyarrow.parquet.read_table(io.BytesIO(files["route.parquet"]))
    geo = json.loads(table.schema.metadata[b"geo"])
    assert geo["version"] == "1.1.0"
    column = geo["columns"][geo["primary_column"]]
    assert column["encoding"] == "WKB"
    code = column["crs"]["id"]
    assert f"{code['authority']}:{code['code']}" == report.site.frame.crs
    frame = table.to_pandas()
    frame["geometry"] = shapely.from_wkb(frame["geometry"].to_numpy())
    _same_stretches(frame, report)


def _same_stretches(table: Any, report: Report) -> None:
    stretches = recorded_stretches(report)
    assert len(table) == len(stretches)
    frame = report.site.frame
    for row, stretch in zip(table.itertuples(), stretches, strict=True):
        coordinates = shapely.get_coordinates(row.geometry, include_z=True)
        x, y = frame.from_plane(stretch.vertices_m[:, 0], stretch.vertices_m[:, 1])
        assert coordinates[:, :2] == pytest.approx(np.stack([x, y], axis=-1), abs=1e-6)
        assert coordinates[:, 2] * frame.unit_m == pytest.approx(stretch.vertices_m[:, 2], abs=1e-6)
        assert row.basis == stretch.basis
        assert row.quality_level == QUALITY_LEVEL
        assert row.horizontal_accuracy_95 == stretch.record["horizontal_accuracy_95"]


LANDXML = "{http://www.landxml.org/schema/LandXML-1.2}"


def test_landxml_alignment_is_the_line_and_its_profile_the_invert(site: Any) -> None:
    report, files = site
    root = ET.fromstring(files["route.xml"])
    assert root.tag == f"{LANDXML}LandXML"
    assert root.get("version") == "1.2"
    units = {"ft": "foot", "us_ft": "USSurveyFoot", "m": "meter"}
    (system,) = root.find(f"{LANDXML}Units")
    assert system.get("linearUnit") == units[report.site.frame.unit_name]
    assert root.find(f"{LANDXML}CoordinateSystem").get("epsgCode") in report.site.frame.crs
    (alignment,) = root.iter(f"{LANDXML}Alignment")
    lines = list(alignment.iter(f"{LANDXML}Line"))
    ends = [
        tuple(
            tuple(float(v) for v in line.find(f"{LANDXML}{name}").text.split())
            for name in ("Start", "End")
        )
        for line in lines
    ]
    for before, after in pairwise(ends):
        assert before[1] == after[0]
    # Northing before easting.
    on_line(
        [(s["y"], s["x"]) for s in stations(report)],
        [*(begin for begin, _ in ends), ends[-1][1]], 1e-4,
    )  # fmt: skip
    long = sum(float(line.get("length")) for line in lines)
    assert float(alignment.get("length")) == pytest.approx(long, abs=1e-4)
    heights = [tuple(float(v) for v in pvi.text.split()) for pvi in alignment.iter(f"{LANDXML}PVI")]
    assert [at for at, _ in heights] == sorted({at for at, _ in heights})
    last = float(report.stations.elevation_m[-1]) / report.site.frame.unit_m
    assert heights[-1] == pytest.approx((long, last), abs=2e-4)


@pytest.mark.parametrize("product", ["kml", "gpx"])
def test_a_sketch_has_no_place_on_earth_to_write(sketch: Report, product: str) -> None:
    with pytest.raises(ExportError, match="tied to no place on earth"):
        make_products(sketch, [product])


def test_a_sketch_still_goes_to_cad_and_data(sketch: Report) -> None:
    files = make_products(sketch, ["dxf", "landxml", "flatgeobuf", "geoparquet"])
    document, auditor = recover.read(io.BytesIO(files["route.dxf"]))
    assert not auditor.errors
    assert document.header["$INSUNITS"] == 2
    assert b"tied to no place on earth" in files["route.xml"]


def test_stretches_join_end_to_end_and_say_the_worst_accuracy(sketch: Report) -> None:
    stretches = recorded_stretches(sketch)
    for before, after in pairwise(stretches):
        assert before.record["to"] == after.record["from"]
        assert before.vertices_m[-1] == pytest.approx(after.vertices_m[0])
    worst = max(each.record["horizontal_accuracy_95"] for each in stretches)
    assert worst * 0.3048 == pytest.approx(float(sketch.stations.semi_major_m.max()), abs=1e-6)
    assert {each.record["answers"] for each in stretches} == {"owner", "city"}
    assert {each.record["material"] for each in stretches} == {"clay", "pvc"}


def test_a_line_in_doubt_says_so_in_every_file(sketch: Report) -> None:
    other = sketch.route.positions(sketch.route.chain.nodes_m)
    first = replace(sketch.readings[0], verdict="suspect")
    doubtful = replace(
        sketch,
        route=replace(sketch.route, alternatives=(as_line(sketch.route, other),)),
        readings=(first, *sketch.readings[1:]),
    )
    for report, doubts in ((sketch, 0), (doubtful, 1)):
        assert {each.record["other_lines"] for each in recorded_stretches(report)} == {doubts}
        assert {each.record["suspect_readings"] for each in recorded_stretches(report)} == {doubts}
        drawing = make_products(report, ("dxf",))["route.dxf"].decode("ascii")
        assert drawing.count("ANOTHER LINE FITS") == doubts
        assert drawing.count("SUSPECT READINGS: 1") == doubts


def test_the_same_site_gives_the_same_bytes_in_another_process(made: Any, tmp_path: Path) -> None:
    _, files = made("plain_lot")
    script = (
        "import sys; from pathlib import Path\n"
        "from lateral_map import build_report, load_site\n"
        "from lateral_map.export.registry import write_products\n"
        f"write_products(build_report(load_site({str(DEMOS / 'plain_lot')!r})), Path(sys.argv[1]), "
        f"{EXCHANGE!r})"
    )
    environment = {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "PATH": "/usr/bin:/bin"}
    subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=True, env=environment)
    for name, content in files.items():
        assert (tmp_path / name).read_bytes() == content, name


def test_every_file_puts_each_finding_at_the_same_place_with_the_same_facts(
    site: Any, tmp_path: Path
) -> None:
    """To 0.001 ft, by another library each: result.json is what they are held against."""
    report, files = site
    files = files | make_products(report, ("geojson", "gpkg", "xlsx"))
    told = result_record(report)["findings"]
    unit_m = report.site.frame.unit_m
    near, degrees = 0.001 * FOOT / unit_m, 0.001 * FOOT / 6_400_000.0 * 57.3

    def beside(found: list[Any], keys: tuple[str, str], within: float) -> None:
        assert len(found) == len(told)
        for place, one in zip(found, told, strict=True):
            assert place == pytest.approx([one[keys[0]], one[keys[1]]], abs=within)

    (tmp_path / "route.gpkg").write_bytes(files["route.gpkg"])
    table = pyogrio.read_dataframe(tmp_path / "route.gpkg", layer="findings")
    beside([(one.x, one.y) for one in table.geometry], ("x", "y"), near)
    assert table["number"].tolist() == [one["number"] for one in told]
    assert table["verdict"].tolist() == [one["verdict"] for one in told]
    heights = report.route.positions([one.finding.footage_m for one in report.findings])[:, 2]
    assert [one.z for one in table.geometry] == pytest.approx(heights / unit_m, abs=near)
    layered = json.loads(files["route.geojson"])["features"]
    mapped = [one for one in layered if one["properties"]["layer"] == "findings"]
    beside([one["geometry"]["coordinates"] for one in mapped], ("lon", "lat"), degrees)
    document, _ = recover.read(io.BytesIO(files["route.dxf"]))
    points = document.modelspace().query('POINT[layer=="FINDINGS"]')
    beside([tuple(one.dxf.location)[:2] for one in points], ("x", "y"), near)
    facts = [
        dict(pair.value.split("=", 1) for pair in one.get_xdata("LATERAL_MAP")) for one in points
    ]
    assert [int(one["number"]) for one in facts] == [one["number"] for one in told]
    ours = {"l": "http://www.landxml.org/schema/LandXML-1.2"}
    root = ET.fromstring(files["route.xml"])
    marks = root.findall(".//l:CgPoint[@code='finding']", ours)
    beside([tuple(map(float, one.text.split()[1::-1])) for one in marks], ("x", "y"), near)
    assert len(root.findall(".//l:CgPoint[@code='crossing']", ours)) == len(report.crossings)
    said = [
        {each.get("label"): each.get("value") for each in one.iter(f"{{{ours['l']}}}Property")}
        for one in marks
    ]
    assert [one["verdict"] for one in said] == [one["verdict"] for one in told]
    sheet = openpyxl.load_workbook(io.BytesIO(files["tables.xlsx"]))["findings"]
    head, *rows = sheet.iter_rows(values_only=True)
    read = [dict(zip(head, row, strict=True)) for row in rows]
    beside([(one["x"], one["y"]) for one in read], ("x", "y"), near)
    footage = f"footage_{report.site.unit}"
    assert [one[footage] for one in read] == pytest.approx([one["footage"] for one in told])
    places = fastkml.KML.from_string(files["route.kml"]).features[0].features
    folder = next(one for one in places if one.name == "Findings")
    beside([one.geometry.coords[0][:2] for one in folder.features], ("lon", "lat"), degrees)
