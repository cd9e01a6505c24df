"""Words of the trade and of people: taken for what they mean, never guessed for another thing."""

import json

import geopandas
import pytest
from reading.good_site import good_folder

from lateral_map.errors import SiteError
from lateral_map.model.site import Material
from lateral_map.reading.fields import MATERIAL_NAMES
from lateral_map.reading.folder import load_site

SPLIT = """
[[boundary]]
at = "main"
inside = "{0}"
outside = "county"
"""


def with_material(tmp_path, word):
    folder = good_folder().write(tmp_path / "site")
    path = folder / "site.toml"
    head, _, rest = path.read_text().partition("material = ")
    path.write_text(f'{head}material = "{word}"\n{rest.partition(chr(10))[2]}')
    return folder


@pytest.mark.parametrize(("word", "meant"), MATERIAL_NAMES.items())
def test_a_trade_name_is_its_material(tmp_path, word, meant):
    for spelt in (word, word.upper(), word.replace(" ", "-")):
        folder = with_material(tmp_path / spelt.replace(" ", "_"), spelt)
        assert load_site(folder).pipes[0].material == meant


@pytest.mark.parametrize(
    "word", ["copper", "vcpx", "lead", "grp", "stainless", "iron", "truss", "tile", "sch 40"]
)
def test_another_material_is_not_asked_back_as_one_of_ours(tmp_path, word):
    with pytest.raises(SiteError) as caught:
        load_site(with_material(tmp_path, word))
    (said,) = map(str, caught.value.faults)
    assert "did you mean" not in said
    assert "'clay'" in said


def test_every_trade_name_is_of_a_known_material():
    assert set(MATERIAL_NAMES.values()) <= set(Material.__args__)


def test_parties_apart_in_letter_case_are_one(tmp_path):
    folder = good_folder().write(tmp_path / "site")
    path = folder / "site.toml"
    before = load_site(folder).boundaries
    first = before[0].outside
    path.write_text(path.read_text() + SPLIT.format(first.upper()))
    site = load_site(folder)
    assert site.boundaries[-1].inside == first
    assert any(first.upper() in one and first in one for one in site.notices)


@pytest.mark.parametrize("name", ["locates.csv", "findings.csv", "bends.csv", "plan.geojson"])
def test_a_file_with_a_hidden_ending_is_named(tmp_path, name):
    folder = good_folder().write(tmp_path / "site")
    (folder / name).rename(folder / f"{name}.txt")
    with pytest.raises(SiteError) as caught:
        load_site(folder)
    assert any(
        str(one).startswith(f"{name}.txt: this file is not read") for one in caught.value.faults
    )


@pytest.mark.parametrize("written", ["5/4/2026", "05-04-26", "4.5.2026"])
def test_another_order_of_a_date_gets_an_example(tmp_path, written):
    folder = good_folder().write(tmp_path / "site")
    path = folder / "site.toml"
    text = path.read_text()
    lines = [f"date = {written}" if one.startswith("date") else one for one in text.splitlines()]
    path.write_text("\n".join(lines))
    with pytest.raises(SiteError) as caught:
        load_site(folder)
    assert any("2026-05-04" in str(one) for one in caught.value.faults)


def test_a_folder_whose_name_has_an_exclamation_mark(tmp_path):
    folder = good_folder().write(tmp_path / "lot! 7!")
    whole = load_site(folder)
    plan = json.loads((folder / "plan.geojson").read_text())
    layer = geopandas.GeoDataFrame.from_features(plan, crs=4326).to_crs(whole.frame.crs)
    (folder / "plan.geojson").unlink()
    beside = tmp_path / "plan.gpkg"
    layer.to_file(beside, driver="GPKG")
    beside.rename(folder / "plan.gpkg")
    assert {one.name for one in load_site(folder).plan.lines} == {
        one.name for one in whole.plan.lines
    }
