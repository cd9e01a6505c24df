"""A good folder becomes a site: metres in the plane, defaults, senses, notices."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod
from reading.good_site import LAT, LON, Folder, at, feature, good_folder

from lateral_map.errors import SiteError
from lateral_map.model.lines import signed_offsets
from lateral_map.model.site import AlongTie, OffsetTie, PositionTie, TapeTie
from lateral_map.reading.assemble import JOINT_TURN_DEG
from lateral_map.reading.folder import load_site

FT = 0.3048
US_FT = 1200 / 3937
DEMO_SITES = Path(__file__).parents[2] / "demo_sites"


@pytest.mark.parametrize("folder", sorted(one.parent for one in DEMO_SITES.glob("*/site.toml")))
def test_the_demo_sites_are_read(folder: Path) -> None:
    site = load_site(folder)
    assert site.locates
    assert site.plan.lines
    assert site.folder == folder
    assert load_site(folder / "site.toml").name == site.name


def test_what_site_toml_says(tmp_path: Path) -> None:
    site = good_folder().load(tmp_path)
    assert (site.name, site.unit, site.date) == ("Lot 3, Elderbrook", "ft", dt.date(2026, 5, 4))
    assert site.start.point == "cleanout"
    assert site.start.depth_m == pytest.approx(4 * FT)
    assert site.start.sd_m == pytest.approx(0.5 * FT)
    assert site.start.sd_depth_m == pytest.approx(0.25 * FT)
    assert site.counter.sd_zero_m == pytest.approx(0.3 * FT)
    assert site.transmitter.above_invert_m == pytest.approx(0.12 * FT)
    assert [pipe.size_m for pipe in site.pipes] == pytest.approx([4 * 0.0254, 6 * 0.0254])
    assert [boundary.line for boundary in site.boundaries] == ["curb", "north line"]
    assert site.boundaries[0].decides
    assert not site.boundaries[1].decides
    assert site.dig.tolerance_zone_m == pytest.approx(24 * 0.0254)
    assert site.run.end_m == pytest.approx(80 * FT)
    assert site.run.reached_main


def test_what_the_tables_say(tmp_path: Path) -> None:
    site = good_folder().load(tmp_path)
    a, b, c, d = site.locates
    assert [one.mark for one in site.locates] == ["A", "B", "C", "D"]
    assert [one.place.row for one in site.locates] == [2, 3, 4, 5]
    assert a.depth_m == pytest.approx(4.2 * FT)
    first, second = a.ties
    assert isinstance(first, TapeTie)
    assert isinstance(second, TapeTie)
    assert (first.point, first.column, second.column) == ("hydrant", "tape1", "tape2")
    assert first.distance_m == pytest.approx(32 * FT)
    assert second.distance_m == pytest.approx(12.5 * FT)
    assert first.sd_m == pytest.approx(math.hypot(0.1 * FT, 0.002 * 32 * FT))
    (fix,) = b.ties
    assert isinstance(fix, PositionTie)
    assert (fix.method, fix.sd_m) == ("gnss", pytest.approx(3 * FT))
    along, past = c.ties
    assert isinstance(along, AlongTie)
    assert isinstance(past, OffsetTie)
    assert along.along_m == pytest.approx(50 * FT)
    assert past.as_past
    assert not past.past_is_right
    assert d.held_above_m == pytest.approx(0.5 * FT)
    assert [bend.turn_deg for bend in site.bends] == [-22.5, 0.0]
    assert [bend.fall_deg for bend in site.bends] == [0.0, 10.0]
    assert [bend.how for bend in site.bends] == ["fitting", "eye"]
    assert site.findings[0].to_m is None
    assert site.findings[1].to_m == pytest.approx(64.5 * FT)
    assert site.findings[1].severity == "severe"


def test_what_the_plan_says(tmp_path: Path) -> None:
    plan = good_folder().load(tmp_path).plan
    assert [line.name for line in plan.lines] == ["curb", "north line", "centreline"]
    assert [line.sd_m for line in plan.lines] == pytest.approx([FT, 0.5 * FT, FT])
    assert [point.name for point in plan.points] == ["cleanout", "hydrant", "NE corner"]
    assert plan.point("NE corner").elevation_m == pytest.approx(101.2 * FT)
    assert plan.point("hydrant").sd_m == pytest.approx(0.1 * FT)
    (gas,) = plan.utilities
    assert (gas.utility, gas.depth_m, gas.source) == ("gas", pytest.approx(3 * FT), "utility map")
    assert [level.elevation_m for level in plan.levels] == pytest.approx([100.4 * FT])
    assert [(area.kind, area.cover) for area in plan.areas] == [
        ("building", None),
        ("surface", "concrete"),
    ]
    assert not plan.lines[0].vertices_m.flags.writeable


def test_the_plan_lies_where_geodesics_put_it(tmp_path: Path) -> None:
    """Against PROJ's geodesics on GRS80: distances from the start, to a tenth of a millimetre."""
    site = good_folder().load(tmp_path)
    geod = Geod(ellps="GRS80")
    for name, place in (("hydrant", at(40, 12)), ("NE corner", at(5, 10))):
        azimuth, _, distance = geod.inv(LON, LAT, *place)
        point = site.plan.point(name)
        east, north = (
            point.easting_m - site.start.easting_m,
            point.northing_m - site.start.northing_m,
        )
        assert np.hypot(east, north) == pytest.approx(distance, abs=1e-4)
        assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(azimuth % 360, abs=1e-3)


