"""What a profile draws, read back from its own SVG through its stated scales."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.profile.painter import (
    NARROW,
    PAPER_PAGE,
    PRINT,
    WIDE,
    Size,
    draw_profile,
    page_profile,
    profile_files,
)
from lateral_map.draw.profile.rows import profile_rows
from lateral_map.model.results import Report
from lateral_map.units import format_small, from_metres
from lateral_map.words.technician import crossing_words

HOSTILE = "{{7*7}}{%{#${`</script><img src=x onerror=alert(1)>\u2028$x^2$ \\frac 🚿 שלום"
UNITS = ("ft", "us_ft", "m")
MANY = {"findings": 80, "length_units": 300.0}
SIZES = {"wide": WIDE, "narrow": NARROW, "paper": PAPER_PAGE, "print": PRINT}


class Drawn:
    """A profile parsed back; places are turned into the site's unit by the page's own numbers."""

    def __init__(self, report: Report, size: Size = PRINT) -> None:
        profile = draw_profile(report, size)
        self.svg = profile.canvas.to_text()
        self.root = ET.fromstring(self.svg)
        for each in self.root.iter():
            each.tag = each.tag.removeprefix("{http://www.w3.org/2000/svg}")
        self.frame, self.unit = profile.frame, report.site.unit

    def parts(self, name: str) -> list[ET.Element]:
        """Return the groups with a class."""
        return [g for g in self.root.iter("g") if name in g.get("class", "").split()]

    def place(self, x: float, y: float) -> tuple[float, float]:
        box, frame = self.frame.box, self.frame
        along = frame.from_m + (x - box.left) / box.width * (frame.to_m - frame.from_m)
        up = frame.high_m - (y - box.top) / box.height * (frame.high_m - frame.low_m)
        return from_metres(along, self.unit), from_metres(up, self.unit)

    def paths(self, name: str) -> list[np.ndarray]:
        """Return the lines of a part's paths: (n, 2) footages and elevations."""
        lines = []
        for group in self.parts(name):
            for path in group.iter("path"):
                for piece in path.get("d").split("M")[1:]:
                    numbers = np.array(piece.rstrip("Z").replace("L", " ").split(), float)
                    lines.append(np.array([self.place(*p) for p in numbers.reshape(-1, 2)]))
        return lines

    def texts(self, name: str = "") -> list[str]:
        return [text for text, _ in self.boxes(name)]

    def boxes(self, name: str = "") -> list[tuple[str, tuple[float, float, float, float]]]:
        """Return each text with the box round its letters, in points."""
        groups = self.parts(name) if name else [self.root]
        return [(text.text, _box(text)) for group in groups for text in group.iter("text")]


def _box(text: ET.Element) -> tuple[float, float, float, float]:
    size = float(text.get("font-size"))
    width = text_width(text.text, size, bold=text.get("font-weight") == "bold")
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor")]
    turned = re.findall(r"-?[\d.]+", text.get("transform", ""))
    if turned:
        x, y, turn = map(float, turned)
        assert turn == -90.0
        return x - 0.76 * size, y - (1 - shift) * width, x + 0.2 * size, y + shift * width
    x, y = float(text.get("x")), float(text.get("y"))
    return x - shift * width, y - 0.76 * size, x + (1 - shift) * width, y + 0.2 * size


def mark(group: ET.Element) -> tuple[str, ET.Element]:
    """Return the shape of a group's mark: disc, square, diamond, triangle or none."""
    last = [
        each for each in group if each.tag in ("circle", "path") and each.get("fill") != "none"
    ][-1]
    if last.tag == "circle":
        return "disc", last
    corners = last.get("d").count("L") + 1
    flat = len({point.split()[1] for point in last.get("d")[1:-1].split("L")}) == 2
    return {3: "triangle", 4: "square" if flat else "diamond"}[corners], last


def centre(shape: ET.Element) -> tuple[float, float]:
    if shape.tag == "circle":
        return float(shape.get("cx")), float(shape.get("cy"))
    points = np.array([p.split() for p in shape.get("d")[1:-1].split("L")], float)
    low, high = points.min(axis=0), points.max(axis=0)
    return tuple((low + high) / 2.0)


