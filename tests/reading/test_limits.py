"""More than a site can have is refused in one short message, before it costs anything."""

import json
import re
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from reading.good_site import LAT, LON, feature, good_folder
from shapely.geometry import LineString, Point

from lateral_map.errors import SiteError
from lateral_map.reading import plan as plan_reading
from lateral_map.reading.folder import load_site
from lateral_map.reading.limits import BYTES, CORNERS, FEATURES, LIMITS, ROWS, VERTICES

PAGE = Path(__file__).parents[2] / "docs/reference/site-format.md"


def faults_of(folder: Path) -> list[str]:
    with pytest.raises(SiteError) as caught:
        load_site(folder)
    return [str(fault) for fault in caught.value.faults]


def told(faults: list[str], limit) -> list[str]:
    return [one for one in faults if limit.what in one and f"{limit.most:,} is the most" in one]


@pytest.mark.parametrize("name", ROWS)
def test_a_table_of_too_many_rows_is_one_fault(tmp_path, name):
    folder = good_folder().write(tmp_path / "site")
    path = folder / name
    if name == "sketch.csv":  # a folder with a drawn plan has none
        path.write_text("what,from,to,distance\ntape,A,B,10\n")
    header, first = path.read_text().splitlines()[:2]
    path.write_text("\n".join([header, *[first] * (ROWS[name].most + 1)]))
    faults = [one for one in faults_of(folder) if one.startswith(name)]
    assert len(told(faults, ROWS[name])) == len(faults) == 1


def test_too_many_features_and_vertices_are_one_fault_each(tmp_path):
    folder = good_folder().write(tmp_path / "site")
    path = folder / "plan.geojson"
    plan = json.loads(path.read_text())
    many = [[LON, LAT]] * (VERTICES.most + 1)
    path.write_text(json.dumps({**plan, "features": [feature("LineString", many, kind="curb")]}))
    assert len(told(faults_of(folder), VERTICES)) == 1
    spot = feature("Point", [LON, LAT], kind="ground", z=1)
    path.write_text(json.dumps({**plan, "features": [spot] * (FEATURES.most + 1)}))
    assert len(told(faults_of(folder), FEATURES)) == 1


def test_a_file_beyond_the_largest_is_not_opened(tmp_path):
    folder = good_folder().write(tmp_path / "site")
    with (folder / "locates.csv").open("wb") as file:
        file.truncate(BYTES.most + 1)
    assert len(told(faults_of(folder), BYTES)) == 1


@pytest.mark.parametrize(
    "line", ["{0} = 1", "[{0}]", "[[{0}]]", "x = {{ {0} = 1 }}", '"a" . {0} = 1']
)
def test_a_key_of_many_parts_is_refused_before_it_is_built(tmp_path, line):
    folder = good_folder().write(tmp_path / "site")
    with (folder / "site.toml").open("a") as file:
        file.write("\n" + line.format(".".join(["a"] * 30_000)) + "\n")
    tracemalloc.start()
    faults = faults_of(folder)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(faults) == 1
    assert "parts in one key" in faults[0]
    assert peak < 50e6


@pytest.mark.parametrize("name", ["site.toml", *ROWS, "plan.geojson"])
def test_no_message_is_as_long_as_what_was_typed(tmp_path, name):
    folder = good_folder().write(tmp_path / "site")
    path = folder / name
    if name == "sketch.csv":
        path.write_text("what,name,from,to,distance,note\ntape,,pole,post,10,baseline\n")
    text = path.read_text()
    words = sorted(set(re.findall(r"[A-Za-z]{4,}", text)))
    for word in words:
        path.write_text(re.sub(rf"\b{word}\b", "n" * 70_000, text))
        try:
            said = load_site(folder).notices
        except SiteError as error:
            said = tuple(str(fault) for fault in error.faults)
        assert max(map(len, said), default=0) < 1_000, (name, word)


def test_the_reference_page_states_every_limit():
    page = PAGE.read_text()
    for limit in LIMITS:
        assert f"| {limit.what} | {limit.most:,} |" in page


