"""sketch.csv: a plan by tape alone, its adjustment, its faults, its place in the world."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from lateral_map import build_report, load_site
from lateral_map.adjust.sketch import adjust_sketch, fit_to_world, measure_equation
from lateral_map.errors import AdjustmentError, SiteError
from lateral_map.frame import projected_frame
from lateral_map.model.site import Site
from lateral_map.model.sketch import Measure, SketchNet, SketchReading
from lateral_map.words.notices import origin_words

FOOT = 0.3048
SITE = """format = 1
[site]
name = "By tape"
crs = "{crs}"
unit = "ft"
[start]
point = "cleanout"
accuracy = 0.3
depth = 4.0
[[boundary]]
line = "curb"
inside = "owner"
outside = "city"
decides = true
[run]
end_footage = 50.0
"""
HEAD = (
    "what,name,from,to,distance,turn,along,offset,side,line,through,tape1_from,tape1,tape2_from,"
    "tape2,tape3_from,tape3,basis,accuracy,azimuth,lat,lon,x,y,use,note"
)


def wall(begin: str, end: str, distance: float, turn: str = "right") -> str:
    return f"wall | from {begin} | to {end} | distance {distance}" + (turn and f" | turn {turn}")


def tape(begin: str, end: str, distance: float) -> str:
    return f"tape | from {begin} | to {end} | distance {distance}"


def tapes(name: str, side: str, **from_: float) -> str:
    said = [f"tape{n}_from {at} | tape{n} {d}" for n, (at, d) in enumerate(from_.items(), 1)]
    return " | ".join([f"point | name {name}", *([f"side {side}"] if side else []), *said])


HOUSE = [
    wall("NW", "NE", 40),
    wall("NE", "SE", 28),
    wall("SE", "SW", 40),
    wall("SW", "NW", 28),
]
CLEANOUT = "point | name cleanout | from NW | to NE | along 15 | offset 3 | side out"
CURB = "curb | from NW | to NE | offset 31 | side left"


def cells_of(row: str) -> str:
    """Return a table's row of 'what | column value | column value'."""
    what, *said = row.split(" | ")
    cells = {"what": what} | dict(one.split(" ", 1) for one in said)
    return ",".join(cells.get(column, "") for column in HEAD.split(","))


def write(folder: Path, *rows: str, crs: str = "local") -> Path:
    (folder / "site.toml").write_text(SITE.format(crs=crs), encoding="utf-8")
    table = [HEAD, *(cells_of(row) for row in rows)]
    (folder / "sketch.csv").write_text("\n".join(table) + "\n", encoding="utf-8")
    return folder


def read(folder: Path, *rows: str, crs: str = "local") -> Site:
    return load_site(write(folder, *rows, crs=crs))


def faults(folder: Path, *rows: str, crs: str = "local") -> list[str]:
    with pytest.raises(SiteError) as caught:
        read(folder, *rows, crs=crs)
    return [str(fault) for fault in caught.value.faults]


def apart(site: Site, one: str, other: str) -> float:
    a, b = site.plan.point(one), site.plan.point(other)
    return math.hypot(a.easting_m - b.easting_m, a.northing_m - b.northing_m) / FOOT


def place(site: Site, name: str) -> np.ndarray:
    point = site.plan.point(name)
    return np.array([point.easting_m, point.northing_m]) / FOOT


def test_a_house_a_curb_and_a_right_of_way_need_no_coordinate(tmp_path: Path) -> None:
    row = "right of way | offset 12 | side behind | line curb | basis assumed"
    site = read(tmp_path, *HOUSE, CLEANOUT, CURB, row)
    assert apart(site, "NW", "SE") == pytest.approx(math.hypot(40, 28), abs=1e-4)
    assert place(site, "cleanout") - place(site, "NW") == pytest.approx([15.0, 3.0], abs=1e-4)
    curb, way = site.plan.line("curb"), site.plan.line("right of way")
    assert curb.vertices_m[:, 1] / FOOT == pytest.approx([31.0, 31.0], abs=1e-3)
    assert way.vertices_m[:, 1] / FOOT == pytest.approx([19.0, 19.0], abs=1e-3)
    assert (curb.source, way.source[:7]) == ("measured by tape from NW to NE", "assumed")
    assert way.sd_m > FOOT > 0.5 * FOOT > curb.sd_m  # an assumed line is good to 1 ft
    assert "Assumed, not measured: right of way." in site.notices
    assert origin_words(site) == ("Plan sketched by tape", "Assumed, not measured: right of way")
    (house,) = site.plan.areas
    assert house.polygon.area / FOOT**2 == pytest.approx(40 * 28, rel=1e-4)
    assert {one.line for one in build_report(site).crossings} == {"curb", "right of way"}


