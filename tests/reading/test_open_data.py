"""Open geodata to a plan: what is chosen, what is asked, what is kept."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import ezdxf
import geopandas
import numpy as np
import pyogrio
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

from lateral_map import load_site
from lateral_map.errors import SiteError
from lateral_map.reading.open_data import (
    Chosen,
    Layer,
    OpenPlan,
    break_ring,
    find_place,
    gather_plan,
)
from lateral_map.reading.open_site import (
    Said,
    find_layers,
    merge_plan,
    place_meant,
    remember,
    site_crs,
    start_site,
)
from lateral_map.words.notices import origin_words

CRS = "EPSG:32617"
EAST, NORTH = 300_000.0, 4_500_000.0
SAID = Said("0.5 m", "A made-up register", "2026-01-02", "made up")
RULES = ("buildings=building", "plots=lot", "streets=street")

# Three plots in a row, the street south of them, as a gap between plots.
PLOTS = [box(0, 0, 20, 40), box(20, 0, 40, 40), box(40, 0, 60, 40), box(0, 40, 60, 80)]
ACROSS = box(0, -55, 60, -15)
HOUSE, SHED = box(24, 12, 36, 22), box(25, 32, 28, 35)
STREET = LineString([(-60, -7), (120, -7)])


def moved(shape):
    from shapely.affinity import translate

    return translate(shape, EAST, NORTH)


def lonlat(x: float, y: float) -> tuple[float, float]:
    at = geopandas.GeoSeries.from_xy([EAST + x], [NORTH + y], crs=CRS).to_crs(4326)[0]
    return at.x, at.y


def data(
    folder: Path, *, plots=(*PLOTS, ACROSS), buildings=(HOUSE, SHED), streets=(STREET,), crs=CRS
) -> Path:
    path = folder / "open.gpkg"
    pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})  # no disk to wait for
    for name, shapes in (("plots", plots), ("buildings", buildings), ("streets", streets)):
        if shapes is None:
            continue
        fields = {"address": [f"{name} {i}" for i in range(len(shapes))]}
        frame = geopandas.GeoDataFrame(fields, geometry=[moved(s) for s in shapes], crs=crs)
        frame.to_file(path, layer=name)
    return path


def layers(folder: Path, path: Path, said: Said = SAID, rules=RULES) -> list[Layer]:
    return find_layers([path], rules, said, folder, None)


def drawn(folder: Path, at=(30.0, 17.0), chosen: Chosen | None = None, **made) -> OpenPlan:
    path = data(folder, **made)
    return gather_plan(layers(folder, path), lonlat(*at), 60.0, "", chosen)


def names(plan: OpenPlan, kind: str) -> list[str]:
    return sorted(
        one["properties"]["name"] for one in plan.features if one["properties"]["kind"] == kind
    )


def test_a_lot_is_drawn_named_and_measured(tmp_path: Path) -> None:
    plan = drawn(tmp_path)
    assert names(plan, "right_of_way") == ["street edge"]
    assert names(plan, "property_line") == ["east lot line", "north lot line", "west lot line"]
    assert names(plan, "reference") == [
        "house NE corner", "house NW corner", "house SE corner", "house SW corner",
    ]  # fmt: skip
    assert names(plan, "building") == ["building", "house"]
    assert (plan.crs, abs(plan.stretch - 1.0) <= 0.002) == (CRS, True)
    assert all(one["properties"]["source"] == SAID.source for one in plan.features)


def test_the_site_it_begins_is_read_and_nothing_in_it_decides(tmp_path: Path) -> None:
    plan = drawn(tmp_path)
    site = tmp_path / "site"
    site.mkdir()
    (site / "plan.geojson").write_bytes(merge_plan(site, plan, replaces=False)[0])
    (site / "site.toml").write_bytes(start_site(site, plan))
    read = load_site(site)
    assert [one.line for one in read.boundaries if not one.decides] == ["street edge"]
    assert len(read.plan.points) == 4
    ends = read.plan.line("street edge").vertices_m
    assert np.hypot(*(ends[-1] - ends[0])) == pytest.approx(20.0, rel=1e-3)
    assert any("no boundary survey" in one and SAID.licence in one for one in read.notices)
    assert place_meant(site, [], "", "") == pytest.approx(lonlat(30.0, 17.0), abs=1e-6)
    assert site_crs(site) == CRS
    (said,) = origin_words(read)
    assert SAID.source in said
    assert "no boundary survey" in said


@pytest.mark.parametrize(
    ("what", "made", "says"),
    [
        ("open sides and no layer of streets", {"plots": PLOTS[:2], "streets": None},
         "which side of the lot"),
        ("half of what is open on no street", {"plots": PLOTS[:2]}, "which side of the lot"),
        ("no street", {"streets": (LineString([(-60, 900), (9, 900)]),)}, "which side of the lot"),
        ("two houses", {"buildings": (box(22, 12, 29, 22), box(31, 12, 38, 22)), "at": (30, 30)},
         "which building"),
        ("beside the lots", {"at": (30.0, -5.0)}, "which lot"),
        ("on the line", {"buildings": (box(15, 12, 27, 22),), "at": (21, 17)}, "which lot"),
        ("far off", {"at": (3000.0, 0.0)}, "none lies in reach"),
    ],
)  # fmt: skip
def test_what_is_not_plain_is_asked(tmp_path: Path, what: str, made, says: str) -> None:
    with pytest.raises(SiteError, match=says):
        drawn(tmp_path, **made)


def test_a_corner_lot_has_both_its_street_edges_and_says_so(tmp_path: Path) -> None:
    made = {"plots": (*PLOTS[:2], PLOTS[3]), "streets": (STREET, LineString([(50, -60), (50, 99)]))}
    plan = drawn(tmp_path, **made)
    assert names(plan, "right_of_way") == ["east street edge", "south street edge"]
    assert names(plan, "property_line") == ["north lot line", "west lot line"]
    assert any("more than one street edge" in one for one in plan.said)
    begun = start_site(tmp_path, plan).decode()
    assert begun.count("\n[[boundary]]") == 2
    assert "\ndecides" not in begun


def test_a_lot_with_plots_all_round_has_no_street_edge_and_says_so(tmp_path: Path) -> None:
    plan = drawn(tmp_path, plots=(*PLOTS, box(-60, -5, 90, 0), ACROSS))
    assert not plan.street_edges
    assert not names(plan, "right_of_way")
    assert len(names(plan, "property_line")) == 4
    assert any("no street edge is proposed" in one for one in plan.said)
    site = tmp_path / "site"
    site.mkdir()
    (site / "plan.geojson").write_bytes(merge_plan(site, plan, replaces=False)[0])
    (site / "site.toml").write_bytes(start_site(site, plan))
    assert not load_site(site).boundaries


def test_a_jogged_front_is_one_street_edge(tmp_path: Path) -> None:
    front = [(20, 0), (26, 0), (26, 3), (32, 3), (32, 0), (40, 0)]
    lot = Polygon([*front, (40, 40), (20, 40)])
    plan = drawn(tmp_path, plots=(PLOTS[0], lot, *PLOTS[2:], ACROSS))
    assert names(plan, "right_of_way") == ["street edge"]
    edge = next(one for one in plan.features if one["properties"]["name"] == "street edge")
    assert len(edge["geometry"]["coordinates"]) == len(front)


@pytest.mark.parametrize("reach", [-5.0, 0.0, 1e9, float("nan")])
def test_a_reach_that_holds_no_lot_is_refused(reach: float) -> None:
    with pytest.raises(SiteError, match="no reach for a lot"):
        gather_plan([], lonlat(30, 17), reach)


def test_an_answer_to_what_was_not_asked_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="leave --house out"):
        drawn(tmp_path, chosen=Chosen(house=2))


def test_an_answer_settles_it(tmp_path: Path) -> None:
    made = {"plots": PLOTS[:2]}
    with pytest.raises(SiteError) as asked:
        drawn(tmp_path, **made)
    numbers = {part.split(":")[0].strip()[-1] for part in str(asked.value).split(";")}
    assert {"2", "3", "4"} <= numbers
    plans = [drawn(tmp_path, chosen=Chosen(street=number), **made) for number in (1, 3)]
    edges = [
        str(one["geometry"])
        for plan in plans
        for one in plan.features
        if one["properties"]["name"] == "street edge"
    ]
    assert len(edges) == len(set(edges)) == 2


def test_the_small_building_beside_is_not_the_house(tmp_path: Path) -> None:
    plan = drawn(tmp_path, at=(30.0, 27.0))  # in the yard, between them
    house = next(one for one in plan.features if one["properties"]["name"] == "house")
    assert len(house["geometry"]["coordinates"][0]) == 5
    assert "120 m²" in " ".join(plan.said)


def test_shapes_are_mended_and_counted(tmp_path: Path) -> None:
    bow = Polygon([(62, 0), (70, 10), (70, 0), (62, 10)])
    pair = MultiPolygon([box(22, 24, 24, 26), box(36, 24, 38, 26)])
    high = Polygon([(x, y, 9.0) for x, y in HOUSE.exterior.coords])
    plan = drawn(tmp_path, buildings=(high, bow, pair))
    assert plan.counts["outlines repaired"] == 1
    assert plan.counts["heights dropped"] == 1
    assert plan.counts["split into single parts"] == 2


def test_only_the_window_is_drawn(tmp_path: Path) -> None:
    many = [box(x, 500, x + 5, 505) for x in range(0, 2000, 10)]
    plan = drawn(tmp_path, buildings=(HOUSE, *many))
    assert names(plan, "building") == ["house"]


def test_a_layer_without_a_system_and_what_is_unsaid_are_refused(tmp_path: Path) -> None:
    path = data(tmp_path)
    frame = geopandas.read_file(path, layer="buildings").set_crs(None, allow_override=True)
    other = tmp_path / "bare.geojson"
    with pytest.warns(UserWarning, match="crs"):
        frame.to_file(tmp_path / "bare.shp")
    bare = find_layers([tmp_path / "bare.shp"], ["bare=building"], SAID, tmp_path, None)
    with pytest.raises(SiteError, match="does not say its coordinate system"):
        gather_plan(bare, lonlat(30, 17), 60.0)
    with pytest.raises(SiteError) as refused:
        find_layers([path, other], ["plots=field", "streets"], Said(), tmp_path, None)
    told = [str(fault) for fault in refused.value.faults]
    for words in ("'field' is no kind", "accuracy of the layer", "licence of the layer",
                  "nothing says what 'buildings' is", "is no rule", "no vector file"):  # fmt: skip
        assert any(words in one for one in told), words


def test_how_layers_are_read_is_remembered(tmp_path: Path) -> None:
    path = data(tmp_path)
    first = layers(tmp_path, path)
    (tmp_path / "open_data.toml").write_bytes(remember(first, tmp_path))
    assert find_layers([path], [], Said(), tmp_path, None) == first


def closed(shape: Polygon) -> LineString:
    return LineString(shape.exterior.coords)


def test_any_file_that_holds_the_district_gives_the_same_plan(tmp_path: Path) -> None:
    path = data(tmp_path)
    wanted = gather_plan(layers(tmp_path, path), lonlat(30, 17), 60.0)
    kinds = {"plots": "lot", "buildings": "building", "streets": "street"}
    shapes, drawing, flat = tmp_path / "shapes", [], []
    shapes.mkdir()
    for name in kinds:
        frame = geopandas.read_file(path, layer=name)
        frame.to_file(shapes / f"{name}.shp")
        flat.append(tmp_path / f"{name}.fgb")
        frame.to_file(flat[-1])
        lines = frame.geometry if name == "streets" else map(closed, frame.geometry)
        drawing += [(name, line) for line in lines]
    with zipfile.ZipFile(tmp_path / "a {folder} in it!.zip", "w") as archive:
        for one in shapes.iterdir():
            archive.write(one, f"district/2026 01/{one.name}")
            archive.writestr(f"__MACOSX/district/2026 01/._{one.name}", b"another machine's notes")
        archive.writestr("district/metadata.json", '{"contact": "a made-up desk"}')
    with zipfile.ZipFile(tmp_path / "flat!.zip", "w") as archive:
        for one in shapes.iterdir():
            archive.write(one, one.name)
    archived = [tmp_path / "a {folder} in it!.zip"]
    document = ezdxf.new()
    for name, line in drawing:
        document.modelspace().add_lwpolyline(list(line.coords), dxfattribs={"layer": name})
    document.saveas(tmp_path / "drawing.dxf")
    drawn_rules = [f"entities[Layer={name}]={kind}" for name, kind in kinds.items()]
    told = Said("0.5 m", "A made-up register", "2026-01-02", "made up", CRS)
    for files, rules in (
        (archived, RULES),
        ([tmp_path / "flat!.zip"], RULES),
        (flat, RULES),
        ([tmp_path / "drawing.dxf"], drawn_rules),
    ):
        found = gather_plan(find_layers(files, rules, told, tmp_path, None), lonlat(30, 17), 60.0)
        shown = [one["properties"]["name"] for one in found.features]
        assert sorted(shown) == sorted(one["properties"]["name"] for one in wanted.features)
        assert found.run_m == pytest.approx(wanted.run_m, abs=0.1)
    assert found.counts["closed lines taken as outlines"] == 7


def osm(path: Path) -> Path:
    """Write an OpenStreetMap extract: two buildings, a street, a footway nearer than it."""
    nodes, ways = [], []
    footway = LineString([(-60, -2), (120, -2)])
    for shape, tag, value in (
        (HOUSE, "building", "house"), (SHED, "building", "shed"),
        (STREET, "highway", "residential"), (footway, "highway", "footway"),
    ):  # fmt: skip
        line = closed(shape) if isinstance(shape, Polygon) else shape
        first = len(nodes) + 1
        for x, y in list(line.coords)[: -1 if line.is_closed else None]:
            lon, lat = lonlat(x, y)
            nodes.append(f'<node id="{len(nodes) + 1}" lat="{lat:.8f}" lon="{lon:.8f}"/>')
        numbers = [*range(first, len(nodes) + 1), *([first] if line.is_closed else [])]
        of = "".join(f'<nd ref="{one}"/>' for one in numbers)
        tags = f'<tag k="{tag}" v="{value}"/>'
        ways.append(f'<way id="{900 + len(ways)}">{of}{tags}</way>')
    path.write_text(f'<osm version="0.6">{"".join(nodes + ways)}</osm>')
    return path


def test_an_openstreetmap_extract_needs_no_rules(tmp_path: Path) -> None:
    found = find_layers([osm(tmp_path / "small.osm")], [], SAID, tmp_path, None)
    plan = gather_plan(found, lonlat(30, 17), 60.0)
    assert names(plan, "building") == ["house"]
    assert names(plan, "centreline") == ["street centreline"]  # the footway is none
    assert plan.aims_at == "the nearest street"
    assert len(names(plan, "reference")) == 4
    (tmp_path / "open_data.toml").write_bytes(remember(found, tmp_path))
    assert find_layers([tmp_path / "small.osm"], [], SAID, tmp_path, None) == found


def test_what_cannot_be_read_on_the_way_is_one_fault_of_its_file(tmp_path: Path) -> None:
    whole = osm(tmp_path / "whole.osm").read_text()
    (tmp_path / "cut.osm").write_text(whole[: len(whole) // 2])
    path = data(tmp_path)
    ruled = [*RULES[:2], "streets[kind=road]=street"]
    for files, rules, says in (
        ([tmp_path / "cut.osm"], [], "cut.osm: the layer '[a-z]+' cannot be read"),
        ([path], ruled, "open.gpkg: the layer 'streets' has no field 'kind'; it has 'address'"),
    ):
        with pytest.raises(SiteError, match=says):
            gather_plan(find_layers(files, rules, SAID, tmp_path, None), lonlat(30, 17), 60.0)


def test_another_file_leaves_what_is_remembered_of_the_first(tmp_path: Path) -> None:
    path = data(tmp_path)
    first = layers(tmp_path, path)
    (tmp_path / "open_data.toml").write_bytes(remember(first, tmp_path))
    second = find_layers([osm(tmp_path / "small.osm")], [], SAID, tmp_path, None)
    (tmp_path / "open_data.toml").write_bytes(remember(second, tmp_path))
    assert find_layers([path], [], Said(), tmp_path, None) == first
    assert find_layers([tmp_path / "small.osm"], [], Said(), tmp_path, None) == second


def test_a_rule_may_speak_of_every_other_layer_and_what_has_no_such_shape_is_counted(
    tmp_path: Path,
) -> None:
    path = data(tmp_path)
    found = layers(tmp_path, path, rules=("buildings=building", "plots=curb", "*=skip"))
    plan = gather_plan(found, lonlat(30, 17), 60.0)
    assert [one.kind for one in found] == ["curb", "building", "skip"]
    assert plan.counts["of no shape that a curb has, left out"] == len(PLOTS) + 1
    assert not names(plan, "curb")


def test_the_house_is_found_by_a_field(tmp_path: Path) -> None:
    found = layers(tmp_path, data(tmp_path))
    place = place_meant(tmp_path, found, "", "address=buildings 0")
    assert place == pytest.approx(lonlat(30.0, 17.0), abs=1e-6)
    with pytest.raises(SiteError, match="no features have"):
        place_meant(tmp_path, found, "", "address=nowhere")


def test_what_is_drawn_by_hand_stays_and_nothing_is_overwritten_untold(tmp_path: Path) -> None:
    plan, site = drawn(tmp_path), tmp_path / "site"
    site.mkdir()
    own = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": list(lonlat(24.0, 12.0))},
        "properties": {"kind": "reference", "name": "house SW corner"},
    }
    begun = json.dumps({"type": "FeatureCollection", "features": [own]})
    (site / "plan.geojson").write_text(begun)
    text, kept, replaced = merge_plan(site, plan, replaces=False)
    assert (kept, replaced) == (1, 0)
    assert names(plan, "reference").count("house SW corner 2") == 1
    (site / "plan.geojson").write_bytes(text)
    again = drawn(tmp_path)
    with pytest.raises(SiteError, match="are there already"):
        merge_plan(site, again, replaces=False)
    text, kept, replaced = merge_plan(site, again, replaces=True)
    assert (kept, replaced) == (1, len(plan.features))
    assert json.loads(text)["features"][0] == own


def test_a_stretched_system_is_not_taken(tmp_path: Path) -> None:
    path = data(tmp_path)
    for name in ("plots", "buildings", "streets"):
        frame = geopandas.read_file(path, layer=name).to_crs(3857)
        frame.to_file(tmp_path / "web.gpkg", layer=name)
    found = layers(tmp_path, tmp_path / "web.gpkg")
    plan = gather_plan(found, lonlat(30, 17), 60.0)
    assert plan.crs == CRS
    with pytest.raises(SiteError, match=r"more than 0\.2 %"):
        gather_plan(found, lonlat(30, 17), 60.0, "EPSG:3857")


@given(
    st.lists(st.floats(0.3, 1.0), min_size=5, max_size=14),
    st.floats(0.0, 6.0),
    st.floats(0.05, 40.0),
)
def test_sides_make_up_the_outline_each_open_and_once(
    reaches: list[float], turn: float, size: float
) -> None:
    angles = turn + np.linspace(0.0, 2.0 * np.pi, len(reaches), endpoint=False)
    points = size * np.array(reaches)[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    ring = np.vstack([points, points[:1]])
    sides = break_ring(ring)
    assert all(not np.allclose(side[0], side[-1]) for side in sides)
    whole = MultiLineString(sides)
    assert whole.length <= LineString(ring).length + 1e-9
    assert all(whole.distance(Point(place)) <= 0.15 + 1e-9 for place in ring)
    for side, after in zip(sides, [*sides[1:], sides[0]], strict=True):
        assert side[-1] == pytest.approx(after[0])


def test_an_extract_whose_nodes_stand_in_no_order_is_read(tmp_path: Path) -> None:
    """The .pbf that pyogrio's wheel carries for its own tests (OpenStreetMap data, ODbL)."""
    extract = Path(pyogrio.__file__).parent / "tests" / "fixtures" / "sample.osm.pbf"
    layers = find_layers([extract], [], SAID, tmp_path, None)
    lon, lat = find_place(layers, "name", "Greenacres")
    assert (round(lon, 2), round(lat, 2)) == (-0.23, 51.77)