def in_unit(values_m, unit: str) -> list[float]:
    return [from_metres(float(value), unit) for value in values_m]


@pytest.mark.parametrize("unit", UNITS)
def test_the_invert_passes_through_every_station(make_report, unit: str) -> None:
    report = make_report(unit=unit)
    drawn = np.concatenate(Drawn(report).paths("invert"))
    footage, level = drawn[np.argsort(drawn[:, 0], kind="stable")].T
    stations = report.stations
    at = np.array(in_unit(stations.footage_m, unit))
    # Every station is a point of the line, and between them the line is straight.
    assert np.abs(footage[:, None] - at[None]).min(axis=0).max() < 0.01
    assert level == pytest.approx(
        np.interp(footage, at, in_unit(stations.elevation_m, unit)), abs=2e-3
    )


def test_ground_less_invert_is_the_depth_and_crown_is_a_pipe_size_up(report: Report) -> None:
    drawn = Drawn(report)
    (ground,) = drawn.paths("ground")
    invert, crown = (np.concatenate(drawn.paths(name)) for name in ("invert", "crown"))
    at, depth = (in_unit(v, "ft") for v in (report.stations.footage_m, report.stations.depth_m))
    level = np.interp(invert[:, 0], ground[:, 0], ground[:, 1])
    assert level - invert[:, 1] == pytest.approx(np.interp(invert[:, 0], at, depth), abs=4e-3)
    size = from_metres(report.pipes[-1].size_m, "ft")
    assert crown[-1, 1] - invert[-1, 1] == pytest.approx(size, abs=4e-3)


@pytest.mark.parametrize(("index", "name"), [(0, "crown"), (1, "invert")])
def test_the_bands_are_1_96_sd_each_side(report: Report, index: int, name: str) -> None:
    drawn = Drawn(report)
    group = drawn.parts("band")[index]
    assert group.get("data-of") == name
    fill, low, high = drawn.paths("band")[3 * index : 3 * index + 3]
    sd = np.interp(
        low[:, 0],
        in_unit(report.stations.footage_m, "ft"),
        in_unit(report.stations.depth_sd_m, "ft"),
    )
    assert high[:, 1] - low[:, 1] == pytest.approx(2 * 1.959964 * sd, abs=6e-3)
    assert fill[:, 1].max() == pytest.approx(high[:, 1].max())
    line = np.concatenate(drawn.paths(name))
    middle = (low[-1, 1] + high[-1, 1]) / 2.0
    assert line[-1, 1] == pytest.approx(middle, abs=4e-3)


def test_only_what_was_located_is_drawn_solid(report: Report) -> None:
    drawn = Drawn(report)
    assert {"located", "dead reckoned"} < set(report.stations.basis)
    for name in ("invert", "crown"):
        for group in drawn.parts(name):
            solid = group[0].get("stroke-dasharray") is None
            assert solid == ("located" in group.get("class").split())


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("unit", ["ft", "m"])
def test_the_exaggeration_printed_is_the_one_drawn(make_report, unit: str, size: Size) -> None:
    report = make_report(unit=unit)
    drawn = Drawn(report, size)
    # From the ground's own path: points down over points along, against metres over metres.
    path = drawn.parts("ground")[0][0].get("d")
    points = np.array([step.split() for step in path[1:].split("L")], float)
    stations = report.stations
    run = float(stations.footage_m[-1] - stations.footage_m[0])
    across = np.ptp(points[:, 0]) / run
    invert = np.array(drawn.parts("invert")[0][0].get("d")[1:].split("L")[0].split(), float)
    upright = (invert[1] - points[0, 1]) / float(stations.depth_m[0])
    words = " ".join(drawn.texts("heading"))
    said = 1.0 if "1 : 1" in words else float(re.search(r"exaggeration ([0-9.]+) ×", words)[1])
    assert upright / across == pytest.approx(said, rel=5e-3)


def test_level_ground_is_said_and_drawn_dashed(make_report) -> None:
    level, measured = Drawn(make_report(level_ground=True)), Drawn(make_report())
    assert "Ground taken as level" in " ".join(level.texts("heading"))
    assert "level" not in " ".join(measured.texts("heading"))
    assert level.parts("ground")[0][0].get("stroke-dasharray")
    assert not measured.parts("ground")[0][0].get("stroke-dasharray")
    assert "Depth, ft" in level.texts()
    assert "Elevation, ft" in measured.texts()