def test_sides_that_miss_closing_are_spread_and_said(tmp_path: Path) -> None:
    walls = [*HOUSE[:2], wall("SE", "SW", 41), HOUSE[3]]
    site = read(tmp_path, *walls, CLEANOUT, CURB)
    assert any("miss closing by 1.0 ft in 137.0 ft (1 in 137)" in one for one in site.notices)
    assert 40.1 < apart(site, "NW", "NE") < apart(site, "SE", "SW") < 40.9


def test_the_adjustment_is_that_of_plain_least_squares(tmp_path: Path) -> None:
    walls = [
        HOUSE[0],
        wall("NE", "SE", 28.3),
        wall("SE", "SW", 40.4),
        HOUSE[3],
    ]
    site = read(
        tmp_path,
        *walls,
        tape("NW", "SE", 49.1),
        tape("NE", "SW", 48.9),
        CLEANOUT,
        CURB,
    )
    sides = [(0, 1, 40), (1, 2, 28.3), (2, 3, 40.4), (3, 0, 28), (0, 2, 49.1), (1, 3, 48.9)]

    def misfit(at: np.ndarray) -> list[float]:
        p = at.reshape(4, 2)
        off = [(d - np.hypot(*(p[b] - p[a]))) / math.hypot(0.1, 0.002 * d) for a, b, d in sides]
        for i in range(4):
            u, v = p[(i + 1) % 4] - p[i], p[(i + 2) % 4] - p[(i + 1) % 4]
            turn = math.degrees(math.atan2(u[1] * v[0] - u[0] * v[1], u @ v))
            off.append((90.0 - turn) / 0.5)
        return off

    found = least_squares(misfit, [0, 0, 40, 0, 40, -28, 0, -28], xtol=1e-14, ftol=1e-14)
    best = found.x.reshape(4, 2)
    for (a, one), (b, other) in [
        ((0, "NW"), (2, "SE")),
        ((1, "NE"), (3, "SW")),
        ((0, "NW"), (1, "NE")),
    ]:
        assert apart(site, one, other) == pytest.approx(np.hypot(*(best[a] - best[b])), abs=1e-3)
    assert site.plan.sketch is not None
    assert site.plan.sketch.chi_square == pytest.approx(2.0 * found.cost, rel=1e-3)
    assert site.plan.sketch.freedom == 5


@given(
    st.lists(st.floats(-20.0, 20.0), min_size=10, max_size=10),
    st.floats(0.1, 0.9),
    st.sampled_from(["distance", "turn", "along", "offset", "parallel", "azimuth"]),
)
def test_each_equation_moves_as_its_derivative_says(
    values: list[float], share: float, kind: str
) -> None:
    at = np.array(values).reshape(5, 2) + np.array([[0, 0], [70, 0], [70, 70], [0, 70], [140, 70]])
    points = {"distance": (0, 1), "azimuth": (0, 1), "turn": (0, 1, 2)}.get(kind, (0, 1, 2, 3))
    one = Measure(kind, points, 0.1, 0.5, share=share if len(points) > 3 else 0.0)  # type: ignore[arg-type]
    _, row = measure_equation(one, at)
    step = 1e-6
    for i in range(at.size):
        nudge = np.zeros(at.size)
        nudge[i] = step
        high = measure_equation(one, at + nudge.reshape(5, 2))[0]
        low = measure_equation(one, at - nudge.reshape(5, 2))[0]
        assert -(high - low) / (2 * step) == pytest.approx(row[i], abs=1e-5)


@settings(max_examples=8)
@given(st.floats(-180.0, 180.0), st.integers(0, 3), st.sampled_from(["tapes", "diagonal"]))
def test_neither_the_first_corner_nor_the_compass_moves_the_crossing(
    azimuth: float, first: int, pole_by: str
) -> None:
    from tempfile import TemporaryDirectory

    walls = [
        wall("NW", "NE", 40.1),
        wall("NE", "SE", 28.2),
        wall("SE", "SW", 39.9),
        HOUSE[3],
    ]
    pole = (
        tapes("pole", "right", SW=52.0, SE=60.0) if pole_by == "tapes" else tape("NW", "SE", 48.9)
    )
    locates = "mark,footage,tape1_from,tape1,tape2_from,tape2\nA,20,NW,28,NE,33\n"

    def crossing(rows: list[str], **more: str) -> tuple[float, float]:
        with TemporaryDirectory() as folder:
            where = write(Path(folder), *rows)
            (where / "locates.csv").write_text(locates, encoding="utf-8")
            (found,) = [c for c in build_report(load_site(where)).crossings if c.line == "curb"]
        return found.footage_m, found.sd_footage_m

    here = crossing([*walls, pole, CLEANOUT, CURB])
    turned = [*walls[first:], *walls[:first]]
    turned[0] += f" | azimuth {azimuth:.1f}"
    there = crossing([*turned, CURB, CLEANOUT, pole])
    assert there == pytest.approx(here, abs=2e-3)


