"""The dig review's files, reopened by other readers, and its command."""

from __future__ import annotations

import csv
import io
import json
import math
import subprocess
import sys
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely
from drawings.builder import build
from drawings.test_style import contrast
from ezdxf import recover
from ezdxf.colors import aci2rgb

from lateral_map.cli.main import app
from lateral_map.dig_review import build_dig_review
from lateral_map.export.dig_files import (
    dig_features,
    dig_files,
    dig_geojson,
    dig_geopackage,
    refind_csv,
    refind_xlsx,
)
from lateral_map.export.dxf import dig_dxf
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report
from lateral_map.words.cautions import DIG_CAUTIONS
from lateral_map.words.excavator import dig_facts, key_name, summary_lines

ROOT = Path(__file__).parents[2]
DEMOS = ROOT / "demo_sites"
FOOT = 0.3048


@cache
def review_of(name):
    return build_dig_review(build_report(load_site(DEMOS / name)))


@pytest.fixture(params=["plain_lot", "garage_slab", "rising_ground"])
def review(request):
    return review_of(request.param)


def test_geojson_opens_elsewhere_in_the_right_place(review, tmp_path):
    path = tmp_path / "dig.geojson"
    path.write_text(dig_geojson(review), "utf-8")
    read = gpd.read_file(path)
    assert set(read["layer"]) >= {"cut", "white line", "tolerance zone", "key point"}
    site = review.report.site
    lon, lat = site.frame.plane_to_lonlat(site.start.easting_m, site.start.northing_m)
    west, south, east, north = read.total_bounds
    assert west - 0.01 < lon < east + 0.01
    assert south - 0.01 < lat < north + 0.01
    assert all(geometry.is_valid for geometry in read.geometry)


def test_geojson_areas_are_the_cuts(review):
    features = json.loads(dig_geojson(review))["features"]
    cuts = [f for f in features if f["properties"]["layer"] == "cut"]
    assert len(cuts) == 2 * len(review.reaches)
    plane = gpd.GeoDataFrame.from_features(cuts, crs="EPSG:4326").to_crs(
        gpd.GeoSeries.from_xy([review_lon(review)], [review_lat(review)], crs="EPSG:4326")
        .estimate_utm_crs()
    )  # fmt: skip
    areas = [
        cut.footprint.area
        for one in review.reaches
        for cut in (one.excavation.shored, one.excavation.sloped)
    ]
    # UTM shrinks areas by up to 8 in 10,000.
    assert plane.area.to_numpy() == pytest.approx(np.array(areas), rel=2e-3)


def review_lon(review):
    return float(json.loads(dig_geojson(review))["features"][-1]["geometry"]["coordinates"][0])


def review_lat(review):
    return float(json.loads(dig_geojson(review))["features"][-1]["geometry"]["coordinates"][1])


def test_rings_run_as_rfc_7946_asks(review):
    from shapely.geometry import shape

    for feature in json.loads(dig_geojson(review))["features"]:
        geometry = shape(feature["geometry"])
        for part in getattr(geometry, "geoms", [geometry]):
            if part.geom_type == "Polygon":
                assert part.exterior.is_ccw


def test_refind_table_reads_back(review):
    rows = list(csv.DictReader(io.StringIO(refind_csv(review).decode("utf-8-sig"))))
    assert len(rows) == len(review.refinds)
    unit = review.report.site.unit
    per = {"ft": FOOT, "us_ft": 1200 / 3937, "m": 1.0}[unit]
    for row, one in zip(rows, review.refinds, strict=True):
        assert row["key_point"] == key_name(one.key)
        for name, tape in zip(("tape1", "tape2"), one.tapes, strict=False):
            assert row[f"{name}_from"] == tape.point
            assert float(row[f"{name}_{unit}"]) * per == pytest.approx(tape.distance_m, abs=1e-3)


def test_tapes_on_the_sheet_meet_at_the_point(review):
    points = {p.name: p for p in review.report.site.plan.points}
    shifts = review.report.route
    for one in review.refinds:
        for tape in one.tapes:
            point, columns = points[tape.point], shifts.layout.point_columns(tape.point)
            moved = np.zeros(2) if columns is None else shifts.unknowns[columns]
            gap = math.hypot(
                one.easting_m - point.easting_m - moved[0],
                one.northing_m - point.northing_m - moved[1],
            )
            assert gap == pytest.approx(tape.distance_m, abs=1e-6)


def test_the_same_site_gives_the_same_bytes():
    name = "plain_lot"
    again = build_dig_review(build_report(load_site(DEMOS / name)))
    assert dig_files(review_of(name)) == dig_files(again)


def test_formulas_are_defused():
    review = build_dig_review(build(word="=1+1"))
    text = refind_csv(review).decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text)):
        assert not any(cell.startswith("=") for cell in row)


def test_a_sketch_says_that_it_is_one():
    review = build_dig_review(build(local=True))
    assert "tied to no place on earth" in json.loads(dig_geojson(review))["note"]


def test_summary_says_what_matters(review):
    said = "\n".join(summary_lines(review))
    for fact in dig_facts(review):
        assert fact.name in said
    for one in review.reaches:
        assert one.reach.name in said
        for part in one.reach.parts:
            assert part.party in said


def test_cautions_are_the_usual_ones():
    said = " ".join(DIG_CAUTIONS)
    for word in ("811", "Hand dig", "cave in", "competent person", "gas", "Local code"):
        assert word in said


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-c", "from lateral_map.cli.main import main; main()", *arguments],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