def test_past_is_positive_beyond_the_line_whichever_way_it_is_drawn(tmp_path: Path) -> None:
    offsets = []
    for turned in (False, True):
        folder = good_folder()
        curb = folder.features("curb")["geometry"]["coordinates"]
        folder.features("curb")["geometry"]["coordinates"] = curb[::-1] if turned else curb
        site = folder.load(tmp_path / str(turned))
        tie = next(
            t for one in site.locates for t in one.ties if isinstance(t, OffsetTie) and t.as_past
        )
        line = site.plan.line("curb").vertices_m
        # 10 ft short of the curb: 50 ft east of the start lies on that side, and so must the tie.
        short_of_it = np.array([50 * FT, 0.0])
        assert np.sign(tie.offset_m) == np.sign(signed_offsets(line, short_of_it).offset_m)
        offsets.append(tie.offset_m)
    assert offsets == pytest.approx([10 * FT, -10 * FT])


def test_an_azimuth_is_turned_from_grid_north_into_the_plane(tmp_path: Path) -> None:
    site = good_folder().load(tmp_path)
    assert site.start.azimuth_deg == pytest.approx(92.0 + site.frame.convergence_deg)
    assert abs(site.frame.convergence_deg) > 0.05


def bare(folder: Folder) -> Folder:
    """Leave out every optional key."""
    folder.toml = {
        "format": "1",
        "site": folder.toml["site"],
        "start": {"point": '"cleanout"'},
        "boundary": folder.toml["boundary"],
    }
    return folder


@pytest.mark.parametrize("unit", ["ft", "us_ft", "m"])
def test_defaults_are_the_same_lengths_on_every_site(unit: str, tmp_path: Path) -> None:
    folder = bare(good_folder())
    folder.toml["site"]["unit"] = f'"{unit}"'
    folder.raw["bends.csv"] = None
    site = folder.load(tmp_path)
    accuracy = site.accuracy
    assert accuracy.tape_m == pytest.approx(0.1 * FT)
    assert accuracy.mark_m == pytest.approx(0.25 * FT)
    assert accuracy.ground_m == pytest.approx(0.05 * FT)
    assert accuracy.mapped_line_m == pytest.approx(FT)
    assert accuracy.mapped_point_m == pytest.approx(0.1 * FT)
    assert accuracy.wander_deg == pytest.approx(0.5 / math.sqrt(FT))
    assert accuracy.fall_wander_deg == pytest.approx(0.2 / math.sqrt(FT))
    assert site.transmitter.behind_lens_m == pytest.approx(0.5 * FT)
    assert site.counter.sd_reading_m == pytest.approx(0.1 * FT)
    assert site.dig.trench_width_m == pytest.approx(2 * FT)
    assert site.start.sd_m == pytest.approx(0.5 * FT)


