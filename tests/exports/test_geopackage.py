"""route.gpkg opened without GDAL: SQLite and the GeoPackage 1.4 encoding standard, read by hand."""

from __future__ import annotations

import datetime as dt
import itertools
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from drawings.test_style import contrast
from pyproj import CRS

from lateral_map.errors import ExportError
from lateral_map.export.geopackage import route_geopackage
from lateral_map.export.layer_styles import DIG_LAYER_STYLES, LAYER_STYLES, style_qml
from lateral_map.model.results import Report

LAYERS = {
    "corridor", "buffer", "alternatives", "route", "stretches", "stations", "crossings", "findings",
    "locates", "plan_areas", "plan_lines", "utilities", "adjusted_lines", "plan_points", "answers",
}  # fmt: skip
# Bytes of the envelope by its indicator, OGC 12-128r19 clause 2.1.3.
ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


@pytest.fixture(scope="module")
def files(reports: dict[str, Report], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return route.gpkg of every site by its name."""
    made = {name: tmp_path_factory.mktemp(name) / "route.gpkg" for name in reports}
    for name, path in made.items():
        path.write_bytes(route_geopackage(reports[name]))
    return made


@pytest.fixture
def database(
    report: Report, reports: dict[str, Report], files: dict[str, Path]
) -> Iterator[sqlite3.Connection]:
    (path,) = (files[name] for name, one in reports.items() if one is report)
    with closing(sqlite3.connect(path)) as connection:
        yield connection


def geometry(blob: bytes) -> shapely.geometry.base.BaseGeometry:
    """Read a GeoPackageBinary: magic, version, flags, srs_id, envelope, then well-known binary."""
    assert blob[:2] == b"GP"
    return shapely.from_wkb(blob[8 + ENVELOPE_BYTES[(blob[3] >> 1) & 7] :])


def column(database: sqlite3.Connection, layer: str, name: str) -> list[object]:
    return [row[0] for row in database.execute(f'SELECT "{name}" FROM "{layer}"')]


def test_is_a_geopackage(database: sqlite3.Connection) -> None:
    assert database.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG")
    assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert not database.execute("PRAGMA foreign_key_check").fetchall()


def test_layers_are_declared(database: sqlite3.Connection) -> None:
    kinds = dict(database.execute("SELECT table_name, data_type FROM gpkg_contents"))
    assert {name for name, kind in kinds.items() if kind == "features"} == LAYERS
    assert kinds["layer_styles"] == "attributes"
    described = dict(database.execute("SELECT table_name, description FROM gpkg_contents"))
    assert all(described[name] for name in LAYERS)


def test_route_carries_invert_heights(report: Report, database: sqlite3.Connection) -> None:
    (blob,) = column(database, "route", "geom")
    assert isinstance(blob, bytes)
    written = shapely.get_coordinates(geometry(blob), include_z=True)
    s, frame = report.stations, report.site.frame
    x, y = frame.from_plane(s.easting_m, s.northing_m)
    assert len(written) == len(s.footage_m)
    np.testing.assert_allclose(written[:, 0], x, atol=1e-5)
    np.testing.assert_allclose(written[:, 1], y, atol=1e-5)
    np.testing.assert_allclose(written[:, 2], s.elevation_m / frame.unit_m, atol=1e-6)


def test_stretches_cover_the_route_once(report: Report, database: sqlite3.Connection) -> None:
    ends = database.execute('SELECT "from", "to" FROM stretches').fetchall()
    (route,) = database.execute('SELECT "from", "to" FROM route').fetchall()
    assert (ends[0][0], ends[-1][1]) == route
    assert all(first[1] == second[0] for first, second in itertools.pairwise(ends))


def test_rows_and_findings_match_the_report(report: Report, database: sqlite3.Connection) -> None:
    assert len(column(database, "stations", "footage")) == len(report.stations.footage_m)
    assert len(column(database, "crossings", "line")) == len(report.crossings)
    found = column(database, "findings", "finding")
    assert found == [result.finding.finding for result in report.findings]
    marks = column(database, "locates", "mark")
    assert marks == [locate.mark for locate in report.site.locates]


def test_buffer_holds_the_route(database: sqlite3.Connection) -> None:
    (route,), (buffer,) = column(database, "route", "geom"), column(database, "buffer", "geom")
    assert isinstance(route, bytes)
    assert isinstance(buffer, bytes)
    assert geometry(buffer).contains(shapely.force_2d(geometry(route)))


def test_declared_system_is_written(report: Report, database: sqlite3.Connection) -> None:
    (srs_id,) = database.execute(
        "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'route'"
    ).fetchone()
    wkt, organisation, code = database.execute(
        "SELECT definition, organization, organization_coordsys_id FROM gpkg_spatial_ref_sys "
        "WHERE srs_id = ?",
        [srs_id],
    ).fetchone()
    unit_m = CRS.from_wkt(wkt).axis_info[0].unit_conversion_factor
    assert unit_m == pytest.approx(report.site.frame.unit_m, rel=1e-12)
    if not report.site.frame.is_local:
        assert f"{organisation}:{code}" == report.site.frame.crs


def test_every_layer_opens_styled(database: sqlite3.Connection) -> None:
    rows = database.execute(
        "SELECT f_table_name, f_geometry_column, useAsDefault, styleQML, styleSLD FROM layer_styles"
    ).fetchall()
    assert {row[0] for row in rows} == LAYERS
    for layer, geometry_column, default, qml, sld in rows:
        assert (geometry_column, default) == ("geom", 1)
        renderer = ET.fromstring(qml).find("renderer-v2")
        assert renderer is not None
        symbols = {symbol.get("name") for symbol in renderer.iterfind("symbols/symbol")}
        categories = {each.get("symbol") for each in renderer.iterfind("categories/category")}
        assert categories <= symbols
        assert symbols
        attribute = renderer.get("attr")
        if attribute and column(database, layer, "fid"):
            values = {each.get("value") for each in renderer.iterfind("categories/category")}
            assert {value or "" for value in column(database, layer, attribute)} <= values
        rules = list(ET.fromstring(sld).iter("{http://www.opengis.net/se}Rule"))
        assert len(rules) == len(symbols)


def test_every_column_is_named_in_words_with_its_unit(
    report: Report, database: sqlite3.Connection
) -> None:
    for layer, qml in database.execute("SELECT f_table_name, styleQML FROM layer_styles"):
        held = [row[1] for row in database.execute(f'PRAGMA table_info("{layer}")')]
        shown = {
            each.get("field"): (int(each.get("index", "0")), each.get("name"))
            for each in ET.fromstring(qml).iterfind("aliases/alias")
        }
        # A desktop GIS counts the id first and the geometry not at all.
        columns = [name for name in held if name != "geom"]
        assert {name: columns.index(name) for name in shown} == {
            name: index for name, (index, _) in shown.items()
        }
        assert set(shown) == set(columns) - {"fid"} or not column(database, layer, "fid")
        for name in set(shown) & {"depth_to_invert", "past", "footage", "from", "depth_sd"}:
            assert shown[name][1] == f"{name.replace('_', ' ')} ({report.site.unit})"


def test_what_is_named_is_lettered(database: sqlite3.Connection) -> None:
    for layer, qml in database.execute("SELECT f_table_name, styleQML FROM layer_styles"):
        root = ET.fromstring(qml)
        lettered = root.get("labelsEnabled") == "1"
        assert lettered == (root.find("labeling") is not None)
        named = {"findings", "crossings", "locates", "plan_lines", "utilities", "plan_points"}
        assert lettered or layer not in named
        text = root.find("labeling/settings/text-style")
        if text is not None and text.get("isExpression") == "0":
            held = [row[1] for row in database.execute(f'PRAGMA table_info("{layer}")')]
            assert text.get("fieldName") in held or not column(database, layer, "fid")


def hexadecimal(colour: str) -> str:
    """Return the ``#rrggbb`` of a desktop GIS's ``r,g,b,alpha``."""
    return "#" + "".join(f"{int(part):02x}" for part in colour.split(",")[:3])


@pytest.mark.parametrize("ground", ["#000000", "#ffffff"])
def test_lines_marks_and_words_are_seen_on_any_ground(ground: str) -> None:
    """WCAG 2.1, 1.4.11: what has to be seen has a contrast of 3, words (1.4.3) one of 4.5."""
    for layer, style in {**LAYER_STYLES, **DIG_LAYER_STYLES}.items():
        root = ET.fromstring(style_qml(style, (), "ft"))
        # Ground cover is a backdrop, to be seen less than all else.
        symbols = root.iterfind("renderer-v2/symbols/symbol") if layer != "plan_areas" else ()
        for symbol in symbols:
            seen = [
                contrast(hexadecimal(value), ground)
                for prop in symbol.iter("prop")
                if prop.get("k") in {"line_color", "outline_color", "color"}
                and (value := prop.get("v", ""))
                # Nothing is seen of what lets more than half of its ground through.
                and int(value.split(",")[3]) > 127
            ]
            assert max(seen) >= 3.0, (layer, symbol.get("name"))
        for text in root.iter("text-style"):
            edge = text.find("text-buffer")
            assert edge is not None
            letters, around = (
                hexadecimal(one.get(key, ""))
                for one, key in ((text, "textColor"), (edge, "bufferColor"))
            )
            assert contrast(letters, around) >= 4.5


def test_a_crossing_lies_on_its_line_as_adjusted(
    report: Report, database: sqlite3.Connection
) -> None:
    lines = {
        name: geometry(blob)
        for name, blob in database.execute("SELECT name, geom FROM adjusted_lines")
    }
    near = 0.001 * 0.3048 / report.site.frame.unit_m
    met = [one for one in report.crossings if one.line in lines and one.carried_m == 0.0]
    places = database.execute("SELECT line, geom FROM crossings").fetchall()
    assert len(places) == len(report.crossings)
    for line, blob in places:
        if line in {one.line for one in met}:
            assert lines[line].distance(geometry(blob)) < near
    mapped = dict(database.execute("SELECT name, geom FROM plan_lines"))
    assert set(mapped) == {line.name for line in report.site.plan.lines}


def test_hostile_words_stay_words(hostile_report: Report, tmp_path: Path) -> None:
    path = tmp_path / "route.gpkg"
    path.write_bytes(route_geopackage(hostile_report))
    with closing(sqlite3.connect(path)) as database:
        (name,) = column(database, "route", "name")
    assert name == hostile_report.site.name


def test_no_room_is_said_plainly(
    reports: dict[str, Report], monkeypatch: pytest.MonkeyPatch
) -> None:
    import fiona
    from fiona.errors import DriverIOError

    def refuse(*_: object, **__: object) -> None:
        raise DriverIOError("disk full")

    monkeypatch.setattr(fiona, "open", refuse)
    with pytest.raises(ExportError, match=r"route\.gpkg: cannot be built"):
        route_geopackage(reports["plain_lot"])


def test_every_time_is_as_the_standard_writes_it(
    report: Report, database: sqlite3.Connection
) -> None:
    times = [row[0] for row in database.execute("SELECT last_change FROM gpkg_contents")]
    times += column(database, "layer_styles", "update_time")
    # OGC 12-128r19 clause 1.1.1.1.2, table 1: DATETIME is UTC, with or without a fraction.
    written = "{:%Y-%m-%d}T00:00:00.000Z"
    assert set(times) == {written.format(report.site.date or dt.date(1970, 1, 1))}