FRONT = "from NW | to NE"
WHOLE = [*HOUSE, CLEANOUT, CURB]
FAULTY = {
    "row 8, side: two tapes leave": [*WHOLE, tapes("oak", "", NW=20, NE=35)],
    "row 8, side: the point has a mirror": [
        *WHOLE,
        f"point | name oak | {FRONT} | along 10 | offset 4",
    ],
    "one tape fixes no point": [*WHOLE, tapes("oak", "left", NW=20)],
    "do not meet": [*WHOLE, tapes("oak", "left", NW=5, NE=10)],
    "nothing yet fixes what": [*WHOLE, tapes("oak", "left", NX=5, NE=10)],
    "row 7, side: a parallel line needs it": [*HOUSE, CLEANOUT, f"curb | {FRONT} | offset 31"],
    "row 7, from: nothing says where the line is": [*HOUSE, CLEANOUT, "curb"],
    "row 8, through: the sketch has no point": [*WHOLE, "curb | name c | through NW; NX"],
    "row 8, side: a line has no": [*WHOLE, "right of way | offset 9 | side out | line curb"],
    "its turns add up to 180 degrees": [*HOUSE[:3], wall("SW", "NW", 28, "left"), CURB],
    "row 3, from: the wall before ends at": [HOUSE[0], wall("SE", "SW", 28), CURB],
    "row 2, turn: nothing says how": [wall("NW", "NE", 40, ""), *WHOLE[1:]],
    "row 2, distance: a wall needs it": [f"wall | {FRONT} | turn right", *WHOLE[1:]],
    "row 2, along: a wall has no along": [f"{HOUSE[0]} | along 7", *WHOLE[1:]],
    "row 2, what: 'fence' is unknown": [HOUSE[0].replace("wall", "fence"), *WHOLE[1:]],
    'crs = "local" is tied': [*WHOLE, "known | name NW | lat 45 | lon -83"],
}


@pytest.mark.parametrize(("says", "rows"), FAULTY.items(), ids=str)
def test_a_faulty_row_is_told_by_row_and_column(says: str, rows: list[str], tmp_path: Path) -> None:
    assert any(says in one for one in faults(tmp_path, *rows))


def test_all_faults_are_told_in_one_run(tmp_path: Path) -> None:
    rows = [
        wall("NW", "NE", 40, ""),
        *HOUSE[1:],
        "point | name oak | from NW | to NE | along 10 | offset 4",
        "curb",
    ]
    told = faults(tmp_path, *rows)
    assert [any(f"row {n}," in one for one in told) for n in (2, 6, 7)] == [True] * 3


def test_a_wrong_tape_is_suspect_and_its_point_shows_it(tmp_path: Path) -> None:
    pole = tapes("pole", "left", NW=31.06, NE=46.61, SW=58.0)  # the last misread by a few feet
    site = read(tmp_path, *HOUSE, CLEANOUT, CURB, pole)
    assert site.plan.sketch is not None
    suspects = [one for one in site.plan.sketch.checks if one.verdict == "suspect"]
    assert {one.reading.row for one in suspects} == {8}
    assert any("sketch.csv row 8" in one and "Look at it first" in one for one in site.notices)


def test_a_tape_that_tells_the_side_needs_no_word(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        *HOUSE,
        CLEANOUT,
        CURB,
        tapes("pole", "", NW=25, NE=47.17, SW=45.6),
    )
    assert place(site, "pole")[1] > place(site, "NW")[1] - 2.0


def test_a_compass_azimuth_needs_a_north(tmp_path: Path) -> None:
    folder = write(tmp_path, *HOUSE, CLEANOUT, CURB)
    text = (folder / "site.toml").read_text().replace("depth = 4.0", "depth = 4.0\nazimuth = 10")
    (folder / "site.toml").write_text(text)
    with pytest.raises(SiteError, match="nothing gives the sketch its north"):
        load_site(folder)


def test_a_baseline_with_offsets_needs_no_house(tmp_path: Path) -> None:
    rows = [
        tape("A", "B", 60),
        "point | name cleanout | from A | to B | along 20 | offset 5 | side right",
        "point | name tree | from A | to B | along 45 | offset 12 | side left",
        tape("cleanout", "tree", 30.2),
        "curb | from A | to B | offset 40 | side left",
    ]
    site = read(tmp_path, *rows)
    assert apart(site, "cleanout", "tree") == pytest.approx(math.hypot(25, 17), abs=0.2)
    assert {one.name for one in site.plan.lines} == {"curb"}


# ── in the world ─────────────────────────────────────────────────────────────────────────────────