def test_given_wander_is_per_root_of_the_sites_unit(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["accuracy"] = {"wander": "0.6", "fall_wander": "0.3"}
    folder.toml["pipe"][0]["wander"] = "0.9"
    site = folder.load(tmp_path)
    assert site.accuracy.wander_deg == pytest.approx(0.6 / math.sqrt(FT))
    assert site.accuracy.fall_wander_deg == pytest.approx(0.3 / math.sqrt(FT))
    assert site.pipes[0].wander_deg == pytest.approx(0.9 / math.sqrt(FT))
    assert site.pipes[1].wander_deg is None


@pytest.mark.parametrize("grade", [None, 0.03, -0.01])
@pytest.mark.parametrize(("direction", "sign"), [(None, 1), ("downstream", 1), ("upstream", -1)])
def test_a_grade_is_typed_with_the_flow_and_held_along_the_run(
    direction: str | None, sign: int, grade: float | None, tmp_path: Path
) -> None:
    folder = good_folder()
    if direction:
        folder.toml["job"] = {"camera_direction": f'"{direction}"'}
    if grade is not None:
        folder.toml["accuracy"] = {"fall": str(grade)}
    expected = 0.02 if grade is None else grade
    assert folder.load(tmp_path).accuracy.fall == pytest.approx(sign * expected)


def test_wander_from_the_joints(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["pipe"][0]["joint_length"] = '"2 ft"'
    site = folder.load(tmp_path)
    # Ten feet of 2 ft pipes is five joints, each turning on its own.
    after_ten_feet = (site.pipes[0].wander_deg or 0.0) * math.sqrt(10 * FT)
    assert after_ten_feet == pytest.approx(JOINT_TURN_DEG["clay"] * math.sqrt(5))


def test_survey_feet_are_not_international_feet(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["site"]["unit"] = '"us_ft"'
    site = folder.load(tmp_path)
    assert site.locates[0].footage_m == pytest.approx(10 * US_FT, rel=1e-15)
    assert site.locates[0].ties[1].distance_m == pytest.approx(12.5 * US_FT, rel=1e-15)
    assert any("x and y are in international feet" in notice for notice in site.notices)


def test_x_y_are_in_the_unit_of_the_crs(tmp_path: Path) -> None:
    folder = good_folder()
    frame = folder.load(tmp_path / "one").frame
    x, y = frame.from_plane(9.0, 0.5)
    folder.locates[1] = {"mark": "B", "footage": "30", "x": f"{x:.6f}", "y": f"{y:.6f}"}
    folder.toml["site"]["unit"] = '"us_ft"'
    site = folder.load(tmp_path / "two")
    (tie,) = site.locates[1].ties
    assert isinstance(tie, PositionTie)
    assert (tie.easting_m, tie.northing_m) == pytest.approx((9.0, 0.5), abs=1e-6)
    assert (tie.method, tie.sd_m) == ("xy", pytest.approx(0.1 * FT))


@pytest.mark.parametrize(
    ("keys", "sd_ft"), [({"x": "x", "y": "y"}, 0.5), ({"lat": "42.7", "lon": "-84.5"}, 4.0)]
)
def test_a_start_given_by_coordinates(keys: dict[str, str], sd_ft: float, tmp_path: Path) -> None:
    folder = good_folder()
    x, y = folder.load(tmp_path / "one").frame.from_plane(0.0, 0.0)
    written = {
        key: {"x": f"{x:.6f}", "y": f"{y:.6f}"}.get(value, value) for key, value in keys.items()
    }
    folder.toml["start"] = written
    site = folder.load(tmp_path / "two")
    assert site.start.point is None
    assert site.start.sd_m == pytest.approx(sd_ft * FT)
    assert site.plan.point("cleanout").easting_m == pytest.approx(site.start.easting_m, abs=1e-5)


def test_a_metric_site(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["site"]["unit"] = '"m"'
    folder.toml["pipe"] = [{"from": "0", "material": '"PVC"', "size": "110"}]
    folder.toml["accuracy"] = {"wander": "0.9"}
    folder.toml["dig"] = {"tolerance_zone": "0.5"}
    site = folder.load(tmp_path)
    assert site.pipes[0].material == "pvc"
    assert site.pipes[0].size_m == pytest.approx(0.110)
    assert site.accuracy.wander_deg == pytest.approx(0.9)
    assert site.locates[0].footage_m == pytest.approx(10.0)
    assert site.locates[0].ties[1].distance_m == pytest.approx(12.5 * FT)


def test_words_may_be_written_otherwise(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["pipe"][0]["material"] = '"Cast-Iron"'
    folder.toml["dig"]["soil"] = '"Stable Rock"'
    folder.features("curb")["properties"] = {
        "KIND": "Right of Way",
        "Name": " curb ",
        "Accuracy": "6 in",
    }
    folder.locates[0]["tape2_from"] = "ne  CORNER"
    site = folder.load(tmp_path)
    assert site.pipes[0].material == "cast iron"
    assert site.dig.soil == "stable rock"
    assert site.plan.line("curb").kind == "right_of_way"
    assert site.plan.line("curb").sd_m == pytest.approx(FT / 2)
    assert site.locates[0].ties[1].point == "NE corner"


@pytest.mark.parametrize(
    ("word", "used"),
    [
        ("", True),
        ("yes", True),
        ("No", False),
        ("TRUE", True),
        ("false", False),
        ("0", False),
        ("1", True),
    ],
)
def test_use(word: str, used: bool, tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0]["use"] = word
    assert folder.load(tmp_path).locates[0].use is used


def test_marks_without_a_name_get_one(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0]["mark"] = folder.locates[2]["mark"] = ""
    assert [one.mark for one in folder.load(tmp_path).locates] == ["row 2", "B", "row 4", "D"]


def test_depth_from_nulls_stands_alone(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0] = {
        "mark": "A",
        "footage": "10",
        "nulls": "6 ft",
        "nulls_held_above": "1 in",
        "peak": "Null",
    }
    locate = folder.load(tmp_path).locates[0]
    assert (locate.depth_m, locate.peak) == (None, "null")
    assert locate.nulls_m == pytest.approx(6 * FT)
    assert locate.nulls_held_above_m == pytest.approx(FT / 12)


def test_extra_columns_are_carried_through(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0] |= {"Crew": "two", "photo file": "a.jpg"}
    folder.locates[1] |= {"Crew": "one"}
    site = folder.load(tmp_path)
    assert dict(site.locates[0].extra) == {"Crew": "two", "photo file": "a.jpg"}
    assert dict(site.locates[1].extra) == {"Crew": "one"}
    assert dict(site.locates[2].extra) == {}


def test_a_site_with_no_tables_still_reads(tmp_path: Path) -> None:
    folder = good_folder()
    folder.raw = {"locates.csv": None, "bends.csv": None, "findings.csv": None}
    site = folder.load(tmp_path)
    assert site.locates == () == site.bends == site.findings
    folder.raw |= {"locates.csv": "mark,footage,depth\n\n,,\n"}
    assert folder.load(tmp_path).locates == ()


def test_the_run_ends_at_the_last_footage_given_anywhere(tmp_path: Path) -> None:
    folder = good_folder()
    del folder.toml["run"]
    folder.findings[1]["to"] = "77.5"
    site = folder.load(tmp_path)
    assert site.run.end_m == pytest.approx(77.5 * FT)
    assert not site.run.reached_main
    assert any("77.5 ft" in notice for notice in site.notices)
    assert any("not reaching the main" in notice for notice in site.notices)


def test_nothing_says_how_long_the_run_is(tmp_path: Path) -> None:
    folder = good_folder()
    folder.raw = {"locates.csv": None, "bends.csv": None, "findings.csv": None}
    del folder.toml["run"], folder.toml["pipe"]
    (fault,) = folder.faults(tmp_path)
    assert (fault.file, fault.field) == ("site.toml", "run.end_footage")


def no_depth_anywhere(folder: Folder) -> None:
    folder.toml["start"].pop("depth")
    for row in folder.locates:
        row["depth"] = ""


def far_out(folder: Folder) -> None:
    folder.toml["run"]["end_footage"] = "3500"
    folder.findings[1]["to"] = "3400"


def notes_for_note(folder: Folder) -> None:
    for row in folder.locates:
        row["notes"] = row.pop("note", "")


NOTICES = [
    (lambda f: f.toml["start"].pop("depth"), "start: nothing but the locates says how deep"),
    (no_depth_anywhere, "nor with any locate: nothing says how deep"),
    (lambda f: f.features("curb")["properties"].pop("accuracy"), "it is taken as 1.0 ft"),
    (lambda f: f.locates[0].update(footage="0.2"), "not yet in the pipe"),
    (lambda f: f.locates[0].update(note="x" * 5000), "5,000 characters was cut"),
    (lambda f: f.toml["pipe"][0].update({"from": "3"}), "what the pipe is before 3.0 ft"),
    (lambda f: f.bends[0].update(turn="30"), "no common fitting's angle"),
    (lambda f: f.bends[0].update(turn="30", how=""), "taken as judged by eye"),
    (far_out, "3400 ft is unlikely"),
    (lambda f: f.locates[2].update(along="120"), "carried on straight"),
    (notes_for_note, "the column 'notes' is kept as it is"),
    (lambda f: f.toml.pop("format"), "does not say its format"),
    (lambda f: f.toml["start"].update(accuracy="70"), "within its own accuracy of 'curb'"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), NOTICES)
def test_notices(change: object, words: str, tmp_path: Path) -> None:
    folder = good_folder()
    change(folder)  # type: ignore[operator]
    assert any(words in notice for notice in folder.load(tmp_path).notices)


def test_a_good_site_has_only_the_datum_notice(tmp_path: Path) -> None:
    (notice,) = good_folder().load(tmp_path).notices
    assert "NAD83(2011) to WGS 84 (1)" in notice


def test_a_huge_note_is_handled(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0]["note"] = "roots, " * 1_500_000
    site = folder.load(tmp_path)
    assert len(site.locates[0].note) <= 2000
    assert site.locates[0].note.endswith("…")


HOSTILE = "<script>alert(1)</script> {{7*7}} ${x} =cmd|' /C calc'!A0 \u202e \u2028 'q' \"q\" \\ 😀"


def test_hostile_text_is_kept_as_text(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0]["note"] = HOSTILE + "\x00\x1b[31m".replace("\x00", "")
    folder.findings[0]["finding"] = "<img onerror=x>"
    folder.features("hydrant")["properties"]["name"] = "hydrant </script>"
    folder.locates[0]["tape1_from"] = "hydrant </script>"
    site = folder.load(tmp_path)
    assert site.locates[0].note == HOSTILE + "\ufffd[31m"
    assert site.findings[0].finding == "<img onerror=x>"
    assert site.locates[0].ties[0].point == "hydrant </script>"


def test_lone_surrogates_do_not_get_in(tmp_path: Path) -> None:
    folder = good_folder()
    folder.features("house")["properties"]["name"] = "ho\ud800use"
    site = folder.load(tmp_path)
    assert site.plan.areas[0].name == "ho\ufffduse"
    site.plan.areas[0].name.encode()


def test_a_line_a_point_and_a_utility_may_share_a_name(tmp_path: Path) -> None:
    folder = good_folder()
    folder.features("hydrant")["properties"]["name"] = "curb"
    folder.features("gas main")["properties"]["name"] = "curb"
    folder.locates[0]["tape1_from"] = "curb"
    site = folder.load(tmp_path)
    assert site.plan.line("curb").kind == "curb"
    assert site.plan.utilities[0].name == "curb"
    (tape, _) = site.locates[0].ties
    assert isinstance(tape, TapeTie)
    assert tape.point == "curb"


def test_utilities_without_a_name_of_their_own_are_told_apart(tmp_path: Path) -> None:
    folder = good_folder()
    for east in (52, 53):
        line = [at(east, 50), at(east, -50)]
        folder.plan["features"].append(feature("LineString", line, kind="utility", utility="gas"))
    pieces = [[at(east, 50), at(east, -50)] for east in (51, 54)]
    folder.plan["features"].append(
        feature("MultiLineString", pieces, kind="utility", utility="water", name="gas 2")
    )
    site = folder.load(tmp_path)
    assert [one.name for one in site.plan.utilities] == [
        "gas main", "gas", "gas 3", "gas 2", "gas 2 2",
    ]  # fmt: skip


def test_unnamed_lines_are_called_after_their_kind(tmp_path: Path) -> None:
    folder = good_folder()
    folder.plan["features"] += [
        feature("LineString", [at(90, 5), at(90, -5)], kind="centreline"),
        feature("LineString", [at(95, 5), at(95, -5)], kind="right_of_way"),
    ]
    names = [line.name for line in folder.load(tmp_path).plan.lines]
    assert names == ["curb", "north line", "centreline", "centreline 2", "right of way"]


def test_pieces_that_follow_each_other_are_one_line(tmp_path: Path) -> None:
    folder = good_folder()
    folder.features("curb")["geometry"] = {
        "type": "MultiLineString",
        "coordinates": [[at(60, 50), at(60, 0)], [at(60, 0), at(60, 0), at(60, -50)]],
    }
    site = folder.load(tmp_path)
    vertices = site.plan.line("curb").vertices_m
    assert len(vertices) == 3
    assert vertices[0, 1] > vertices[-1, 1]
    assert any("drawn twice" in notice for notice in site.notices)


def test_a_hook_at_a_lines_end_does_not_turn_its_continuation(tmp_path: Path) -> None:
    # Half a centimetre sideways, as an unsteady double click leaves it.
    folder = good_folder()
    straight = folder.load(tmp_path / "straight").plan.line("curb").vertices_m
    drawn = folder.features("curb")["geometry"]["coordinates"]
    (east, north), *_, (last_east, last_north) = drawn
    hooked = [[east, north], [east - 6e-8, north], *drawn[1:], [last_east - 6e-8, last_north]]
    folder.features("curb")["geometry"]["coordinates"] = hooked
    vertices = folder.load(tmp_path / "hooked").plan.line("curb").vertices_m
    assert vertices == pytest.approx(straight, abs=1e-9)
    far = [[-60.0, 40.0], [-60.0, -40.0], [60.0, 40.0]]
    assert signed_offsets(vertices, far).offset_m == pytest.approx(
        signed_offsets(straight, far).offset_m, abs=1e-6
    )


def test_a_building_of_two_parts(tmp_path: Path) -> None:
    folder = good_folder()
    square = [[at(0, 0), at(1, 0), at(1, 1), at(0, 0)]]
    other = [[at(5, 0), at(6, 0), at(6, 1)]]
    folder.features("house")["geometry"] = {"type": "MultiPolygon", "coordinates": [square, other]}
    areas = folder.load(tmp_path).plan.areas
    assert [area.name for area in areas] == ["house", "house", "drive"]


def test_heights_in_coordinates_are_left_out(tmp_path: Path) -> None:
    folder = good_folder()
    for one in folder.plan["features"]:
        if one["geometry"]["type"] == "Point":
            one["geometry"]["coordinates"].append(200.0)
    assert folder.load(tmp_path).plan.point("hydrant").elevation_m is None


def test_file_names_in_capitals(tmp_path: Path) -> None:
    folder = good_folder()
    text = folder.texts()["locates.csv"]
    folder.raw = {"locates.csv": None, "Locates.CSV": text, "README.txt": "notes", "plan.pdf": b""}
    assert len(folder.load(tmp_path).locates) == 4


@pytest.mark.parametrize("name", ["locates.csv", "bends.csv", "findings.csv", "plan.geojson"])
@pytest.mark.parametrize("instead", ["folder", "link to nothing", "link to itself"])
def test_what_has_a_files_name_and_is_none_is_not_passed_over(
    name: str, instead: str, tmp_path: Path
) -> None:
    path = good_folder().write(tmp_path) / name
    path.unlink(missing_ok=True)
    if instead == "folder":
        path.mkdir()
    else:
        path.symlink_to(name if instead == "link to itself" else "nowhere")
    with pytest.raises(SiteError) as caught:
        load_site(tmp_path)
    assert name in {fault.file for fault in caught.value.faults}


@pytest.mark.parametrize(
    ("word", "end"), [("main", "main"), ("tank", "tank"), ("Septic tank", "tank"),
                      ("not reached", "not reached"), ("not_reached", "not reached")],
)  # fmt: skip
def test_a_run_may_end_at_a_tank(word: str, end: str, tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["run"]["end"] = f'"{word}"'
    site = folder.load(tmp_path)
    assert site.run.end == end
    assert site.run.reached_main == (end == "main")


def test_where_nothing_could_be_located_is_kept_with_its_reason(tmp_path: Path) -> None:
    folder = good_folder()
    count = len(folder.load(tmp_path).locates)
    folder.locates.append({"footage": "20", "no_locate": "under the slab"})
    site = folder.load(tmp_path)
    (one,) = site.no_locates
    assert one.why == "under the slab"
    assert one.footage_m == pytest.approx(20 * FT)
    assert len(site.locates) == count
    folder.locates[-1]["depth"] = "3"
    with pytest.raises(SiteError, match="why nothing could be located, and yet has a reading"):
        folder.load(tmp_path)


def test_an_end_that_many_readings_lie_beyond_is_one_fault(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["run"]["end_footage"] = "2.0"
    with pytest.raises(SiteError) as wrong:
        folder.load(tmp_path)
    beyond = [fault for fault in wrong.value.faults if "beyond the run's end" in fault.problem]
    assert [(one.file, one.field) for one in beyond] == [("site.toml", "run.end_footage")]
