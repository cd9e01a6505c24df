"""Whole sheets: nothing printed over anything, everything said, hostile words harmless."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from lxml import etree
from paper import page_letters, page_texts
from sheets.builder import line_report, line_site

from lateral_map.draw.packet.document import sheet_html
from lateral_map.draw.profile.rows import answers_bar
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.draw.sheet.strip import legend_rows
from lateral_map.draw.style import LINES, MARKS
from lateral_map.errors import AnalysisError
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.results import Report, ResponsibilityStretch
from lateral_map.model.site import Finding
from lateral_map.report import build_report
from lateral_map.words.numbers import plus_minus
from lateral_map.words.technician import report_tables

Drawn = Callable[..., SheetSet]
Printed = Callable[..., bytes]
DEMOS = ("plain_lot", "garage_slab", "rising_ground")
HOSTILE = (
    "<script>alert(1)</script>",
    '=HYPERLINK("http://example.invalid","x")',
    "{{7*7}} {% x %} ${1}",
    "שלום עולם مرحبا",
    "\u202ereversed\u202c",
    "🪨🧨👩‍🔧",
    "東京都",
    "a\x00b\x08c\ufffe",
    "]]></svg><svg onload=alert(1)>",
    "x" * 5000,
)


@pytest.mark.parametrize("name", DEMOS)
def test_no_text_is_printed_over_other_text_on_a_demo(
    demo: Callable[[str], Report], drawn: Drawn, printed: Printed, name: str
) -> None:
    assert not any(drawn(demo(name)).left_out)
    for page in page_letters(printed(demo(name))):
        assert page.overprinted() == []


@pytest.mark.parametrize("name", DEMOS)
def test_no_word_on_a_demos_sheet_is_cut(
    demo: Callable[[str], Report], drawn: Drawn, name: str
) -> None:
    report = demo(name)
    (drawing,) = drawn(report).drawings
    assert "…" not in drawing
    said = " ".join(etree.fromstring(drawing).xpath("//*[local-name()='text']/text()"))
    for crossing in report.crossings:
        # On the plan, and over the profile.
        assert said.count(crossing.line) >= 2
    for _, words in legend_rows(report):
        assert words in said


def profile_group(drawing: str) -> etree._Element:
    (group,) = etree.fromstring(drawing).xpath("//*[local-name()='g'][@class='profile']")
    return group


@pytest.mark.parametrize("name", DEMOS)
def test_a_demos_profile_is_read_without_a_glass(
    demo: Callable[[str], Report], drawn: Drawn, name: str
) -> None:
    """No text under 9 points, and where parties change said in full over the graph."""
    report = demo(name)
    (drawing,) = drawn(report).drawings
    texts = profile_group(drawing).xpath(".//*[local-name()='text']")
    assert min(float(each.get("font-size")) for each in texts) >= 9.0
    said = {each.text for each in texts}
    for crossing in report.deciding_crossings:
        unit = report.site.unit
        place = plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)
        assert f"{crossing.line} {place}" in said


@pytest.mark.parametrize("name", DEMOS)
def test_the_profile_is_true_to_the_scales_stated(
    demo: Callable[[str], Report], drawn: Drawn, name: str
) -> None:
    report = demo(name)
    sheets = drawn(report)
    ground = profile_group(sheets.drawings[0]).xpath(".//*[@class='ground']/*/@d")[0]
    at = np.array([step.split() for step in ground[1:].split("L")], float)
    stations, setting = report.stations, sheets.setting
    run = stations.footage_m[-1] - stations.footage_m[0]
    assert np.ptp(at[:, 0]) == pytest.approx(run * setting.scale.points_per_metre, abs=2e-3)
    invert = profile_group(sheets.drawings[0]).xpath(".//*[starts-with(@class,'invert')]/*/@d")
    below = float(invert[0][1:].split("L")[0].split()[1]) - at[0, 1]
    depth = stations.depth_m[0] * setting.upright.points_per_metre
    assert below == pytest.approx(depth, abs=2e-3)


def test_nobody_is_named_within_the_range_of_where_the_line_is_crossed() -> None:
    owner = ResponsibilityStretch(0.0, 10.0, "owner", 0.0, 1.0, "", "curb")
    city = ResponsibilityStretch(10.0, 30.0, "city", 1.0, 0.0, "curb", "")
    assert answers_bar((owner, city)) == [
        (0.0, pytest.approx(10.0 - 1.959964, abs=1e-5), "owner"),
        (pytest.approx(10.0 - 1.959964, abs=1e-5), pytest.approx(11.959964, abs=1e-5), "?"),
        (pytest.approx(11.959964, abs=1e-5), 30.0, "city"),
    ]
    unknown = (replace(owner, sd_to_m=99.0), replace(city, sd_from_m=99.0))
    assert answers_bar(unknown) == [(0.0, 30.0, "?")]
    assert answers_bar((replace(owner, sd_to_m=0.0),)) == [(0.0, 10.0, "owner")]
    assert answers_bar(()) == []


def test_300_ft_with_80_findings_still_reads(
    long_report: Report, drawn: Drawn, printed: Printed
) -> None:
    sheets, content = drawn(long_report), printed(long_report)
    assert not any(sheets.left_out)
    count = len(sheets.drawings)
    words = {word for page in page_texts(content)[:count] for word in page.split()}
    assert {f"#{number}" for number in range(1, 81)} <= words
    for page in page_letters(content)[:count]:
        assert page.overprinted() == []
        assert page.size_pt[page.is_level].min() >= 5.0  # points


@pytest.mark.parametrize("name", DEMOS)
def test_every_tables_text_is_found_in_the_pdf(
    demo: Callable[[str], Report], printed: Printed, name: str
) -> None:
    report = demo(name)
    found = re.sub(r"\s+", "", "".join(page_texts(printed(report))))
    for table in report_tables(report):
        for row in table.rows:
            for cell in row.cells:
                # A cell may be broken over lines between its neighbours' lines: look word by word.
                for word in cell.split():
                    assert re.sub(r"\s+", "", word) in found, (table.key, cell)


def test_match_lines_name_the_neighbour_and_the_stretches_meet(long_report: Report) -> None:
    sheets = draw_sheets(long_report, paper="letter", scale="1 in = 10 ft")
    cuts = sheets.setting.cuts
    assert len(cuts) > 2
    assert cuts[0].from_m == long_report.stations.footage_m[0]
    assert cuts[-1].to_m == long_report.stations.footage_m[-1]
    for before, after in pairwise(cuts):
        assert before.to_m == after.from_m
        assert f"SEE SHEET {after.number}" in sheets.drawings[before.number - 1]
        assert f"SEE SHEET {before.number}" in sheets.drawings[after.number - 1]
    footages = [result.finding.footage_m for result in long_report.findings]
    assert all(sum(cut.holds(at) for cut in cuts) == 1 for at in footages)


@pytest.mark.parametrize(
    ("length_ft", "unit", "stated"),
    [
        (40.0, "ft", "1 in = 5 ft"),
        (80.0, "ft", "1 in = 10 ft"),
        (250.0, "ft", "1 in = 20 ft"),
        (60.0, "m", "1:100"),
        (200.0, "m", "1:200"),
    ],
)
def test_the_finest_scale_that_fits_is_chosen(length_ft: float, unit: str, stated: str) -> None:
    setting = choose_setting(line_report(length_ft, 6, unit=unit))
    assert len(setting.cuts) == 1
    assert setting.scale.words == stated
    assert (setting.paper.name in ("A4", "A3")) == (unit == "m")


@pytest.mark.parametrize("bend", [-135.0, -90.0, 45.0, 90.0, 135.0, 180.0])
def test_a_line_that_turns_stays_inside_its_panel(bend: float) -> None:
    report = line_report(120.0, 6, ((50.0, bend),))
    setting = choose_setting(report)
    for cut in setting.cuts:
        at = np.linspace(cut.from_m, cut.to_m, 50)
        places = cut.window.to_paper(report.route.positions(at)[:, :2])
        panel = setting.panels.plan
        assert (places[:, 0] >= panel.left).all()
        assert (places[:, 0] <= panel.right).all()
        assert (places[:, 1] >= panel.top).all()
        assert (places[:, 1] <= panel.bottom).all()
        assert places[-1, 0] >= places[0, 0] - 1e-6  # stationing runs to the right


def test_unknown_paper_and_scale_are_refused(report: Report) -> None:
    with pytest.raises(
        AnalysisError, match="paper 'legal' is not one of the sheet's: write letter"
    ):
        draw_sheets(report, paper="legal")
    with pytest.raises(AnalysisError, match="scale '1:75' is not one of the sheet's"):
        draw_sheets(report, scale="1:75")


@pytest.mark.parametrize("asked", ["10", "10 ft", "1 in = 10 ft", "1in=10ft"])
def test_a_scale_may_be_asked_for_in_several_spellings(report: Report, asked: str) -> None:
    assert choose_setting(report, scale=asked).scale.words == "1 in = 10 ft"


def test_hostile_words_print_or_are_clearly_shortened() -> None:
    site = line_site(60.0, 0)
    findings = tuple(
        Finding((5.0 + 5.0 * k) * 0.3048, words[:200], note=words)
        for k, words in enumerate(HOSTILE)
    )
    marks = tuple(replace(locate, mark=HOSTILE[0]) for locate in site.locates[:1])
    site = replace(
        site, name=HOSTILE[3] + HOSTILE[5] + HOSTILE[6] + HOSTILE[8], findings=findings,
        locates=(*marks, *site.locates[1:]),
    )  # fmt: skip
    report = build_report(site)
    sheets = draw_sheets(report)
    for svg in sheets.drawings:
        tree = etree.fromstring(svg)
        tags = {etree.QName(element).localname for element in tree.iter()}
        assert tags <= {"svg", "g", "path", "rect", "circle", "text"}
        assert not [name for element in tree.iter() for name in element.attrib if name[:2] == "on"]
    content = html_to_pdf(sheet_html(report, sheets))
    assert content == html_to_pdf(sheet_html(report, sheets))
    text = "".join(page_texts(content))
    assert "<script>alert(1)" in re.sub(r"\s", "", text)
    assert "HYPERLINK" in text
    assert "{{7*7}}" in text
    assert "…" in text


def test_styles_are_told_apart_without_colour(report: Report) -> None:
    """Every kind of line on a sheet has its own dashes, letter or width; every mark its shape."""
    sides = [MARKS[f"side {side}"].shape for side in ("inside", "past", "too close to call")]
    assert len(set(sides)) == len(sides)
    locates = [style.shape for key, style in MARKS.items() if key.startswith("locate ")]
    assert len(set(locates)) == len(locates)
    kinds = [key for key in LINES if key.startswith(("basis ", "line ", "utility "))]
    looks = [(LINES[key].dash_px, LINES[key].letter, LINES[key].width_px) for key in kinds]
    assert len(set(looks)) == len(looks)


@pytest.mark.parametrize("name", DEMOS)
def test_a_demos_legend_and_title_are_read_without_a_glass(
    demo: Callable[[str], Report], drawn: Drawn, name: str
) -> None:
    """No text of the strip under 8 points but the letters on a line's own sample."""
    (drawing,) = drawn(demo(name)).drawings
    texts = etree.fromstring(drawing).xpath(
        "//*[local-name()='g'][@class='strip']//*[local-name()='text']"
    )
    small = [each.text for each in texts if float(each.get("font-size")) < 8.0]
    assert len(texts) > 20
    assert all(re.fullmatch(r"[A-Z]\??", words) for words in small)


def test_a_danger_heads_the_plan_of_every_sheet() -> None:
    site = line_site(400.0, 4)
    dangers = tuple(Finding(at_m, "gas line bored through") for at_m in (12.0, 90.0))
    report = build_report(replace(site, findings=(*site.findings, *dangers)))
    numbers = [one.number for one in report.findings if one.finding_class == "danger"]
    sheets = draw_sheets(report, paper="letter", scale="10")
    assert len(sheets.drawings) > 1
    assert len(numbers) == 2
    for drawing in sheets.drawings:
        said = " ".join(etree.fromstring(drawing).xpath("//*[local-name()='text']/text()"))
        assert "STOP: foreign pipe or cable in the sewer" in said
        for number in numbers:
            assert f"no. {number} at" in said
    (plain, *_) = draw_sheets(build_report(site)).drawings
    assert "STOP" not in plain
