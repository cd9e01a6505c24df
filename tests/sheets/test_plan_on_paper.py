"""The plan on paper says and shows what the map page does, from the same layers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from lxml import etree
from paper import page_texts
from shapely.geometry import LineString, Polygon
from sheets.builder import SHED_M, line_report, line_site
from truth.simulate import FOOT

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.plan.figure import plan_on
from lateral_map.draw.plan.findings import findings_layer, stretches_layer
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.locates import locates_layer
from lateral_map.draw.plan.paper import draw_plan
from lateral_map.draw.plan.scales import figure_scales
from lateral_map.draw.plan.scene import ALWAYS, Area, Layer, Line, Mark
from lateral_map.draw.profile.painter import page_profile
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.draw.sheet.plan import sheet_layers
from lateral_map.draw.style import AREAS, LINES, MARKS, PAPER, UTILITY_LETTERS
from lateral_map.model.results import Report
from lateral_map.model.site import Finding, Locate, PlanLine, PositionTie
from lateral_map.report import build_report

DEMOS = ("plain_lot", "garage_slab", "rising_ground")
NOT_ON_SHEETS = {"ties", "responsibility", "next"}


def plan_group(svg: str) -> Any:
    (group,) = etree.fromstring(svg).xpath("*[@class='plan']")
    return group


def texts(group: Any) -> list[tuple[str, float]]:
    """Return what is written in a plan and how large, utility letters left out."""
    letters = {*UTILITY_LETTERS.values(), *(f"{one}?" for one in UTILITY_LETTERS.values())}
    every = group.xpath("*[local-name()='text']")
    return [(each.text, float(each.get("font-size"))) for each in every if each.text not in letters]


def numbers(path: str) -> np.ndarray:
    return np.array(re.findall(r"-?[\d.]+", path), float).reshape(-1, 2)


def alone(layer: Layer, report: Report, sheets: SheetSet) -> Any:
    """Return the plan drawn with one layer only."""
    canvas = Canvas.sheet(100.0, 100.0, "")
    draw_plan(canvas, [layer], sheets.setting.cuts[0].window)
    return canvas.element


def drawn_shape(mark: Mark, report: Report, sheets: SheetSet) -> tuple[str, int]:
    """Return the element a mark is drawn as, and of how many points."""
    bare = replace(mark, caption="", short="")
    first = next(iter(alone(Layer("one", "", (bare,)), report, sheets)))
    return first.tag, len(numbers(first.get("d"))) if first.get("d") else 0


@pytest.mark.parametrize("name", DEMOS)
def test_every_caption_of_the_screens_layers_is_on_the_sheet(
    demo: Callable[[str], Report], drawn: Callable[..., SheetSet], name: str
) -> None:
    report = demo(name)
    sheets = drawn(report)
    (svg,) = sheets.drawings
    said = " ".join(words for words, _ in texts(plan_group(svg)))
    screen = [layer for layer in plan_layers(report) if layer.key not in NOT_ON_SHEETS]
    assert [layer.key for layer in screen] == [layer.key for layer in sheet_layers(report)]
    window, panel = sheets.setting.cuts[0].window, sheets.setting.panels.plan
    for layer in screen:
        for item in layer.items:
            if isinstance(item, Mark) and layer.key != "footage":
                ((x, y),) = window.to_paper([[item.easting_m, item.northing_m]])
                within = panel.grown(-6.0).holds(Box.around(x, y, 0.0))
                # A spot level stands beside its mark or nowhere.
                if within and item.style != "level":
                    assert item.caption in said
            elif isinstance(item, Line) and item.caption:
                shown = LineString(window.to_paper(item.at_m)).intersects(
                    Polygon([(panel.left, panel.top), (panel.right, panel.top),
                             (panel.right, panel.bottom), (panel.left, panel.bottom)])
                )  # fmt: skip
                assert not shown or item.caption in said


@pytest.mark.parametrize("name", DEMOS)
def test_number_verdict_party_and_footage_are_on_paper_as_on_the_screen(
    demo: Callable[[str], Report], printed: Callable[..., bytes], name: str
) -> None:
    report = demo(name)
    found = " ".join(word for page in page_texts(printed(report)) for word in page.split())
    marks = [item for item in findings_layer(report).items if isinstance(item, Mark)]
    picked = [mark.detail for mark in marks if mark.caption]
    assert len(picked) == len(report.findings)
    for detail, result in zip(picked, report.findings, strict=True):
        assert detail is not None
        rows = dict(detail.rows)
        assert f"#{result.number}" in found
        for key in ("Footage", "Answers for it"):
            for word in rows.get(key, "").split():
                assert word in found, (key, rows[key])
        assert result.verdict is None or result.verdict in found
    (crossings,) = (layer for layer in sheet_layers(report) if layer.key == "crossings")
    for mark in crossings.items:
        for word in mark.caption.split():
            assert word in found, mark.caption


def judged_report() -> Report:
    """A line whose curb lies at 70 ft, with a finding of every verdict."""
    ends = {"inside": (20.0, 25.0), "past": (90.0, 92.0), "across": (60.0, 85.0),
            "past from within": (70.0, 88.0), "too close to call": (70.0, None)}  # fmt: skip
    findings = tuple(
        Finding(at * FOOT, verdict, None if to is None else to * FOOT)
        for verdict, (at, to) in ends.items()
    )
    return build_report(replace(line_site(100.0, 0), findings=findings))


def test_a_findings_shape_is_its_verdicts() -> None:
    report = judged_report()
    assert {result.finding.finding: result.verdict for result in report.findings} == {
        verdict: verdict for verdict in (
            "inside", "past", "across", "past from within", "too close to call"
        )
    }  # fmt: skip
    sheets = draw_sheets(report)
    marks = [item for item in findings_layer(report).items if isinstance(item, Mark)]
    shapes = {mark.style: drawn_shape(mark, report, sheets) for mark in marks if mark.caption}
    assert shapes["side inside"] == ("circle", 0)
    assert shapes["side past"] == ("path", 4)
    assert shapes["side too close to call"] == ("path", 4)
    assert len({MARKS[style].shape for style in shapes}) == 5
    # One that reaches across is neither round nor square, but both.
    assert shapes["side across"][1] > 8
    assert shapes["side past from within"] == ("path", 5)


def test_a_stretch_is_drawn_from_one_end_to_the_other() -> None:
    report = judged_report()
    sheets = draw_sheets(report)
    window = sheets.setting.cuts[0].window
    items = stretches_layer(report).items
    lines = [item for item in items if isinstance(item, Line)]
    ends = [item for item in items if item.style == "stretch end"]
    stretches = [result for result in report.findings if result.far]
    assert len(lines) == len(ends) == len(stretches) == 4
    for line, end, result in zip(lines, ends, stretches, strict=True):
        (path,) = alone(Layer("one", "", (replace(line, caption=""),)), report, sheets)
        drawn = numbers(path.get("d"))
        assert result.far is not None
        for place, point in ((result.near, drawn[0]), (result.far, drawn[-1])):
            wanted = window.to_paper([[place.easting_m, place.northing_m]])[0]
            assert point == pytest.approx(wanted, abs=0.002)
        assert end.footage_m == result.finding.to_m
        (bracket,) = alone(Layer("one", "", (end,)), report, sheets)
        far = window.to_paper([[result.far.easting_m, result.far.northing_m]])[0]
        assert numbers(bracket.get("d"))[1:3].mean(axis=0) == pytest.approx(far, abs=0.01)


def test_a_locate_set_aside_stands_where_it_was_marked() -> None:
    site = line_site(100.0, 3)
    away = np.array([12.0, 3.0])
    aside = Locate("stray", 50.0 * FOOT, ties=(PositionTie(*away, 0.05, "xy"),), use=False)
    report = build_report(replace(site, locates=(*site.locates, aside)))
    sheets = draw_sheets(report)
    (mark,) = (item for item in locates_layer(report).items if item.style == "locate set aside")
    ring = next(iter(alone(Layer("one", "", (replace(mark, caption=""),)), report, sheets)))
    wanted = sheets.setting.cuts[0].window.to_paper([away])[0]
    assert [float(ring.get("cx")), float(ring.get("cy"))] == pytest.approx(wanted, abs=0.002)
    assert ring.get("stroke-dasharray")


def test_a_utility_of_unknown_depth_carries_a_question_mark(report: Report) -> None:
    depths = {one.utility: one.depth_m for one in report.site.plan.utilities}
    assert depths["water"] is None
    assert depths["gas"] is not None
    group = plan_group(draw_sheets(report).drawings[0])
    letters = {each.text for each in group.xpath("*[local-name()='text']")}
    assert "W?" in letters
    assert "W" not in letters
    assert "G" in letters
    assert "G?" not in letters


def test_locate_marks_are_round_and_utility_letters_stand_in_boxes(report: Report) -> None:
    assert {style.shape.split()[0] for key, style in MARKS.items() if key.startswith("locate")} == {
        "target"
    }
    group = plan_group(draw_sheets(report).drawings[0])
    boxes = group.xpath("*[local-name()='rect']")
    lettered = [each for each in group.xpath("*[local-name()='text']") if each.text in ("G", "W?")]
    assert len(boxes) == len(lettered) > 0


def test_lines_that_coincide_have_one_label() -> None:
    site = line_site(100.0, 0)
    (curb,) = site.plan.lines
    twin = PlanLine("plot line", "property_line", curb.vertices_m[::-1] + 0.01, 0.15)
    lines = (curb, twin)
    report = build_report(replace(site, plan=replace(site.plan, lines=lines)))
    captions = {
        layer.key: [item.caption for item in layer.items if item.caption]
        for layer in plan_layers(report)
        if layer.key in ("boundaries", "crossings")
    }
    assert captions["boundaries"] == ["curb and plot line"]
    assert len(captions["crossings"]) == 1
    assert captions["crossings"][0].startswith("curb")
    assert "plot line" in captions["crossings"][0]


def test_one_place_on_the_profile_has_one_flag() -> None:
    site = line_site(100.0, 0)
    (curb,) = site.plan.lines
    twin = PlanLine("plot line", "property_line", curb.vertices_m[::-1] + 0.01, 0.15)
    report = build_report(replace(site, plan=replace(site.plan, lines=(curb, twin))))
    assert len(report.crossings) == 2
    for width in ("wide", "narrow", "paper"):
        drawn = etree.fromstring(page_profile(report, width)["svg"])
        flags = drawn.xpath("//*[contains(@class, 'label-crossing')]")
        assert len(flags) == 1, width
        words = " ".join(flags[0].itertext())
        assert "curb" in words
        assert width == "narrow" or "plot line" in words


def test_points_in_one_place_have_one_caption() -> None:
    site = line_site(100.0, 0)
    first = site.plan.points[0]
    twin = replace(first, name="their corner", easting_m=first.easting_m + 0.01)
    points = (*site.plan.points, twin)
    report = build_report(replace(site, plan=replace(site.plan, points=points)))
    (layer,) = (one for one in plan_layers(report) if one.key == "points")
    captions = [item.caption for item in layer.items if isinstance(item, Mark) and item.caption]
    assert len([one for one in captions if "their corner" in one]) == 1
    assert f"{first.name} and their corner" in captions
    assert len(captions) == len(points) - 1 - (site.start.point is not None)


@pytest.mark.parametrize("name", DEMOS)
def test_no_caption_erases_a_line_that_has_a_name(demo: Callable[[str], Report], name: str) -> None:
    report = demo(name)
    sheets = draw_sheets(report)
    window = sheets.setting.cuts[0].window
    named = [
        LineString(window.to_paper(item.at_m))
        for layer in sheet_layers(report)
        for item in layer.items
        if isinstance(item, Line) and item.caption
    ]
    plates = [
        Polygon(numbers(each.get("d")))
        for each in plan_group(sheets.drawings[0]).xpath("*[local-name()='path']")
        if each.get("fill") == PAPER and each.get("fill-opacity")
    ]
    assert len(named) > 3
    assert len(plates) > 20
    for plate in plates:
        assert not any(plate.buffer(-1.5).intersects(line) for line in named)


@pytest.mark.parametrize("name", DEMOS)
def test_captions_are_set_in_letters_of_9_points(
    demo: Callable[[str], Report], drawn: Callable[..., SheetSet], name: str
) -> None:
    (svg,) = drawn(demo(name)).drawings
    assert {size for _, size in texts(plan_group(svg))} == {9.0}


def test_what_decides_is_labelled_in_any_crowd(long_report: Report) -> None:
    captions = [
        mark.short or mark.caption
        for layer in plan_layers(long_report)
        for mark in layer.items
        if isinstance(mark, Mark) and mark.weight >= ALWAYS
    ]
    assert len(captions) == 2
    for paper, scale in (("letter", "1 in = 40 ft"), ("tabloid", "1 in = 20 ft")):
        drawings = draw_sheets(long_report, paper=paper, scale=scale).drawings
        said = " ".join(words for svg in drawings for words, _ in texts(plan_group(svg)))
        assert all(caption in said for caption in captions)


def shifted(item: Line | Area | Mark, by: np.ndarray) -> Line | Area | Mark:
    if isinstance(item, Line):
        return replace(item, at_m=item.at_m + by)
    if isinstance(item, Mark):
        return replace(item, easting_m=item.easting_m + by[0], northing_m=item.northing_m + by[1])
    return item


def test_the_last_bits_of_a_place_change_no_byte(long_report: Report) -> None:
    window = draw_sheets(long_report, paper="tabloid", scale="1 in = 20 ft").setting.cuts[0].window
    rng = np.random.default_rng(5)
    drawn = []
    for size in (0.0, 1e-12):
        layers = [
            replace(
                layer,
                items=tuple(shifted(item, size * rng.normal(size=2)) for item in layer.items),
            )
            for layer in plan_layers(long_report)
        ]
        canvas = Canvas.sheet(1000.0, 500.0, "")
        draw_plan(canvas, layers, window)
        drawn.append(canvas.to_text())
    assert drawn[0] == drawn[1]


def test_every_style_of_a_line_drawn_on_paper_is_told_apart() -> None:
    utilities = [key for key in LINES if key.startswith("utility ")]
    assert len({LINES[key].letter for key in utilities}) == len(utilities)


@pytest.mark.parametrize(("unit", "size"), [("ft", (540.0, 260.0)), ("m", (300.0, 300.0))])
def test_a_figure_is_to_the_scale_it_states(unit: str, size: tuple[float, float]) -> None:
    report = line_report(100.0, 4, unit=unit)
    figure = etree.fromstring(plan_on(report, *size, "the line from above").to_text())
    assert (figure.get("width"), figure.get("height")) == tuple(f"{side:g}pt" for side in size)
    assert figure.get("aria-label") == "the line from above"
    (stated,) = (
        scale
        for scale in figure_scales(unit)
        if scale.words in figure.xpath("*[local-name()='text']/text()")
    )
    steps = figure.xpath("*[@class='scale-bar']/*[local-name()='rect']")
    said = figure.xpath("*[@class='scale-bar']/*[local-name()='text']/text()")
    long_m = float(said[-1].split()[0]) * (FOOT if unit == "ft" else 1.0)
    drawn = sum(float(step.get("width")) for step in steps)
    assert drawn == pytest.approx(long_m * stated.points_per_metre, rel=1e-4)
    # The shed is as large as it is.
    walls = [
        numbers(each.get("d"))
        for each in figure.xpath("*[@class='plan']/*[local-name()='path']")
        if each.get("fill") == AREAS["building"].fill
    ]
    sides = sorted(np.hypot(*(walls[0] - np.roll(walls[0], 1, axis=0)).T))
    wanted = sorted((*SHED_M, *SHED_M))
    assert sides == pytest.approx(np.array(wanted) * stated.points_per_metre, abs=0.004)