def test_a_locate_stands_at_its_reading_brought_down_to_the_invert(report: Report) -> None:
    """Invert depth = reading - held above + transmitter above invert, at the transmitter."""
    drawn, site = Drawn(report), report.site
    groups = {group.get("data-mark"): group for group in drawn.parts("locate")}
    shown = 0
    for result in report.locates:
        locate = result.locate
        if locate.depth_m is None or locate.mark not in groups or len(groups[locate.mark]) < 2:
            continue
        ring = next(each for each in groups[locate.mark] if each.tag == "circle")
        footage = locate.footage_m - site.transmitter.behind_lens_m
        ground = np.interp(footage, report.stations.footage_m, report.stations.ground_m)
        depth = locate.depth_m - locate.held_above_m + site.transmitter.above_invert_m
        at, level = drawn.place(*centre(ring))
        assert at == pytest.approx(from_metres(footage, "ft"), abs=2e-3)
        assert level == pytest.approx(from_metres(float(ground) - depth, "ft"), abs=4e-3)
        shown += 1
    assert shown >= sum(one.locate.use and one.depth_m is not None for one in report.locates) > 2


def test_a_depth_read_has_the_range_it_was_weighed_with(report: Report) -> None:
    loose = tuple(
        replace(one, sd_depth_m=None if one.sd_depth_m is None else 3.0 * one.sd_depth_m)
        for one in report.locates
    )

    def spans(drawn: Drawn) -> list[float]:
        whiskers = [group[1] for group in drawn.parts("locate") if len(group) > 2]
        heights = []
        for path in whiskers:
            upright = path.get("d").split("M")[1].split("L")
            ys = [drawn.place(*map(float, point.split()))[1] for point in upright]
            heights.append(abs(ys[0] - ys[1]))
        return heights

    used = [o for o in report.locates if o.locate.use and o.sd_depth_m is not None]
    wanted = [2 * 1.959964 * from_metres(one.sd_depth_m, "ft") for one in used]
    seen = spans(Drawn(report))
    for one in wanted:
        assert min(abs(one - each) for each in seen) < 5e-3
    wide = spans(Drawn(replace(report, locates=loose)))
    for one in wanted:
        assert min(abs(3.0 * one - each) for each in wide) < 1.5e-2


def test_findings_stand_on_the_invert_with_the_shape_of_their_verdict(report: Report) -> None:
    drawn = Drawn(report)
    shapes = {
        "inside": "disc", "past": "square", "too close to call": "diamond", "across": "diamond",
        "past from within": "square",
    }  # fmt: skip
    groups = {int(group.get("data-number")): group for group in drawn.parts("finding")}
    assert sorted(groups) == [result.number for result in report.findings]
    for result in report.findings:
        shape, element = mark(groups[result.number])
        if result.verdict and result.finding_class != "danger":
            assert shape == shapes[result.verdict]
        at, level = drawn.place(*centre(element))
        assert at == pytest.approx(from_metres(result.finding.footage_m, "ft"), abs=2e-3)
        invert = np.interp(
            result.finding.footage_m, report.stations.footage_m, report.stations.elevation_m
        )
        assert level == pytest.approx(from_metres(float(invert), "ft"), abs=4e-3)


def test_a_stretch_is_drawn_from_end_to_end(report: Report) -> None:
    drawn = Drawn(report)
    stretches = [one for one in report.findings if one.finding.to_m is not None]
    assert stretches
    drawn_ends = [(line[0, 0], line[-1, 0]) for line in drawn.paths("stretch")]
    for one, (begin, end) in zip(stretches, drawn_ends, strict=True):
        assert begin == pytest.approx(from_metres(one.finding.footage_m, "ft"), abs=2e-3)
        assert end == pytest.approx(from_metres(one.finding.to_m, "ft"), abs=2e-3)


