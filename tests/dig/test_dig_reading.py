"""The tables of site.toml and the terrain model that the dig review reads."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from lateral_map.adjust.route import adjust_route
from lateral_map.errors import SiteError
from lateral_map.reading.folder import load_site

# rasterio itself still multiplies transforms the old way.
pytestmark = pytest.mark.filterwarnings("ignore::PendingDeprecationWarning")

FOOT = 0.3048
YARD3 = 0.9144**3
SITES = Path(__file__).parents[1] / "sites"
DEMOS = Path(__file__).parents[2] / "demo_sites"


@pytest.fixture
def sketch(tmp_path):
    folder = tmp_path / "site"
    shutil.copytree(SITES / "local_sketch", folder)
    return folder


def write_more(folder, text):
    path = folder / "site.toml"
    path.write_text(path.read_text("utf-8") + "\n" + text, "utf-8")
    return folder


def faults_of(folder):
    with pytest.raises(SiteError) as caught:
        load_site(folder)
    return [str(fault) for fault in caught.value.faults]


def test_reaches_rates_and_rules_are_read(sketch):
    site = load_site(
        write_more(
            sketch,
            """
[[reach]]
from = 2.0
to = 5.0
name = "by the gate"

[[dig_rule]]
rule = "protective system depth"
length = "4 ft"
citation = "State Plan, section 12.3"

[[dig_rule]]
rule = "slope B"
slope = 1.25
citation = "City code 7"

[[soil_layer]]
soil = "B"
to = "1 ft"

[[soil_layer]]
soil = "A"
to = "4 ft"

