"""Every output of a site says the same; ``python tests/agreement/run.py`` asks it of 300 sites."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from agreement.bar import check_everything, disagreements, make_everything
from agreement.sites import COVERING, write_site
from agreement.told import Told

_SHARED = 1


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> tuple[Told, dict[str, bytes]]:
    folder = tmp_path_factory.mktemp("site")
    write_site(folder, _SHARED)
    return make_everything(folder, papers=True)


@pytest.fixture(scope="module")
def made(everything: tuple[Told, dict[str, bytes]]) -> tuple[Told, dict[str, bytes]]:
    """Return the same without what takes long to read back."""
    told, files = everything
    return told, {name: files[name] for name in files if not name.endswith(".pdf")}


@pytest.mark.parametrize("seed", range(len(COVERING)))
def test_pages_and_files_say_what_result_json_says(
    tmp_path: Path, made: tuple[Told, dict[str, bytes]], seed: int
) -> None:
    if seed != _SHARED:
        write_site(tmp_path, seed)
        made = make_everything(tmp_path, papers=False)
    assert check_everything(*made) == []


def test_letters_sheet_and_owners_page_say_it_too(
    everything: tuple[Told, dict[str, bytes]],
) -> None:
    told, files = everything
    assert {"sheet.pdf", "owner.html"} < set(files)
    assert check_everything(told, files) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 4, 11])
def test_letters_of_other_sites_say_it_too(tmp_path: Path, seed: int) -> None:
    write_site(tmp_path, seed)
    assert disagreements(tmp_path, papers=True) == []


_FILES = ("route.geojson", "route.gpkg", "route.kml")
_SHOWN = ("map.html", "dig.html")


@pytest.mark.parametrize(
    ("of", "index", "key", "value", "products"),
    [
        ("findings", 1, "verdict", "inside", (*_FILES, *_SHOWN, "marks.gpx")),
        ("findings", 5, "verdict_line", "curb", (*_FILES, *_SHOWN, "marks.gpx")),
        ("findings", 5, "class", "feature", ("result.json", *_FILES)),
        ("findings", 5, "answers", ["city"], ("route.geojson", "route.gpkg", *_SHOWN)),
        ("findings", 5, "footage", 43.5, (*_FILES, *_SHOWN, "marks.gpx")),
        ("findings", 5, "depth_to_invert", 4.9, (*_FILES, *_SHOWN, "marks.gpx")),
        ("findings", 5, "finding", "roots", (*_FILES, *_SHOWN, "marks.gpx", "route.dxf")),
        ("crossings", 1, "footage", 55.5, (*_FILES, "map.html", "marks.gpx", "route.dxf")),
        (
            "crossings",
            1,
            "decides",
            False,
            ("route.geojson", "route.gpkg", "route.kml", "map.html"),
        ),
        ("responsibility", 1, "party", "county", ("map.html", "route.xml")),
        ("utilities", 0, "clearance", 9.0, ("dig.html", "dig.geojson")),
        ("utilities", 0, "in_trench", False, ("result.json", "dig.html", "dig.geojson")),
        ("utilities", 0, "name", "another", ("dig.html", "dig.geojson")),
        ("stations", 7, "depth_to_invert", 9.0, ("stations.csv",)),
    ],
)
def test_a_fact_that_were_otherwise_would_be_noticed(
    made: tuple[Told, dict[str, bytes]],
    of: str,
    index: int,
    key: str,
    value: object,
    products: tuple[str, ...],
) -> None:
    told, files = made
    result = copy.deepcopy(told.result)
    assert result[of][index][key] != value
    result[of][index][key] = value
    said = check_everything(Told(result, told.site), files)
    assert {
        product for product in products if not any(s.startswith(product) for s in said)
    } == set()


def test_findings_that_changed_numbers_would_be_noticed(
    made: tuple[Told, dict[str, bytes]],
) -> None:
    told, files = made
    result = copy.deepcopy(told.result)
    one, other = result["findings"][1], result["findings"][5]
    one["number"], other["number"] = other["number"], one["number"]
    said = check_everything(Told(result, told.site), files)
    for product in (*_FILES, *_SHOWN, "marks.gpx", "route.dxf", "result.json"):
        assert any(each.startswith(product) for each in said), product