def test_crossings_stand_at_their_footage_with_their_range_in_words(report: Report) -> None:
    drawn = Drawn(report, WIDE)
    groups = drawn.parts("crossing")
    for group, crossing in zip(groups, report.crossings, strict=True):
        band, upright = group
        at, _ = drawn.place(float(upright.get("d")[1:].split()[0]), 0.0)
        assert at == pytest.approx(from_metres(crossing.footage_m, "ft"), abs=2e-3)
        left, right = (
            drawn.place(float(p.split()[0]), 0.0)[0] for p in band.get("d")[1:].split("L")[:2]
        )
        sd = from_metres(crossing.sd_footage_m, "ft")
        assert right - left == pytest.approx(2 * 1.959964 * sd, abs=4e-3)
    flags = set(drawn.texts("label-crossing"))
    assert flags == {"right of way 61.2 ± 0.8 ft", "curb 73.7 ± 0.8 ft"}


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("wishes", [{}, MANY])
def test_where_parties_change_is_always_said_in_full(make_report, wishes, size: Size) -> None:
    report = make_report(**wishes)
    said = " ".join(Drawn(report, size).texts())
    assert report.deciding_crossings
    for crossing in report.deciding_crossings:
        assert crossing_words((crossing,), report.site.unit) in said


def test_the_findings_nearest_to_the_change_are_said_the_fullest(make_report) -> None:
    report = make_report(**MANY)
    drawn = Drawn(report, WIDE)
    change = report.deciding_crossings[0].footage_m
    gaps = {one.number: abs(one.near.footage_m - change) for one in report.findings}
    nearest = sorted(gaps, key=gaps.__getitem__)[:4]
    own = {text.split(" ")[0] for text in drawn.texts("label-finding") if "–" not in text}
    assert {f"#{number}" for number in nearest} <= own
    assert len(own) < len(gaps)
    # Of those that stand alone, the nearest are told in the fullest words.
    told = [text for text in drawn.texts("label-finding") if text.startswith(f"#{nearest[0]} ")]
    assert told


def test_a_utility_of_known_depth_stands_at_it_with_its_range(report: Report) -> None:
    drawn = Drawn(report, WIDE)
    known = drawn.parts("known")
    met = [
        (utility, one) for utility in report.utilities if utility.depth_m is not None
        for one in utility.crossings
    ]  # fmt: skip
    assert len(known) == len(met) > 0
    # The most dangerous is drawn last, on top.
    for group, (utility, one) in zip(reversed(known), met, strict=True):
        ring = next(each for each in group if each.tag == "circle")
        at, level = drawn.place(*centre(ring))
        ground = float(
            np.interp(one.footage_m, report.stations.footage_m, report.stations.ground_m)
        )
        assert at == pytest.approx(from_metres(one.footage_m, "ft"), abs=2e-3)
        assert level == pytest.approx(from_metres(ground - utility.depth_m, "ft"), abs=4e-3)
        whisker = group[1].get("d").split("M")[1].split("L")
        low, high = (drawn.place(*map(float, point.split()))[1] for point in whisker)
        assert low < level < high


def test_a_utility_of_unknown_depth_is_a_band_over_every_depth(report: Report) -> None:
    """From the ground to the foot of the graph, and no mark at a depth that nobody knows."""
    drawn = Drawn(report, WIDE)
    unknown = drawn.parts("unknown")
    met = [
        one for utility in report.utilities if utility.depth_m is None for one in utility.crossings
    ]
    assert len(unknown) == len(met) > 0
    for group, one in zip(reversed(unknown), met, strict=True):
        ring = np.array(
            [drawn.place(*map(float, p.split())) for p in group[0].get("d")[1:-1].split("L")]
        )
        at = from_metres(one.footage_m, "ft")
        assert ring[:, 0].min() <= at <= ring[:, 0].max()
        ground = float(
            np.interp(one.footage_m, report.stations.footage_m, report.stations.ground_m)
        )
        assert ring[:, 1].max() == pytest.approx(from_metres(ground, "ft"), abs=4e-3)
        assert ring[:, 1].min() == pytest.approx(from_metres(drawn.frame.low_m, "ft"), abs=4e-3)
        assert [text.text[-1] for text in group.iter("text")] == ["?"]
        assert not [each for each in group if each.tag == "circle"]