def known(frame_at: tuple[float, float], site: Site, names: str, turn_deg: float) -> list[str]:
    """Return rows that give sketched points the x, y of a place turned and shifted."""
    frame = projected_frame("EPSG:6499", *frame_at)
    east, north = frame.to_plane(*frame_at)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    rows = []
    for name in names.split():
        e, n = place(site, name) * FOOT
        x, y = frame.from_plane(east + c * e + s * n, north - s * e + c * n)
        rows.append(f"known | name {name} | x {float(x):.5f} | y {float(y):.5f}")
    return rows


def test_known_points_lay_the_sketch_in_the_world(tmp_path: Path) -> None:
    rows = [*HOUSE, CLEANOUT, CURB]
    local = read(tmp_path, *rows)
    placed = read(
        tmp_path, *rows, *known((13_000_000.0, 400_000.0), local, "NW NE SE", 35.0), crs="EPSG:6499"
    )
    assert apart(placed, "NW", "SE") == pytest.approx(apart(local, "NW", "SE"), abs=1e-5)
    step = place(placed, "NE") - place(placed, "NW")
    assert math.degrees(math.atan2(*step)) == pytest.approx(90.0 + 35.0, abs=0.01)
    world = placed.plan.sketch.world if placed.plan.sketch else None
    assert world is not None
    assert max(math.hypot(*one.residual_m) for one in world.known) < 1e-3
    assert not any("No third point" in one for one in placed.notices)


def test_a_third_point_that_is_another_is_told(tmp_path: Path) -> None:
    rows = [*HOUSE, CLEANOUT, CURB]
    local = read(tmp_path, *rows)
    given = known((13_000_000.0, 400_000.0), local, "NW NE SE", 35.0)
    wrong = known((13_000_009.0, 400_000.0), local, "SE", 35.0)
    placed = read(tmp_path, *rows, *given[:2], *wrong, crs="EPSG:6499")
    assert any("known place of" in one and "is off by" in one for one in placed.notices)


@pytest.mark.parametrize(("names", "says"), [("NW", "nothing ties"), ("NW cleanout", "lie 4.66 m")])
def test_too_few_or_too_near_known_points_are_refused(
    names: str, says: str, tmp_path: Path
) -> None:
    rows = [*HOUSE, CLEANOUT, CURB]
    given = known((13_000_000.0, 400_000.0), read(tmp_path, *rows), names, 10.0)
    given = [f"{one} | accuracy 4" for one in given]  # a phone's
    assert any(says in one for one in faults(tmp_path, *rows, *given, crs="EPSG:6499"))


@given(st.floats(-math.pi, math.pi), st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_the_fit_gives_back_the_shift_and_turn_and_keeps_the_scale(
    turn: float, east: float, north: float
) -> None:
    at = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, -9.0], [3.0, 5.0]])
    measures = [
        Measure(
            "distance", (a, b), float(np.hypot(*(at[b] - at[a]))), 0.03, SketchReading(2, "", "")
        )
        for a in range(4)
        for b in range(a)
    ]
    shape = adjust_sketch(SketchNet(at, tuple(measures), (0, 1, 2, 3)))
    c, s = math.cos(turn), math.sin(turn)
    there = at @ np.array([[c, s], [-s, c]]).T + [east, north]
    stretched = there[:3].mean(axis=0) + 1.01 * (there[:3] - there[:3].mean(axis=0))
    laid, world = fit_to_world(shape, {i: ("", *stretched[i], 0.1) for i in range(3)})
    assert laid.places_m == pytest.approx(there, abs=1e-5)
    assert math.cos(world.turn_rad - turn) == pytest.approx(1.0)
    with pytest.raises(AdjustmentError):
        fit_to_world(shape, {0: ("", *there[0], 3.0), 3: ("", *there[3], 3.0)})


def test_the_route_is_told_that_tapes_are_off_together(tmp_path: Path) -> None:
    """Two points by long tapes from one corner lie wrong together: the line follows as a whole."""
    far = [tapes("one", "left", NW=100, NE=95), tapes("two", "left", NW=101, NE=95)]
    rows = [*HOUSE, CLEANOUT, CURB, *(f"{one} | accuracy 1.5" for one in far)]
    site = read(tmp_path, *rows)
    sketch = site.plan.sketch
    assert sketch is not None
    joint = sketch.shift_covariance(("curb",), ("one", "two", "NW"))
    assert joint.shape == (7, 7)
    assert np.linalg.eigvalsh(joint).min() > 0.0
    alone = np.sqrt(np.diag(joint))
    assert site.plan.point("one").sd_m == pytest.approx(
        math.hypot(*alone[1:3]) / math.sqrt(2.0), rel=1e-6
    )
    assert site.plan.line("curb").sd_m == pytest.approx(alone[0], rel=1e-6)