def test_the_command_writes_and_warns(tmp_path):
    done = run("dig", str(DEMOS / "garage_slab"), "--out", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {
        "dig.html",
        "dig.pdf",
        "dig.geojson",
        "dig.gpkg",
        "dig.dxf",
        "refind.csv",
        "refind.xlsx",
    }
    assert "BEFORE THE FIRST BUCKET" in done.stdout
    assert "Call 811" in done.stdout
    assert "Depth unknown" in done.stdout


def test_the_command_answers_for_a_bad_folder(tmp_path):
    done = run("dig", str(tmp_path))
    assert done.returncode == 2
    assert "site.toml" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_command_is_listed():
    assert "dig" in {command.callback.__name__ for command in app.registered_commands}


def test_every_sort_of_feature_is_a_styled_layer(review, tmp_path):
    path = tmp_path / "dig.gpkg"
    path.write_bytes(dig_geopackage(review))
    made = dig_features(review)
    layers = {name for name, _ in pyogrio.list_layers(path)} - {"layer_styles"}
    assert layers == {record["layer"].replace(" ", "_") for _, record in made}
    frame, near = review.report.site.frame, 0.001 * 0.3048 / review.report.site.frame.unit_m
    for name in layers:
        read = gpd.read_file(path, layer=name)
        wanted = [shape for shape, record in made if record["layer"].replace(" ", "_") == name]
        assert len(read) == len(wanted)
        for shape, there in zip(wanted, read.geometry, strict=True):
            x, y = frame.from_plane(*shape.centroid.coords[0][:2])
            assert math.dist((float(x), float(y)), there.centroid.coords[0]) < near
    styled = gpd.read_file(path, layer="layer_styles")
    assert set(styled["f_table_name"]) == layers


def test_the_drawing_holds_the_dig_on_layers_of_its_own_lettered_apart(review):
    made, plan = dig_features(review), review.report.site.plan
    document, auditor = recover.read(io.BytesIO(dig_dxf(review.report, made)))
    assert not auditor.errors
    space = document.modelspace()
    for sort, layer in (("white line", "DIG WHITE LINE"), ("key point", "DIG KEY POINT")):
        shapes = [shape for shape, record in made if record["layer"] == sort]
        rings = sum(
            1 if one.geom_type == "Point" else 1 + len(one.interiors)
            for shape in shapes
            for one in getattr(shape, "geoms", [shape])
        )
        assert len(space.query(f'LWPOLYLINE POINT[layer=="{layer}"]')) == rings
    colours = [
        one.dxf.color for one in document.layers
        if one.dxf.name.startswith(("LATERAL", "UTILITY", "DIG BUFFER", "CORRIDOR"))
    ]  # fmt: skip
    assert len(set(colours)) == len(colours)
    if not review.report.site.frame.is_local:
        code, _ = space.get_geodata().get_crs()
        assert f"EPSG:{code}" == review.report.site.frame.crs
    texts = list(space.query("TEXT"))
    assert len(texts) > 20
    named = {one.dxf.text for one in texts if one.dxf.rotation != 0.0}
    assert named <= {one.name for one in (*plan.lines, *plan.utilities)}
    boxes = [
        shapely.affinity.rotate(
            shapely.box(x, y, x + 0.75 * one.dxf.height * len(one.dxf.text), y + one.dxf.height),
            one.dxf.rotation, origin=(x, y),
        )
        for one in texts
        for x, y, _ in [one.dxf.insert]
    ]  # fmt: skip
    for k, box in enumerate(boxes):
        over = [texts[i].dxf.text for i in range(k) if box.intersects(boxes[i])]
        assert not over, (texts[k].dxf.text, over)


def test_the_drawing_is_seen_on_white_and_on_black(review):
    document, _ = recover.read(io.BytesIO(dig_dxf(review.report, dig_features(review))))
    space = document.modelspace()
    for layer in document.layers:
        shown = "#{:02x}{:02x}{:02x}".format(*aci2rgb(layer.dxf.color))
        # Index colour 7 is black on white and white on black: DXF reference, colour numbers.
        seen = [contrast(shown, ground) for ground in ("#000000", "#ffffff")]
        assert layer.dxf.color == 7 or min(seen) >= 3.0, layer.dxf.name
    for text in space.query("TEXT"):
        assert (text.dxf.color, text.dxf.linetype.upper()) == (7, "CONTINUOUS")
    (view,) = document.viewports.get_config("*Active")
    places = [
        place for one in space.query("LWPOLYLINE") for place in one.vertices()
    ] + [one.dxf.location.vec2 for one in space.query("POINT")]  # fmt: skip
    low, high = np.min(places, axis=0), np.max(places, axis=0)
    assert (np.abs(np.array(view.dxf.center)[:2] - (low + high) / 2.0) < 0.05 * (high - low)).all()
    assert view.dxf.height > (high - low)[1]


def test_the_workbook_says_what_the_table_says(review):
    rows = list(csv.DictReader(io.StringIO(refind_csv(review).decode("utf-8-sig"))))
    sheet = openpyxl.load_workbook(io.BytesIO(refind_xlsx(review)))["re-find"]
    head, *read = sheet.iter_rows(values_only=True)
    assert list(head) == list(rows[0])
    for row, there in zip(rows, read, strict=True):
        for said, value in zip(row.values(), there, strict=True):
            assert (
                (float(said) == value)
                if isinstance(value, float | int)
                else (said == (value or ""))
            )
        assert isinstance(there[2], float | int)