def test_what_nothing_was_located_on_is_shaded_and_said_aloud(report: Report) -> None:
    drawn = Drawn(report)
    (shade,) = drawn.parts("dead-reckoned")
    dead = [
        f
        for f, b in zip(report.stations.footage_m, report.stations.basis, strict=True)
        if b == "dead reckoned"
    ]
    begin, end = (drawn.place(float(shade.get(f"data-{k}")), 0.0)[0] for k in ("left", "right"))
    assert begin <= from_metres(float(dead[0]), "ft") <= begin + 1.0
    assert end == pytest.approx(from_metres(float(dead[-1]), "ft"), abs=2e-3)
    assert shade[0].get("d")
    assert any(text.startswith("DEAD") for text in drawn.texts("unlocated-words"))


def test_a_wholly_located_line_says_nothing_of_dead_reckoning(report: Report) -> None:
    stations = replace(report.stations, basis=("located",) * len(report.stations.basis))
    drawn = Drawn(replace(report, stations=stations))
    assert not any("DEAD" in text for text in drawn.texts())


def overlapping(drawn: Drawn) -> Iterator[tuple[str, str]]:
    letters = {*"GEWCRS", *(f"{letter}?" for letter in "GEWCRS")}
    for (text, one), (other, two) in combinations(drawn.boxes(), 2):
        if {text, other} <= letters:
            continue  # utilities met at one place stand at their own depths
        across = min(one[2], two[2]) - max(one[0], two[0])
        down = min(one[3], two[3]) - max(one[1], two[1])
        if across > 0.5 and down > 1.2:
            yield text, other


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("wishes", [MANY, {}, {"unit": "m", "level_ground": True}])
def test_no_two_texts_overlap_and_none_leaves_the_sheet(make_report, wishes, size: Size) -> None:
    drawn = Drawn(make_report(**wishes), size)
    width, height = (float(side) for side in drawn.root.get("viewBox").split()[2:])
    for text, box in drawn.boxes():
        assert box[0] > -1, text
        assert box[2] < width + 1, text
        assert box[1] > -1, text
        assert box[3] < height + 1, text
    assert list(overlapping(drawn)) == []


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_no_text_is_smaller_than_9_points(make_report, size: Size) -> None:
    sizes = [float(t.get("font-size")) for t in Drawn(make_report(**MANY), size).root.iter("text")]
    assert min(sizes) >= 9.0


def test_a_telephone_shows_the_narrow_profile_as_large_as_print() -> None:
    page_px = 390.0 - 18.0  # the page's own margins
    assert 9.0 * page_px / NARROW.width_pt >= 11.0


def test_all_eighty_findings_are_named_somewhere(make_report) -> None:
    drawn = Drawn(make_report(**MANY), WIDE)
    named: set[int] = set()
    for text in drawn.texts("label-finding"):
        numbers = [int(n) for n in re.findall(r"#(\d+)", text)]
        named |= set(range(numbers[0], numbers[-1] + 1))
    assert named == set(range(1, 81))


def test_the_strips_cover_the_run_without_gaps(report: Report) -> None:
    for row in profile_rows(report):
        assert row.cells[0].from_m == pytest.approx(0.0)
        assert row.cells[-1].to_m == pytest.approx(report.site.run.end_m)
        for one, following in pairwise(row.cells):
            assert one.to_m == pytest.approx(following.from_m)


@pytest.mark.parametrize("unit", ["ft", "m"])
def test_pipe_runs_are_said_in_inches_or_millimetres(make_report, unit: str) -> None:
    report = make_report(unit=unit)
    small = "mm" if unit == "m" else "in"
    said = set(Drawn(report, WIDE).texts("strip"))
    for pipe in report.pipes:
        words = f"{format_small(pipe.size_m, unit)} {pipe.material}"
        assert f" {small} " in words
        assert words in said


@pytest.fixture(scope="module")
def files(report: Report) -> tuple[str, bytes]:
    return profile_files(report)


def test_print_files_repeat_to_the_byte(files, make_report) -> None:
    assert files == profile_files(make_report())
    picture = Image.open(io.BytesIO(files[1]))
    assert picture.width == 2200  # 11 in at 200 dots to the inch


def test_coordinates_are_written_to_a_thousandth_of_a_point(files) -> None:
    svg, _ = files
    written = re.findall(r'(?: d|x|y|cx|cy|r|width|height)="([^"]+)"', svg)
    decimals = [len(n) for each in written for n in re.findall(r"\.(\d+)", each)]
    assert len(decimals) > 1000
    assert max(decimals) <= 3