[rates]
currency = "USD"
excavate = [40, 75]
pipe = 30
lawn = [2, 3.5]
access_pit = 1800
""",
        )
    )
    (reach,) = site.reaches
    unit = {"ft": FOOT, "us_ft": 1200 / 3937, "m": 1.0}[site.unit]
    assert (reach.from_m, reach.to_m, reach.name) == (
        pytest.approx(2 * unit),
        pytest.approx(5 * unit),
        "by the gate",
    )
    rules = {one.key: one for one in site.dig.overrides}
    assert rules["protective system depth"].value == pytest.approx(4 * FOOT)
    assert rules["slope B"].value == 1.25
    assert rules["slope B"].citation == "City code 7"
    assert [(one.soil, round(one.to_m, 4)) for one in site.dig.layers] == [
        ("B", 0.3048), ("A", 1.2192),
    ]  # fmt: skip
    rates = {one.item: (one.low, one.high) for one in site.rates.rates}
    earth = unit**3 * (1.0 if site.unit == "m" else 27.0)
    assert rates["excavate"] == pytest.approx((40 / earth, 75 / earth))
    assert rates["pipe"] == pytest.approx((30 / unit, 30 / unit))
    assert rates["lawn"] == pytest.approx((2 / unit**2, 3.5 / unit**2))
    assert rates["access pit"] == (1800.0, 1800.0)
    assert site.rates.currency == "USD"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[reach]]\nfrom = 5\nto = 2", "ends before it begins"),
        ("[[reach]]\nfrom = 2\nto = 9000", "beyond the run's end"),
        ('[[dig_rule]]\nrule = "egres depth"\nlength = 4\ncitation = "x"', "egress depth"),
        ('[[dig_rule]]\nrule = "egress depth"\nslope = 4\ncitation = "x"', "write length"),
        ('[[dig_rule]]\nrule = "slope A"\nlength = 4\ncitation = "x"', "write slope"),
        ('[[dig_rule]]\nrule = "slope A"\nslope = 1', "citation"),
        ('[[soil_layer]]\nsoil = "C"\nto = 2\n[[soil_layer]]\nsoil = "B"\nto = 2', "no deeper"),
        ('[[soil_layer]]\nsoil = "D"\nto = 2', "soil_layer[1].soil"),
        ('[[soil_layer]]\nsoil = "B"', "soil_layer[1].to"),
        ("[rates]\nexcavate = [75, 40]", "least to a most"),
        ('[rates]\nexcavate = "cheap"', "not a number"),
        ("[rates]\nexcavat = 5", "excavate"),
        ('[terrain]\nunit = "yd"', "ft"),
    ],
)
def test_what_is_wrong_is_said(sketch, text, said):
    told = faults_of(write_more(sketch, text))
    assert any(said in one for one in told), told


def test_a_box_that_is_chosen_has_a_height(sketch):
    path = sketch / "site.toml"
    asked = path.read_text("utf-8").replace("[dig]", '[dig]\nwalls = "box and slope"', 1)
    path.write_text(asked, "utf-8")
    assert any("dig.box_height" in one and "8 ft" in one for one in faults_of(sketch))
    path.write_text(asked.replace("[dig]", '[dig]\nbox_height = "6 ft"', 1), "utf-8")
    assert load_site(sketch).dig.box_height_m == pytest.approx(6 * FOOT)


@pytest.fixture
def sloping(tmp_path):
    """A demo site without levels, and a terrain model that rises 1 in 20 to the east of it."""
    rasterio = pytest.importorskip("rasterio")
    folder = tmp_path / "site"
    shutil.copytree(DEMOS / "plain_lot", folder)
    site = load_site(folder)
    east, north = site.start.easting_m, site.start.northing_m
    x, y = site.frame.from_plane(np.array([east]), np.array([north]))
    cell = 2.0  # feet, the declared unit
    columns = rows = 300
    west, top = x[0] - cell * columns / 2, y[0] + cell * rows / 2
    transform = rasterio.Affine(cell, 0.0, west, 0.0, -cell, top)
    along = west + (np.arange(columns) + 0.5) * cell
    heights = np.tile(100.0 + 0.05 * (along - x[0]), (rows, 1))

    def write(**fields):
        options = {
            "driver": "GTiff", "height": rows, "width": columns, "count": 1, "dtype": "float64",
            "crs": site.frame.crs, "transform": transform, **fields,
        }  # fmt: skip
        with rasterio.open(folder / "ground.tif", "w", **options) as model:
            model.write(heights, 1)
            model.units = ("ft",)
        return folder

    return write


def test_the_ground_is_the_terrains(sloping):
    site = load_site(sloping())
    terrain = site.plan.terrain
    assert terrain is not None
    x, _ = site.frame.from_plane(terrain.points_m[:, 0], terrain.points_m[:, 1])
    x0, _ = site.frame.from_plane(
        np.array([site.start.easting_m]), np.array([site.start.northing_m])
    )
    # A plane is read off exactly by bilinear cells.
    assert terrain.points_m[:, 2] / FOOT == pytest.approx(100.0 + 0.05 * (x - x0[0]), abs=1e-6)
    route = adjust_route(site)
    footage = np.array([3.0, 12.0, 20.0])
    place = route.positions(footage)
    x, _ = site.frame.from_plane(place[:, 0], place[:, 1])
    ground = route.ground_elevation(footage) / FOOT
    assert ground == pytest.approx(100.0 + 0.05 * (x - x0[0]), abs=0.15)
    assert not route.ground.is_level
    assert any("ground.tif" in one for one in site.notices)


def test_measured_levels_come_before_the_terrain(sloping):
    folder = sloping()
    text = (folder / "site.toml").read_text("utf-8")
    (folder / "site.toml").write_text(text.replace("[start]", "[start]\nground = 52.0"), "utf-8")
    site = load_site(folder)
    assert site.plan.terrain is None
    assert any("left aside" in one for one in site.notices)


def test_terrain_that_covers_nothing_is_a_fault(sloping):
    rasterio = pytest.importorskip("rasterio")
    folder = sloping(transform=rasterio.Affine(2.0, 0.0, 0.0, 0.0, -2.0, 0.0))
    assert any("holds no heights" in one for one in faults_of(folder))


def test_terrain_that_is_no_raster_is_a_fault(sloping):
    folder = sloping()
    (folder / "ground.tif").write_bytes(b"not a raster")
    assert any("no raster" in one for one in faults_of(folder))


def test_a_sketch_can_have_no_terrain(sketch):
    (sketch / "ground.tif").write_bytes(b"anything")
    assert any('crs is "local"' in one for one in faults_of(sketch))
