"""More than a site can have is refused in one short message, before it costs anything."""

import json
import re
import tracemalloc
from pathlib import Path

import pytest
from reading.good_site import LAT, LON, feature, good_folder

from lateral_map.errors import SiteError
from lateral_map.reading.folder import load_site
from lateral_map.reading.limits import BYTES, FEATURES, LIMITS, ROWS, VERTICES

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
    many = [[LON + i * 1e-9, LAT] for i in range(VERTICES.most + 1)]
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