def test_the_picture_shows_the_same_shapes(report: Report, files) -> None:
    """A dot where the SVG has a finding, a utility's ring and the ground has their colour."""
    drawn = Drawn(report)
    picture = Image.open(io.BytesIO(files[1])).convert("RGB")
    per_pt = 200.0 / 72.0
    for group in drawn.parts("finding"):
        _, shape = mark(group)
        x, y = centre(shape)
        wanted = tuple(int(shape.get("fill")[i : i + 2], 16) for i in (1, 3, 5))
        box = (int(x * per_pt) - 6, int(y * per_pt) - 6, int(x * per_pt) + 7, int(y * per_pt) + 7)
        near = np.array(picture.crop(box), int).reshape(-1, 3)
        assert np.abs(near - wanted).sum(axis=1).min() < 30, group.get("data-number")


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_the_svg_suits_a_strict_page(report: Report, size: Size) -> None:
    drawn = Drawn(report, size)
    width, height = (float(side) for side in drawn.root.get("viewBox").split()[2:])
    assert (drawn.root.get("width"), width) == (f"{size.width_pt:g}pt", size.width_pt)
    assert drawn.root.get("height") == f"{height:g}pt"
    assert {each.tag for each in drawn.root.iter()} <= {
        "svg",
        "g",
        "path",
        "rect",
        "circle",
        "text",
    }
    for each in drawn.root.iter():
        # Nothing that two drawings on one page could share, nothing a policy refuses.
        assert not {"id", "style", "href"} & set(each.attrib)
        assert not [value for value in each.attrib.values() if "url(" in value]
    assert set(re.findall(r"https?://[^\s\"']+", drawn.svg)) == {"http://www.w3.org/2000/svg"}


@pytest.mark.parametrize("width", ["wide", "narrow", "paper"])
def test_the_page_knows_where_footages_stand(report: Report, width) -> None:
    """The numbers given to the page find the invert's own path in the SVG."""
    data = page_profile(report, width)
    root = ET.fromstring(data["svg"])
    groups = [g for g in root.iter() if "invert" in g.get("class", "").split()]
    steps = [step for g in groups for step in g[0].get("d")[1:].split("L")]
    points = np.array([step.split() for step in steps], float)
    share = (data["to"] - data["from"]) / (data["right"] - data["left"])
    first, last = (data["from"] + (x - data["left"]) * share for x in (points[0, 0], points[-1, 0]))
    assert first == pytest.approx(0.0, abs=1e-3)
    assert last == pytest.approx(100.0, abs=1e-3)
    rise = (data["high"] - data["low"]) / (data["bottom"] - data["top"])
    level = data["low"] + (data["bottom"] - points[0, 1]) * rise
    assert level == pytest.approx(
        from_metres(float(report.stations.elevation_m[0]), "ft"), abs=1e-3
    )


def test_hostile_words_neither_fail_nor_run(make_report) -> None:
    report = make_report(word=HOSTILE)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        svg, _ = profile_files(report)
    root = ET.fromstring(svg)
    assert not [each for each in root.iter() if each.tag.endswith(("script", "img"))]
    assert not [name for each in root.iter() for name in each.attrib if name.startswith("on")]


@pytest.mark.parametrize("length", [2.0, 12.0])
def test_short_and_deep_runs_are_drawn(make_report, length: float) -> None:
    report = make_report()
    footage = report.stations.footage_m * (length / 100.0)
    stations = replace(report.stations, footage_m=footage)
    short = replace(
        report, stations=stations, crossings=(), falls=(), pipes=(), responsibility=(),
        locates=(), utilities=(),
    )  # fmt: skip
    drawn = Drawn(short)
    words = " ".join(drawn.texts("heading"))
    said = 1.0 if "1 : 1" in words else float(re.search(r"exaggeration ([0-9.]+)", words)[1])
    assert drawn.frame.exaggeration == pytest.approx(said, rel=5e-3)
    assert drawn.frame.low_m < float(stations.elevation_m.min())
    assert drawn.frame.high_m > float(stations.ground_m.max())