def curb_of_many(folder: Path, count: int, wave: float) -> Path:
    """A site whose curb has ``count`` vertices: a wave (degrees) along it."""
    path = folder / "plan.geojson"
    plan = json.loads(path.read_text())
    curb = next(one for one in plan["features"] if one["properties"]["kind"] == "curb")
    given = np.array(curb["geometry"]["coordinates"])
    share = np.linspace(0.0, len(given) - 1.0, count)
    places = np.column_stack([np.interp(share, np.arange(len(given)), axis) for axis in given.T])
    places[1:-1, 0] += wave * np.where(np.arange(count - 2) % 2, 1.0, -1.0)
    curb["geometry"]["coordinates"] = places.tolist()
    path.write_text(json.dumps(plan))
    return folder


def curb_in(folder: Path) -> LineString:
    (curb,) = [one for one in load_site(folder).plan.lines if one.kind == "curb"]
    return LineString(curb.vertices_m)


def test_a_curb_of_very_many_vertices_is_the_same_curb(tmp_path):
    plain = curb_in(good_folder().write(tmp_path / "plain"))
    many = curb_in(curb_of_many(good_folder().write(tmp_path / "many"), 60_000, wave=0.0))
    assert len(many.coords) < 200
    assert max(plain.distance(Point(one)) for one in many.coords) < 0.001 + 1e-6
    # Vertices less than 1 cm apart are one: so much shorter it may be.
    assert many.hausdorff_distance(plain) < 0.01 + 1e-6


def test_a_scribble_that_cannot_be_thinned_is_refused(tmp_path):
    folder = curb_of_many(good_folder().write(tmp_path / "many"), 60_000, wave=1e-6)
    assert len(told(faults_of(folder), CORNERS)) == 1


def test_a_loop_among_very_many_vertices_is_seen(tmp_path):
    folder = curb_of_many(good_folder().write(tmp_path / "many"), 60_000, wave=0.0)
    path = folder / "plan.geojson"
    plan = json.loads(path.read_text())
    curb = next(one for one in plan["features"] if one["properties"]["kind"] == "curb")
    at = curb["geometry"]["coordinates"]
    x, y = at[30_000]
    loop = [[x + 2e-5, y + 2e-5], [x - 2e-5, y + 2e-5], [x + 2e-5, y - 2e-5]]
    curb["geometry"]["coordinates"] = at[:30_000] + loop + at[30_001:]
    path.write_text(json.dumps(plan))
    assert any("crosses itself" in one for one in faults_of(folder))


def test_thinning_moves_a_line_by_a_millimetre_at_most():
    along = np.arange(0.0, 400.0, 0.02)
    places = np.column_stack([along, 3.0 * np.sin(along / 7.0) + 0.0004 * np.cos(along * 50.0)])
    thin = plan_reading._vertices(LineString(places), np.zeros(2), 150.0)
    assert len(thin) < len(places) / 10
    near, far = places[places[:, 0] < 140.0], places
    line = LineString(thin)
    assert max(line.distance(Point(one)) for one in near[::5]) <= 0.001 + 1e-9
    assert max(line.distance(Point(one)) for one in far[::50]) <= 0.5 + 1e-9
    assert np.array_equal(thin[[0, -1]], places[[0, -1]])


def test_rows_beyond_the_most_are_not_even_read_and_blank_ones_do_not_count(tmp_path):
    folder = good_folder().write(tmp_path / "site")
    path = folder / "findings.csv"
    header, first = path.read_text().splitlines()[:2]
    path.write_text("\n".join([header, first]) + "\n" + ",,,\r\n" * 300_000)
    load_site(folder)
    path.write_text("\n".join([header, *[first] * 300_000]))
    tracemalloc.start()
    faults = faults_of(folder)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(told(faults, ROWS["findings.csv"])) == 1
    assert peak < 10 * path.stat().st_size


def test_unlikely_footages_are_noted_once_a_file(tmp_path):
    folder = good_folder().write(tmp_path / "site")
    site, findings = folder / "site.toml", folder / "findings.csv"
    site.write_text(re.sub(r"end_footage = .*", "end_footage = 4000", site.read_text()))
    findings.write_text("footage,finding\n3000,roots\n3500.5,roots\n4000,roots\n")
    notices = [one for one in load_site(folder).notices if "unlikely on a lateral" in one]
    assert notices == [
        "findings.csv: 2 footages from 3500.5 ft to 4000 ft are unlikely on a lateral."
    ]
    findings.write_text("footage,finding\n4000,roots\n")
    notices = [one for one in load_site(folder).notices if "unlikely on a lateral" in one]
    assert notices == ["findings.csv: a footage of 4000 ft is unlikely on a lateral."]
