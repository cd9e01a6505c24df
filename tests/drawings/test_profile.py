"""The profile's artists read back from the finished figure."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from lateral_map.draw.profile_parts import locate_invert
from lateral_map.draw.profile_strips import profile_strips
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from lateral_map.draw.profile import (
    page_profile,
    profile_figure,
    profile_png,
    profile_svg,
)
from lateral_map.model.results import Report
from lateral_map.model.site import Bend
from lateral_map.units import from_metres

HOSTILE = "{{7*7}}{%{#${`</script><img src=x onerror=alert(1)>\u2028$x^2$ \\frac 🚿 שלום"
UNITS = ("ft", "us_ft", "m")
MANY = {"findings": 80, "length_units": 300.0}
PHONE = {"width_in": 4.1, "height_in": 5.5, "narrow": True}


def figure_of(report: Report, **how) -> Figure:
    return profile_figure(report, **{"width_in": 11.0, "height_in": 5.2, **how})


def artist(figure: Figure, gid: str):
    found = figure.findobj(lambda each: each.get_gid() == gid)
    assert len(found) == 1, gid
    return found[0]


def texts(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_visible() and text.get_text()]


def measured_exaggeration(axes: Axes) -> float:
    """One unit up over one unit along, in pixels, through the axes' own transform."""
    origin, along, up = axes.transData.transform([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    return float((up[1] - origin[1]) / (along[0] - origin[0]))


@pytest.mark.parametrize("unit", UNITS)
def test_the_invert_passes_through_every_station(make_report, unit: str) -> None:
    report = make_report(unit=unit)
    line = artist(figure_of(report), "invert")
    stations = report.stations
    assert line.get_xdata() == pytest.approx(
        [from_metres(float(f), unit) for f in stations.footage_m]
    )
    assert line.get_ydata() == pytest.approx(
        [from_metres(float(z), unit) for z in stations.elevation_m]
    )


def test_ground_less_invert_is_the_depth_and_crown_is_a_pipe_size_up(report: Report) -> None:
    figure = figure_of(report)
    ground, invert, crown = (
        artist(figure, name).get_ydata() for name in ("ground", "invert", "crown")
    )
    depth = np.array([from_metres(float(d), "ft") for d in report.stations.depth_m])
    assert ground - invert == pytest.approx(depth)
    last = report.pipes[-1]
    assert crown[-1] - invert[-1] == pytest.approx(from_metres(last.size_m, "ft"))


def test_the_band_is_1_96_sd_each_side(report: Report) -> None:
    figure = figure_of(report)
    band = artist(figure, "band").get_xy()
    invert = artist(figure, "invert").get_ydata()
    half = 1.959964 * np.array([from_metres(float(s), "ft") for s in report.stations.depth_sd_m])
    assert band[:, 1].max() == pytest.approx((invert + half).max())
    assert band[:, 1].min() == pytest.approx((invert - half).min())


@pytest.mark.parametrize(
    "how", [{}, {"width_in": 4.1, "height_in": 5.5, "narrow": True}, {"height_in": 8.0}]
)
@pytest.mark.parametrize("unit", ["ft", "m"])
def test_the_exaggeration_printed_is_the_one_drawn(make_report, unit: str, how) -> None:
    figure = figure_of(make_report(unit=unit), **how)
    drawn = measured_exaggeration(figure.axes[0])
    words = artist(figure, "exaggeration").get_text()
    if "1 : 1" in words:
        assert drawn == pytest.approx(1.0, rel=5e-4)
    else:
        said = float(re.search(r"exaggeration ([0-9.]+) ×", words)[1])
        assert drawn == pytest.approx(said, rel=5e-3)


def test_level_ground_is_said_and_drawn_dashed(make_report) -> None:
    level, measured = make_report(level_ground=True), make_report()
    assert "Ground taken as level" in artist(figure_of(level), "exaggeration").get_text()
    assert "level" not in artist(figure_of(measured), "exaggeration").get_text()
    assert artist(figure_of(level), "ground").is_dashed()
    assert not artist(figure_of(measured), "ground").is_dashed()
    names = {text.get_text() for text in texts(figure_of(level))}
    assert "Depth, ft" in names
    assert "Elevation, ft" in {text.get_text() for text in texts(figure_of(measured))}


def test_a_locate_stands_at_its_reading_brought_down_to_the_invert(report: Report) -> None:
    """Invert depth = reading - held above + transmitter above invert, at the transmitter."""
    figure = figure_of(report)
    site = report.site
    for locate in site.locates:
        if locate.depth_m is None:
            continue
        mark = artist(figure, f"locate-{locate.footage_m:g}")
        footage = locate.footage_m - site.transmitter.behind_lens_m
        ground = np.interp(footage, report.stations.footage_m, report.stations.ground_m)
        depth = locate.depth_m - locate.held_above_m + site.transmitter.above_invert_m
        assert mark.get_xdata() == pytest.approx([from_metres(footage, "ft")])
        assert mark.get_ydata() == pytest.approx([from_metres(float(ground) - depth, "ft")])


def test_findings_stand_on_the_invert_with_the_shape_of_their_verdict(report: Report) -> None:
    figure = figure_of(report)
    shapes = {"inside": "o", "past": "s", "too close to call": "D"}
    for number, result in enumerate(report.findings, start=1):
        mark = artist(figure, f"finding-{number}")
        verdict = next(side.verdict for side in result.sides if side.line == "curb")
        assert mark.get_marker() == shapes[verdict]
        assert mark.get_xdata() == pytest.approx([from_metres(result.finding.footage_m, "ft")])
        level = np.interp(
            result.finding.footage_m, report.stations.footage_m, report.stations.elevation_m
        )
        assert mark.get_ydata() == pytest.approx([from_metres(float(level), "ft")])


def test_crossings_stand_at_their_footage_with_their_range_in_words(report: Report) -> None:
    figure = figure_of(report)
    for number, crossing in enumerate(report.crossings):
        across = artist(figure, f"crossing-{number}").get_xdata()
        assert across == pytest.approx([from_metres(crossing.footage_m, "ft")] * 2)
    flags = {text.get_text() for text in texts(figure) if text.get_gid() == "flag-crossing"}
    assert flags == {"right of way 61.2 ± 0.8 ft", "curb 73.7 ± 0.8 ft"}


def test_utilities_stand_at_their_depth_and_hollow_where_it_is_unknown(report: Report) -> None:
    figure = figure_of(report)
    marks = figure.findobj(lambda each: str(each.get_gid()).startswith("utility-"))
    by_footage = {round(float(mark.get_xdata()[0]), 1): mark for mark in marks}
    gas, cable = by_footage[69.3], by_footage[64.3]
    ground = np.interp(69.27 * 0.3048, report.stations.footage_m, report.stations.ground_m)
    assert gas.get_ydata() == pytest.approx([from_metres(float(ground), "ft") - 3.0], abs=0.01)
    assert gas.get_markerfacecolor() == "#FFD400"
    assert cable.get_markerfacecolor() == "#ffffff"


def test_what_nothing_was_located_on_is_shaded_and_said_aloud(report: Report) -> None:
    figure = figure_of(report)
    shade = artist(figure, "unlocated-dead-reckoned")
    dead = [
        f
        for f, b in zip(report.stations.footage_m, report.stations.basis, strict=True)
        if b == "dead reckoned"
    ]
    begin, end = shade.get_x(), shade.get_x() + shade.get_width()
    assert begin <= from_metres(float(dead[0]), "ft") <= begin + 1.0
    assert end == pytest.approx(from_metres(float(dead[-1]), "ft"))
    assert any(text.get_text().startswith("DEAD RECKONED") for text in texts(figure))


def test_a_wholly_located_line_says_nothing_of_dead_reckoning(report: Report) -> None:
    stations = replace(report.stations, basis=("located",) * len(report.stations.basis))
    figure = figure_of(replace(report, stations=stations))
    assert not any("DEAD" in text.get_text() for text in texts(figure))


def boxes(figure: Figure) -> list[tuple[str, object]]:
    renderer = figure.canvas.get_renderer()
    return [(text.get_text(), text.get_window_extent(renderer)) for text in texts(figure)]


@pytest.mark.parametrize(
    ("wishes", "how"),
    [
        (MANY, {"width_in": 13.2, "height_in": 5.0}),
        (MANY, PHONE),
        ({}, {}),
        ({}, PHONE),
        ({"unit": "m", "level_ground": True}, {"width_in": 8.0, "height_in": 4.5}),
    ],
)  # fmt: skip
def test_no_two_texts_overlap_and_none_leaves_the_sheet(make_report, wishes, how) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = figure_of(make_report(**wishes), **how)
    FigureCanvasAgg(figure)
    figure.canvas.draw()
    placed = boxes(figure)
    width, height = figure.canvas.get_width_height()
    for text, box in placed:
        assert box.x0 > -1, text
        assert box.x1 < width + 1, text
        assert box.y0 > -1, text
        assert box.y1 < height + 1, text
    letters = set("GEWCRS")
    for index, (text, box) in enumerate(placed):
        for other, beside in placed[index + 1 :]:
            if {text, other} <= letters:
                continue  # utilities met at one place stand at their own depths
            inner_x = min(box.x1, beside.x1) - max(box.x0, beside.x0)
            inner_y = min(box.y1, beside.y1) - max(box.y0, beside.y0)
            assert inner_x <= 0.5 or inner_y <= 1.5, (text, other)


def test_all_eighty_findings_are_named_somewhere(make_report) -> None:
    figure = figure_of(make_report(findings=80, length_units=300.0), width_in=13.2)
    named: set[int] = set()
    for text in texts(figure):
        if text.get_gid() == "flag-finding":
            numbers = [int(n) for n in re.findall(r"\d+", text.get_text().split(" ")[0])]
            named |= set(range(numbers[0], numbers[-1] + 1))
    assert named == set(range(1, 81))


def test_the_strips_cover_the_run_without_gaps(report: Report) -> None:
    for strip in profile_strips(report):
        cells = [cell for cell in strip.cells if cell.wordings]
        assert cells[0].from_m == pytest.approx(0.0)
        assert cells[-1].to_m == pytest.approx(report.site.run.end_m)
        for one, following in pairwise(cells):
            assert one.to_m == pytest.approx(following.from_m)


def test_pipe_runs_are_said_in_inches_or_millimetres(make_report) -> None:
    def words(unit: str) -> set[str]:
        return {text.get_text() for text in texts(figure_of(make_report(unit=unit)))}

    assert {"4 in cast iron", "6 in clay", "6 in pvc"} <= words("ft")
    assert {"152 mm clay", "152 mm pvc"} <= words("m")


def test_print_files_repeat_to_the_byte(report: Report, make_report) -> None:
    again = make_report()
    assert profile_svg(report) == profile_svg(again)
    assert profile_png(report) == profile_png(again)
    picture = Image.open(io.BytesIO(profile_png(report)))
    assert picture.width == 2200  # 11 in at 200 dots to the inch


def test_the_svg_suits_a_strict_page(report: Report) -> None:
    svg = profile_svg(report)
    root = ET.fromstring(svg)
    width, height = (float(side) for side in root.get("viewBox").split()[2:])
    assert (root.get("width"), width) == ("792pt", 792.0)
    assert root.get("height") == f"{height:g}pt"
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    assert all(name.startswith("profile-") for name in ids)
    for each in root.iter():
        assert "style" not in each.attrib
        assert not each.tag.endswith(("style", "metadata", "script"))
        for name in ("href", "clip-path", "fill"):
            target = re.search(r"#(profile-[^)]+)\)?$", each.get(name, ""))
            if target:
                assert target[1] in ids
    assert set(re.findall(r"https?://[^\s\"']+", svg)) == {"http://www.w3.org/2000/svg"}


def test_wide_and_narrow_share_no_id(report: Report) -> None:
    wide, narrow = (page_profile(report, narrow=narrow)["svg"] for narrow in (False, True))
    assert not set(re.findall(r' id="([^"]+)"', wide)) & set(re.findall(r' id="([^"]+)"', narrow))


@pytest.mark.parametrize("narrow", [False, True])
def test_the_page_knows_where_footages_stand(report: Report, narrow: bool) -> None:
    """The numbers given to the page find the invert's own path in the SVG."""
    data = page_profile(report, narrow=narrow)
    root = ET.fromstring(data["svg"])
    prefix = "narrow" if narrow else "wide"
    group = next(each for each in root.iter() if each.get("id") == f"{prefix}-invert")
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", group[0].get("d"))]
    points = np.array(numbers).reshape(-1, 2)
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
        svg = profile_svg(report)
        profile_png(report)
    root = ET.fromstring(svg)
    assert not [each for each in root.iter() if each.tag.endswith(("script", "img"))]


@pytest.mark.parametrize("length", [2.0, 12.0])
def test_short_and_deep_runs_are_drawn(make_report, length: float) -> None:
    report = make_report()
    footage = report.stations.footage_m * (length / 100.0)
    stations = replace(report.stations, footage_m=footage)
    short = replace(report, stations=stations, crossings=(), falls=(), pipes=(), responsibility=())
    figure = figure_of(short)
    drawn = measured_exaggeration(figure.axes[0])
    said = float(re.search(r"exaggeration ([0-9.]+)", artist(figure, "exaggeration").get_text())[1])
    assert drawn == pytest.approx(said, rel=5e-3)
    low, high = figure.axes[0].get_ylim()
    assert low < from_metres(float(stations.elevation_m.min()), "ft")
    assert high > from_metres(float(stations.ground_m.max()), "ft")


def test_a_locate_near_a_drop_is_drawn_as_loose_as_it_was_weighed(report: Report) -> None:
    locate = next(one for one in report.site.locates if one.depth_m is not None)
    drop = Bend(locate.footage_m + 0.5, fall_deg=45.0)
    near = replace(report, site=replace(report.site, bends=(drop,)))
    _, _, half_ft = locate_invert(near, locate)
    # A transmitter tilted 45 degrees over-reads by 0.4577 of the depth (dipole, from its field).
    own = max(0.05 * locate.depth_m, report.site.transmitter.sd_depth_floor_m)
    assert half_ft * 0.3048 == pytest.approx(1.959964 * np.hypot(own, 0.4577 * locate.depth_m))
